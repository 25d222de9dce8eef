"""The page of the rules: its figures are the bench's, of the limits that ship, and every rule is on it."""

import json
import re

import pytest

from bench import reach_file
from bench.pod import interval
from bench.rules_page import BESIDE, PAGE, SINGLE, page
from tapscan.model import altered
from tapscan.report import error_rates
from tapscan.report.error_rates import _as_counted, constants_of, measured, shipped_limits
from tapscan.screening import regions
from tapscan.screening.compare import added_mass, likelihood_ratio
from tapscan.screening.constants import constants, constants_sha256
from tapscan.screening.location import fitted
from tapscan.screening.rules import NOTE_RULES, RULE_LIMITS, RULES
from tapscan.settings import PARTS, Settings, limits_by_part
from tapscan.signal.notes import strings, which_key
from tapscan.signal.plate import room_limit
from tapscan.signal.strikes import hop_power, running
from tests.every import each
from tests.snapshots import same_as_before

TEXT = PAGE.read_text(encoding="utf-8")


def test_the_page_shows_what_the_bench_wrote():
    assert page(TEXT) == TEXT, "stale: python -m bench.rules_page"


def test_every_rule_is_on_the_page():
    """A row from its record, and by hand what it needs."""
    every = (*RULES, *NOTE_RULES)
    assert len(every) == 13
    rows = re.findall(r"^\| (.+) \(`([\w-]+)`\) \| .+\. \|", TEXT, re.M)
    assert rows == [(rule.title, rule.name) for rule in every]
    needs = [
        t
        for line in re.findall(r"^- \*\*.*?: ", TEXT.split("What each needs")[1].split("##")[0], re.M)
        for t in re.findall(r"\*\*(.+?)\*\*", line)
    ]
    assert needs == [rule.title for rule in every]


@each("part", ["single", "comparison", "beside"])
def test_what_the_report_says_was_counted_with_what_ships_or_says_that_it_was_not(part):
    table = measured()[part]
    counted = (table["limits_sha256"], table.get("constants_sha256")) == (shipped_limits(part), constants_of(part))
    text = {"single": SINGLE, "beside": BESIDE}.get(part)
    assert text is None or f"limits {table['limits_sha256']}" in text.read_text(encoding="utf-8")
    assert part == "beside" or _as_counted(part) is counted


def test_figures_counted_with_other_numbers_in_the_code_say_so(monkeypatch):
    used = limits_by_part(Settings(), RULE_LIMITS)
    for counted in ("ab" * 8, None, constants_of("single")):
        own = {"constants_sha256": counted, "limits_sha256": shipped_limits("single")}
        table = {**measured(), "single": {**measured()["single"], **own}}
        monkeypatch.setattr(error_rates, "measured", lambda table=table: table)
        assert (error_rates.EARLIER in error_rates.error_rates("buzz", used)) is (counted != constants_of("single"))


@pytest.mark.parametrize(
    ("module", "name", "parts"),
    [
        (regions, "SHARES", {"single", "comparison"}),
        (likelihood_ratio, "FEW", {"comparison"}),
        (added_mass, "WEIGHTS", {"comparison"}),
        (room_limit, "LEAST_BANDS", {"single", "comparison"}),
        (altered, "HEIGHT_POWERS", {"location"}),
        (fitted, "SCALES", {"location"}),
        (which_key, "ODD", {"notes"}),
        (strings, "STEPS", {"notes"}),
    ],
)
def test_another_number_in_the_code_has_another_hash(module, name, parts, monkeypatch):
    before, value = {p: constants_sha256.__wrapped__(p) for p in PARTS}, getattr(module, name)
    monkeypatch.setattr(module, name, other(value))
    assert {p for p in PARTS if constants_sha256.__wrapped__(p) != before[p]} == parts


def other(value):
    if isinstance(value, slice):
        return slice(value.start, value.stop, value.step + 1)
    if isinstance(value, dict):
        return {**value, "x": 1}
    return (0.5, *value[1:]) if isinstance(value, tuple) else value + 1


def test_how_work_is_cut_up_has_no_part_in_the_hash(monkeypatch):
    before = {p: constants_sha256.__wrapped__(p) for p in PARTS}
    monkeypatch.setattr(running, "LONG", 100)
    monkeypatch.setattr(hop_power, "STRETCH", 8)
    assert {p: constants_sha256.__wrapped__(p) for p in PARTS} == before


def test_rates_stay_counted_only_where_no_number_but_those_named_is_another(monkeypatch, tmp_path):
    file = tmp_path / "reach.json"
    then = {
        t: [_as_counted(t), shipped_limits(t), [constants(p) for p in parts]]
        for t, parts in error_rates.DEPENDS.items()
    }
    old = {t: {**figures, "constants_sha256": "of then"} for t, figures in measured().items()}
    file.write_text(json.dumps(old))
    monkeypatch.setattr(reach_file, "FILE", file)
    monkeypatch.setattr(regions, "SHARES", other(regions.SHARES))
    constants_of.cache_clear(), constants_sha256.cache_clear()
    told = dict(line.split(": ", 1) for line in reach_file.still_counted(then, {}))
    now = json.loads(file.read_text())
    said = [told["single"], told["notes"]]
    assert now["single"]["constants_sha256"] == "of then"
    assert now["notes"]["constants_sha256"] == constants_of("notes")
    then["notes"][1] = "other thresholds"
    told = dict(line.split(": ", 1) for line in reach_file.still_counted(then, {"SHARES": "a trial"}))
    now = json.loads(file.read_text())
    assert now["single"]["choose_no_figure"]["SHARES"] == "a trial"
    same_as_before("rates-still-counted", "\n".join([*said, told["single"], told["notes"]]))
    constants_of.cache_clear(), constants_sha256.cache_clear()


def test_the_text_and_the_report_count_alike():
    """The first table of each text file is what reach.json has."""
    for path, part in ((SINGLE, "single"), (BESIDE, "beside")):
        text = path.read_text(encoding="utf-8")
        for kind, found in measured()[part]["any_relevant"].items():
            line = next(x for x in text.splitlines() if x.startswith(f"  {kind}") and " relevant " in x)
            assert f"{found['spoke']:4d} of {found['of']:4d}" in line, f"{path.name}: {kind}"


COUNTED = {"twenty": "ended", "dense": "more_places_ended"}  # with the part held where something buzzed
OF = {
    "even": "chilled region, losses scatter 10 %",
    "uneven": "chilled region, losses scatter 20 %",
    "rubs": "closed crack that rubs, half a strut deep",
    "breathes": "breathing crack, half a strut deep",
    "severed": "severed strut",
}
TYPED = {
    "README.md": ["36 places found {dense even}; 20 places found {twenty even n}."],
    "docs/how-to-tap.md": ["36 places found {dense even} chilled regions, 20 found {twenty even n}."],
    "docs/layouts.md": [
        "36 places tell {dense even} where the iron's damping is even and {dense uneven} where it is not, twenty places {twenty even n} and {twenty uneven n},"
    ],
    "docs/limits.md": [
        "in simulation {twenty severed} were called.",
        "With loose parts held, a single scan at twenty places found {twenty rubs} closed cracks that rub, and {twenty breathes} cracks through half a strut",
        "of touching (36 places: {dense breathes}).",
        "it found {twenty even} at twenty places and {dense even} at 36 where damping is even, {twenty uneven} and {dense uneven} where it is not.",
    ],
}


@each("name", list(TYPED))
def test_figures_typed_by_hand_are_those_that_were_counted(name):
    """And none stands on these pages besides."""

    def figure(found: re.Match[str]) -> str:
        count = measured()["single"][COUNTED[found[1]]][OF[found[2]]]
        return f"{count['spoke']}" if found[3] else f"{count['spoke']} of {count['of']}"

    text = " ".join((PAGE.parents[1] / name).read_text(encoding="utf-8").split())
    for words in TYPED[name]:
        filled = re.sub(r"\{(\w+) (\w+)( n)?\}", figure, words)
        assert filled in text
        text = text.replace(filled, "")
    assert re.findall(r"\d+ of (?:42|210)\b", text) == []


def test_every_rule_has_a_title_and_reads_something():
    assert all(rule.title and rule.reads for rule in RULES)


def test_intervals_are_clopper_and_pearsons():
    """Newcombe 1998, table I, and the binomial: 81/263, 15/148, 0/20, 1/29."""
    for hits, count, low, high in ((81, 263, 25.3, 36.8), (15, 148, 5.8, 16.2), (0, 20, 0.0, 16.8), (1, 29, 0.1, 17.8)):
        assert interval(hits, count).split()[3:6:2] == [str(low), str(high)]
