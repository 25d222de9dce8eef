"""A plate's life by commands: import, baseline, later scan, compare, history, outcome. Recordings are simulated."""

import json
import re
from pathlib import Path

from tapscan.register.database import open_register
from tapscan.register.files import sha256_of
from tapscan.register.scans import find_scan, list_scans
from tapscan.report.words import STATES
from tapscan.screening.next_steps import STOP
from tapscan.sensors import Sensor
from tapscan.settings import Settings
from tapscan.workflow import import_scan as keep
from tapscan.workflow.history import for_comparison, history_of
from tapscan.workflow.known_since import OTHER_STATE
from tapscan.workflow.reading import reading_of
from tests.cli.a_plates_life import CUT, SIMULATED
from tests.cli.commands import flat, run, screens
from tests.snapshots import same_as_before


def test_a_later_scan_is_compared_as_it_comes_in(where):
    later, first = (screens(("scan", "show", f"B12/{day}"), measured=True) for day in ("2026-06-01", "2026-03-14"))
    same_as_before("scan-show", later, part="compared with the baseline")
    same_as_before("scan-show", first, part="the baseline itself")
    told = json.loads(run("scan", "show", "B12/2026-06-01", "--json", "-").out)
    assert told["disposition"] == "relevant indication"
    assert "change-since-baseline" in {i["rule"] for i in told["indications"]}
    assert "Since the baseline" in later and "Since the baseline" not in first


def test_compare_reads_what_is_stored(where):
    done = run("compare", "B12")
    assert done.status == 0
    same_as_before("compare", screens(("compare", "B12"), measured=True))
    told = json.loads(run("compare", "B12", "--json", "-").out)
    assert (told["later"], told["baselines"]) == ("B12/2026-06-01", ["B12/2026-03-14"])
    assert len(told["pairs"]) > 80
    assert told["statistic"] > told["statistic_limit"]
    shown = json.loads(run("scan", "show", "B12/2026-06-01", "--json", "-").out)
    assert shown["comparison"] == {k: v for k, v in told.items() if k not in ("tapscan", "schema", "open_findings")}
    assert shown["comparison_reason"] is None
    assert json.loads(run("scan", "show", "B12/2026-03-14", "--json", "-").out)["comparison"] is None
    back = run("compare", "B12", "--scan", "2026-03-14", "--against", "B12/2026-06-01", "--json", "-")
    assert json.loads(back.out)["later"] == "B12/2026-03-14"
    assert run("compare", "B12", "--scan", "2026-03-14").status == 1, "itself a baseline scan"


def test_history_shows_scans_findings_and_what_came_later(where):
    assert (
        run(
            "scan",
            "outcome",
            "B12/2026-06-01",
            "--found",
            "crack in strut 2",
            "--method",
            "dye penetrant",
            "--by",
            "A. Person",
            "--on",
            "2026-06-03",
        ).status
        == 0
    )
    told = flat(run("history", "B12").out)
    assert "crack in strut 2" in told.split("Still open")[1]
    same_as_before("history", screens(("history", "B12"), ("plate", "show", "B12"), measured=True), part="examined")


def test_a_trend_stays_within_one_state(where):
    assert run("scan", "edit", "B12/2026-06-01", "--state", "primed").out.count("tapscan scan rescreen") == 1
    found = history_of(open_register(where), "B12", Settings())
    assert (found.trend, found.unlike) == (None, ("B12/2026-03-14 (stripped)",))
    same_as_before("history", screens(("history", "B12"), measured=True), part="another state")


def test_a_plate_that_turns_out_to_be_strung_is_left_as_it_is_by_terminal_report_and_page_alike(where, tmp_path):
    assert STOP.text not in flat(run("scan", "show", "B12/2026-06-01").out)
    run("scan", "edit", "B12/2026-06-01", "--state", "strung")
    told = OTHER_STATE.format(STATES["stripped"], STATES["strung"])
    shown = flat(run("scan", "show", "B12/2026-06-01", "--report", tmp_path / "r.html").out)
    read = reading_of(open_register(where), "B12/2026-06-01")
    report = flat(re.sub("<[^>]+>", " ", (tmp_path / "r.html").read_text(encoding="utf-8")))
    for text in (shown, report, flat(" ".join((*read.about.since, *(t for _, told in read.steps for t in told))))):
        assert told in text and STOP.text in text
    earlier = flat(run("scan", "show", "B12/2026-06-01", "--screening", "1").out)
    assert told in earlier, "as it was read, with what is known since"


def test_a_trend_stays_with_one_sensor(where):
    assert "left out" not in run("history", "B12").out
    assert run("scan", "edit", "B12/2026-03-14", "--sensor-mass-g", "3").status == 0
    assert "left out" not in run("history", "B12").out, "not known of the newest: no change"
    assert run("scan", "edit", "B12/2026-06-01", "--sensor-mass-g", "9").status == 0
    assert "B12/2026-03-14 (sensor changed since)" in flat(run("history", "B12").out)


def test_the_baseline_can_be_moved_and_taken_away(where):
    both = ("plate", "baseline", "B12", "2026-03-14", "B12/2026-06-01", "--although", "both days count")
    told = screens(both, ("compare", "B12"))
    assert [e.baseline for e in list_scans(open_register(where))] == [True, True]
    assert run("compare", "B12").status == 1, "no scan beside its baseline"
    none = screens(("plate", "baseline", "B12", "--none"))
    assert [e.baseline for e in list_scans(open_register(where))] == [False, False]
    same_as_before("plate-baseline", f"{told}\n{none}", part="moved and taken away")


def test_a_scan_is_compared_by_what_its_own_taps_said(where):
    """A scan that was compared before it became a baseline scan brings no finding of that comparison with it."""
    register = open_register(where)
    entry = find_scan(register, "B12/2026-06-01")
    rules = {i.rule for i in keep.stored_screening(register, entry).indications}
    own = {i.rule for i in for_comparison(register, entry).indications}
    assert "change-since-baseline" in rules
    assert own == rules - {"change-since-baseline"}


def test_what_is_written_of_a_scan_can_be_mended(where):
    done = run(
        "scan",
        "edit",
        "B12/2026-06-01",
        "--hammer",
        "plastic tip",
        "--sensor",
        "unknown",
        "--seen",
        "rust-line: bass",
        "--seen",
        "rust-line: tail",
        "--not-seen",
        "all",
    )
    assert (done.status, done.err) == (0, "")
    shown = run("scan", "show", "B12/2026-06-01").out
    assert "plastic tip" in shown
    assert "sensor:          unknown" in shown
    assert "seen: bass; tail" in shown, "typed in one go, both stand"
    assert "screws missing:" in shown and "hold pitch" not in shown, "that one is heard: `all` says nothing of it"
    assert "iron: " not in shown or "20 °C" in shown
    for words, said in (
        (("--iron-c", "68"), "given in Fahrenheit?"),
        (("--state", "polished"), "is unknown; one of as-found"),
        (("--seen", "dent"), "is not on the visual checklist"),
        (("--bare", "--fitting", "agraffes"), "leave one of them out"),
    ):
        assert said in run("scan", "edit", "B12/2026-06-01", *words).err


def test_the_sensor_is_a_kind_with_a_note_a_mass_and_a_place(where):
    name = "B12/2026-06-01"
    words = (
        "--sensor",
        " MICROPHONE",
        "--sensor-note",
        "not contact",
        "--sensor-mass-g",
        "4,5",
        "--sensor-place",
        "S3",
    )
    assert run("scan", "edit", name, *words).status == 0
    assert find_scan(open_register(where), name).conditions.sensor == Sensor("microphone", "not contact", 4.5, "S3")
    assert run("scan", "edit", name, "--sensor-mass-g", "unknown").status == 0, "the others stay"
    assert find_scan(open_register(where), name).conditions.sensor == Sensor("microphone", "not contact", None, "S3")
    told = json.loads(run("compare", "B12", "--json", "-").out)
    assert told["indications"] == []
    assert [r["rule"] for r in told["rules_not_run"]] == ["change-since-baseline"]
    assert told["rules_not_run"][0]["reason"] in told["unlike"]
    for text in ("contact pickup", "phone"):
        done = run("scan", "edit", name, "--sensor", text)
        assert done.status == 2 and "--sensor-note" in done.err
    assert find_scan(open_register(where), name).conditions.sensor.kind == "microphone"


def test_a_missing_sensor_is_never_assumed(where):
    done = run("scan", "import", "B12", *OTHER, "--order", "soft,hard", "--date", "2026-07-02", "--yes")
    assert done.status == 0
    (line,) = done.err.splitlines()
    assert "--sensor contact" in line and "--sensor microphone" in line
    assert find_scan(open_register(where), "B12/2026-07-02").conditions.sensor == Sensor()


def test_rescreening_keeps_the_earlier_result(where, tmp_path):
    (tmp_path / "own.toml").write_text("[fit]\nhighest_hz = 800\n")
    done = run("scan", "rescreen", "B12/2026-06-01", "--settings", tmp_path / "own.toml")
    assert (done.status, done.err) == (0, "")
    assert "Stored as screening 2" in done.out
    now = json.loads(run("scan", "show", "B12/2026-06-01", "--json", "-").out)
    first = json.loads(run("scan", "show", "B12/2026-06-01", "--screening", "1", "--json", "-").out)
    assert len(now["modes"]) < len(first["modes"])
    assert now["settings_sha256"] != first["settings_sha256"]
    assert [r["file"] for r in now["recordings"]] == [r["file"] for r in first["recordings"]] == [p.name for p in CUT]
    assert [(s["station"], s["force"]) for s in now["strikes"]] == [
        (s["station"], s["force"]) for s in first["strikes"]
    ]
    none = ("scan", "show", "B12/2026-06-01", "--screening", "3")
    assert run(*none).status == 1
    same_as_before("scan-show", screens(none), part="a screening that is not there")


def test_rescreening_with_present_settings_gives_the_same_again(where):
    before = run("scan", "show", "B12/2026-03-14", "--json", "-").out
    assert run("scan", "rescreen", "B12/2026-03-14").status == 0
    assert json.loads(run("scan", "show", "B12/2026-03-14", "--json", "-").out) == json.loads(before)


def test_the_report_is_made_from_the_register_alone(where, tmp_path):
    assert run("scan", "show", "B12/2026-06-01", "--report", tmp_path / "page.html").status == 0
    assert run("report", "B12/2026-06-01", "--full", "--out", tmp_path / "full.html").status == 0
    brief, full = ((tmp_path / f"{name}.html").read_text(encoding="utf-8").count("<svg") for name in ("page", "full"))
    assert full > brief and full > 3


def stored(where: Path) -> list[str]:
    return [e.name for e in list_scans(open_register(where))]


def test_the_same_recordings_are_not_taken_twice(where):
    done = run("scan", "import", "B12", *CUT[:2], "--yes")
    assert done.status == 1
    same_as_before("scan-import", done.err, part="the same recordings")
    assert len(stored(where)) == 2


OTHER = sorted((SIMULATED / "sound-parlour-grand").glob("*.flac"))[:4]


def test_nothing_is_stored_unasked(where):
    for words, answer in ((("--dry-run",), None), ((), "unknown\nn\n")):
        done = run("scan", "import", "B12", *OTHER, "--order", "soft,hard", *words, answer=answer)
        assert done.status == 0
        assert "station" in done.out
        assert OTHER[0].name in done.out
    done = run("scan", "import", "B12", *OTHER)
    assert done.status == 2
    same_as_before("scan-import", done.err, part="nobody to ask")
    assert len(stored(where)) == 2
    files = [p for p in (where / "files").rglob("*") if p.is_file()]
    assert len(files) == 22, "ten recordings and one file of pictures a scan"


def test_what_is_missing_is_shown_and_can_be_mended(where):
    station = OTHER[0].name.split("_")[0]
    three = ("scan", "import", "B12", *OTHER[:3], "--per-station", "2", "--dry-run")
    by_hand = ("--assign", f"{OTHER[2].name}={station}", "--skip", "2")
    before, after = screens(three), screens((*three, *by_hand))
    assert "expected 4, found 3" in before and "expected" not in after
    same_as_before("scan-import", f"{before}\n{after}", part="taps put right by hand")
    wrong = [(*three, "--assign", "x.wav=S1"), (*three, "--skip", "9")]
    assert [run(*words).status for words in wrong] == [1, 1]
    same_as_before("scan-import", screens(*wrong), part="taps that are not there")


def test_yes_on_a_terminal_stores(where):
    done = run(
        "scan",
        "import",
        "B12",
        *OTHER,
        "--order",
        "soft,hard",
        "--date",
        "2026-07-01",
        "--baseline",
        "--although",
        "two places only, and something was found",
        answer=" Contact \ny\n",
    )
    assert done.status == 0, done.err
    assert stored(where)[-1] == "B12/2026-07-01"
    entry = find_scan(open_register(where), "B12/2026-07-01")
    assert [f.sha256 for f in entry.files] == [sha256_of(p) for p in OTHER]
    assert entry.baseline
    assert keep.stored_screening(open_register(where), entry).comparison is None, "a baseline scan is not a later scan"
    assert entry.conditions.state is None
    assert entry.conditions.sensor.kind == "contact", "asked for, and answered"
    assert entry.conditions.fittings is None, "nobody looked"


def test_one_bad_recording_and_nothing_is_stored(where, tmp_path):
    (tmp_path / "S9_1.wav").write_bytes(b"RIFF")
    done = run("scan", "import", "B12", *OTHER[:2], tmp_path / "S9_1.wav", "--yes")
    assert done.status == 1
    same_as_before(
        "scan-import", done.err, {f"{tmp_path}/": "", f"{tmp_path}\\": ""}, part="a recording that cannot be read"
    )
    assert len(stored(where)) == 2


def test_a_plate_must_be_known_before_its_scan(where):
    done = run("scan", "import", "B1", *OTHER, "--yes")
    assert done.status == 1
    same_as_before("scan-import", done.err, part="no such plate")
