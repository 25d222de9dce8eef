"""Played notes on simulated pianos (bench/simulate/played.py): string scales by Fletcher's formula, another road than the reading's own table of B.

The long counts are in bench/results/notes.txt. Whole visits by file, terminal and register are at the end.
"""

import json

import numpy as np
import pytest
import soundfile

from bench.notes import COUNTED_SCALES, PAGE, RESULTS, Unit, heard, made
from bench.simulate.played import Played, Wrong, piano, take
from bench.simulate.round_the_piano import spoil
from bench.simulate.string_scales import SCALES, strings
from tapscan.register.database import open_register
from tapscan.register.visits import find_visit
from tapscan.report.error_rates import _as_counted, measured, shipped_limits
from tapscan.settings import Settings
from tapscan.signal.notes.strings import key_name, key_number, partials, usual_stiffness, usual_tuning
from tapscan.signal.notes.wanted_keys import played_notes
from tapscan.workflow.visit import known_of
from tapscan.workflow.visit_unknown import unknown_of
from tests.cli.commands import run
from tests.every import each


@each("scale", SCALES)
def test_scales_are_like_pianos(scale):
    """B at middle C 3.5e-4 (Young 1952) within a factor of two; octaves stretched as Railsback found, some 30 cents at the top."""
    f0, stiff = strings(SCALES[scale])
    cents = 1200 * np.log2(f0 * np.sqrt(1 + stiff) / (440 * 2 ** ((np.arange(88) - 48) / 12)))
    assert 1.7e-4 < stiff[39] < 7e-4 and 0.01 < stiff[87] < 0.03
    assert 15 < cents[87] < 45 and -20 < cents[0] < 0 and abs(cents[48]) < 1


def test_usual_strings_are_youngs_and_railsbacks():
    """Young, J. Acoust. Soc. Am. 24 (1952) 267: 3.5e-4 at middle C, doubling in eight semitones."""
    assert usual_stiffness(np.array([39.0]))[0] == pytest.approx(3.5e-4, rel=0.2)
    assert usual_stiffness(np.array([47.0]))[0] / usual_stiffness(np.array([39.0]))[0] == pytest.approx(2, rel=0.15)
    assert usual_tuning()[48] == pytest.approx(440)
    assert partials(100.0, 1e-3, np.array([1, 2]))[1] == pytest.approx(200 * np.sqrt(1.004 / 1.001))
    assert [key_number(key_name(k)) for k in range(88)] == list(range(88))


SENSORS = ("contact", "microphone")
HEARD = [("grand 185", "contact"), ("upright 108", "microphone")]  # all 88 keys; the shortest strings
HEARD += [(scale, sensor) for scale in COUNTED_SCALES for sensor in SENSORS]


@each(("scale", "sensor"), HEARD)
def test_the_right_key(scale, sensor):
    told = heard(Unit("short", "unflawed", scale, sensor, 1))
    assert told["keys"]["right"] >= told["notes"] - 1 and told["spoke"] == []


FLAWED = [
    ("buzz", "note-buzz", "grand 270", "contact"),
    ("buzz", "note-buzz", "grand 155", "microphone"),
    ("foreign", "ringing-on", "grand 210", "contact"),
    ("foreign", "ringing-on", "grand 155", "contact"),
    (
        "leaking",
        "ringing-on",
        "grand 155",
        "contact",
    ),  # not every one: with keys far above it, few set the string ringing
]


@each(("kind", "rule", "scale", "sensor"), FLAWED)
def test_what_is_wrong_is_found(kind, rule, scale, sensor):
    told = heard(Unit("short", kind, scale, sensor, 0))
    assert told["spoke"] == [rule]


def test_a_foreign_tone_has_its_frequency_and_loss_and_an_error_that_holds_them():
    told = heard(Unit("short", "foreign", "grand 270", "contact", 0))
    frequency_hz, _, loss_factor = told["wrong"][2:]
    frequency, loss, loss_sd, count, _ = min(told["foreign"], key=lambda f: abs(f[0] - frequency_hz))
    assert abs(frequency - frequency_hz) < 0.3 and abs(loss - loss_factor) < 4 * loss_sd + 2e-4 and count >= 5


def test_the_page_and_the_report_show_what_was_counted_with_what_ships():
    text = (RESULTS / "notes.txt").read_text(encoding="utf-8")
    assert text in PAGE.read_text(encoding="utf-8") and f"limits {shipped_limits('notes')}" in text
    for rule, found in measured()["notes"]["unflawed"].items():
        line = next(x for x in text.splitlines() if x.startswith(f"  unflawed, contact: {rule}"))
        assert f"{found['spoke']:5d} of {found['of']:5d}" in line
    assert _as_counted("notes")


@pytest.fixture(scope="module")
def spoilt():
    """A foreign tone by pickup; somebody talks, a phone rings and a truck passes."""
    samples, rate, notes, _, _ = made(Unit("visit", "foreign", "grand 155", "contact", 0))
    rng = np.random.default_rng(5)
    for kind in ("talk", "phone", "truck"):
        samples = spoil(rng, samples, rate, kind, "contact", -18.0)
    return np.clip(samples, -0.99, 0.99), rate, [key_name(n.key) for n in notes]


@pytest.fixture
def visit(tmp_path, monkeypatch, spoilt):
    samples, rate, keys = spoilt
    monkeypatch.setenv("TAPSCAN_REGISTER", str(tmp_path / "shop"))
    soundfile.write(tmp_path / "notes.wav", samples, rate, subtype="PCM_24")
    assert run("plate", "add", "G7").status == 0
    return tmp_path, keys


def test_a_visit_is_stored_shown_and_reported_and_asks_for_nothing_dangerous(visit):
    folder, keys = visit
    file = folder / "notes.wav"
    asked = [*keys, "C8"] if "C8" not in keys else keys
    stored = run("scan", "import", "G7", str(file), "--played", "--keys", ",".join(asked), "--sensor", "contact", "--state", "strung", "--date", "2026-10-02", "--yes")  # fmt: skip
    assert stored.status == 0, stored.err
    shown = run("scan", "show", "G7/2026-10-02", "--json", str(folder / "a.json"), "--report", str(folder / "a.html"))
    assert shown.status == 0
    told = json.loads((folder / "a.json").read_text(encoding="utf-8"))
    assert [i["rule"] for i in told["indications"]] == ["ringing-on"] and told["disposition"] == "relevant indication"
    assert "crack" not in told["headline"] and told["strikes"] == [] and told["comparison"] is None
    assert set(told["played"]["missing"]) == set(asked) - {n["key"] for n in told["played"]["notes"]}
    assert told["played"]["foreign"][0]["frequency_sd_hz"] > 0
    page = (folder / "a.html").read_text(encoding="utf-8")
    assert '<section id="notes">' in page and 'aria-label="' in page
    assert not [s for s in told["next_steps"] if "tighten" in s.lower() or "tap the plate" in s.lower()]
    assert run("history", "G7").status == 0
    assert run("scan", "rescreen", "G7/2026-10-02").status == 0
    refused = run("plate", "baseline", "G7", "G7/2026-10-02", "--although", "a lamp")
    assert refused.status == 1 and "played notes" in refused.err


def test_the_document_of_the_day_tells_recorded_notes_as_notes_and_no_taps(visit):
    folder, keys = visit
    assert run("scan", "import", "G7", str(folder / "notes.wav"), "--played", "--keys", ",".join(keys), "--sensor", "contact", "--state", "strung", "--date", "2026-10-02", "--yes").status == 0  # fmt: skip
    assert run("visit", "note", "G7", "--on", "2026-10-02", "--state", "strung", "--clear", "all").status == 0
    register = open_register(folder / "shop")
    known = known_of(register, find_visit(register, "G7"))
    assert len(known.notes) == 1 and not known.tapped and "ringing-on" in known.advice.headline + str(known.relevant)
    codes = [u.code for u in unknown_of(known)]
    assert "no-taps" in codes and "notes" in codes and "no-usable-tap" not in codes and "barred" not in codes
    assert run("visit", "report", "G7", "--out", str(folder / "v.html")).status == 0
    page = (folder / "v.html").read_text(encoding="utf-8")
    assert "Keys recorded" in page and '<section id="notes"' in page and "not tapped" in page
    assert "not played" not in page, "they were, for the recording"


@each(
    "given",
    [
        ["--keys", "A0-C8"],
        ["--played", "--layout", "grand-short"],
        ["--played", "--keys", "H2"],
        ["--played", "--keys", "C4-A3"],
        ["--played", "--baseline"],
        ["--played", "--skip", "2"],
        ["--played", "--assign", "notes.wav=S1"],
        ["--played", "--held"],
        ["--played", "--partial"],
    ],
)
def test_what_does_not_go_together_is_refused_in_one_line(visit, given):
    folder, _ = visit
    found = run("scan", "import", "G7", str(folder / "notes.wav"), *given, "--sensor", "contact", "--yes")
    assert found.status in (1, 2) and "Traceback" not in found.err
    assert run("history", "G7").out.count("no scans yet") == 1


@each("seconds", [0.0, 0.01, 0.3, 3.0])
@each("contact", [True, False])
def test_silence_and_crumbs_are_no_note_and_no_crash(seconds, contact):
    told = played_notes([("F1", np.zeros(round(seconds * 48_000)), 48_000)], ["C4"], Settings(), contact=contact)
    assert told.notes == () and told.missing == ("C4",)


def test_a_top_key_has_no_damper_and_a_buzz_is_listened_for_all_the_same():
    """Its own dying away is no damper; dampers end some 20 notes under the top (from memory)."""
    rng, keys = np.random.default_rng(7), (71, 74, 77, 80, 83)
    one = piano(rng, SCALES["grand 210"], Wrong())
    notes = [Played(key, 1.0 + 1.8 * k, 0.4) for k, key in enumerate(keys)]
    told = played_notes([("F1", take(rng, one, notes, 44_100, "microphone", -50.0), 44_100)], [], Settings(), contact=False)  # fmt: skip
    assert [n.key for n in told.notes] == [key_name(k) for k in keys]
    assert all(n.held_s is None and n.buzz_share_db is not None for n in told.notes)


def test_without_quiet_before_any_note_nothing_is_told_of_what_rings_on():
    samples, rate, notes, _, _ = made(Unit("short", "foreign", "grand 155", "contact", 0))
    cut = samples[round((notes[0].at_s - 0.1) * rate) : round((notes[1].at_s - 0.3) * rate)]
    (note,) = played_notes([("F1", cut, rate)], [], Settings(), contact=True).notes
    assert note.tones == () and note.listened_s is None and "quiet" in (note.tones_reason or "")


def test_by_microphone_what_rings_on_is_not_judged_and_it_says_why(visit):
    folder, _ = visit
    run(
        "scan",
        "import",
        "G7",
        str(folder / "notes.wav"),
        "--played",
        "--sensor",
        "microphone",
        "--yes",
        "--date",
        "2026-10-03",
    )
    assert run("scan", "show", "G7/2026-10-03", "--json", str(folder / "b.json")).status == 0
    told = json.loads((folder / "b.json").read_text(encoding="utf-8"))
    assert [(r["rule"], "microphone" in r["reason"]) for r in told["rules_not_run"]] == [("ringing-on", True)]
    assert told["disposition"] == "inconclusive" and told["played"]["foreign"] == []
