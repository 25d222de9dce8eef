"""What the report says of two scans in the piano is what bench/in_piano.py counted, and nothing where it counts no more."""

import json

import numpy as np
import pytest
from msgspec.structs import replace

from tapscan.report import error_rates as reach
from tapscan.report.counts_in_words import alarms
from tapscan.report.error_rates import error_rates, how_sure
from tapscan.report.figures.changes import shifts
from tapscan.report.sections.comparison import DROPS, comparison_section
from tapscan.screening.compare.compare_scans import compare_scans, with_comparison
from tapscan.screening.piano.compare import PICKUP
from tapscan.screening.rules import RULE_LIMITS, change_in_piano
from tapscan.sensors import Sensor
from tapscan.settings import Settings, limits_by_part
from tests.compared import COUNT, STRIPPED, named, scan
from tests.report.sheets import full_page, screening

SHIPPED = limits_by_part(Settings(), RULE_LIMITS)
STRUNG = replace(STRIPPED, state="strung")


FELL = -0.012 * (np.arange(COUNT) % 2)


def compared(day, conditions=STRUNG, limits=SHIPPED, change=0.0):
    first, now = (scan(c, seed=s, scatter=3e-4, state="strung") for s, c in ((1, 0.0), (2, change)))
    alone = replace(screening(), scan=now, indications=(), limits_sha256=limits)
    told = compare_scans(named(now, day, conditions), [named(first, "2026-03-02", conditions)], Settings())
    return with_comparison(alone, told, Settings())


def share(found):
    return f"{found['spoke'] or 'none'} of {found['of']}"


@pytest.mark.parametrize(
    ("day", "when", "other"), [("2026-03-03", "job", "season 5 %"), ("2026-09-14", "season 5 %", "job")]
)
def test_how_sure_tells_the_counts_of_what_lies_between(day, when, other, monkeypatch):
    figures = json.loads(reach.FILE.read_text(encoding="utf-8"))["piano"]
    said = how_sure(compared(day))
    assert share(figures[when]["severed"]) in said and f"in {figures[when]['same']['of']}" in said
    for row in figures[other].values():
        row["of"] = 9999
    monkeypatch.setattr(reach, "measured", lambda: {"piano": figures})
    assert "9999" not in how_sure(compared(day))
    figures[when]["severed"] = {"spoke": 7, "of": 99}
    assert "7 of 99" in how_sure(compared(day)), "read, not typed"


def test_a_finding_tells_the_counts_of_what_lies_between_and_their_interval():
    figures = json.loads(reach.FILE.read_text(encoding="utf-8"))["piano"]
    found = compared("2026-03-03", change=FELL)
    said = how_sure(found)
    assert found.indications[0].rule == change_in_piano.NAME and said.startswith("It is no proof.")
    assert share(figures["job"]["severed"]) in said and f"{100 * figures['job']['same']['high']:.1f} %" in said
    assert "20 %" not in said, "that is of seasons"


@pytest.mark.parametrize("kind", reach.PIANO_KINDS)
def test_what_was_not_counted_is_named_as_such(kind, monkeypatch):
    row, same = {"spoke": 7, "of": 99, "high": 0.1}, {"spoke": 0, "of": 99, "high": 0.03}
    all_but_one = {k: row for k in reach.PIANO_KINDS if k != kind} | {"same": same}
    figures = {"places_tapped": 8, "job": all_but_one}
    monkeypatch.setattr(reach, "measured", lambda: {"piano": figures})
    said = how_sure(compared("2026-03-03"))
    assert said.count("7 of 99") == len(reach.PIANO_KINDS) - 1
    assert said.partition("not counted: ")[2].startswith(reach.PIANO_KINDS[kind].removeprefix("with "))


@pytest.mark.parametrize(("day", "row"), [("2026-03-02", "job"), ("2026-09-14", "season 5 %")])
def test_two_scans_at_either_visit_have_counts_of_their_own_or_none(day, row, monkeypatch):
    """The rates of one scan each are never told for two of each."""
    figures = json.loads(reach.FILE.read_text(encoding="utf-8"))["piano"]
    before, after = (
        [scan(c, seed=s, scatter=3e-4, state="strung") for s in seeds] for c, seeds in ((0.0, (1, 2)), (FELL, (3, 4)))
    )
    base = [replace(named(s, "2026-03-02", STRUNG), name=f"A1/{n}") for n, s in zip("ab", before, strict=True)]
    third, later = (replace(named(s, day, STRUNG), name=f"A1/{n}") for n, s in zip("cd", after, strict=True))
    told = compare_scans(later, base, Settings(), again=[third])
    alone = replace(screening(), scan=later.scan, indications=(), limits_sha256=SHIPPED)
    assert told.twice
    counted = {
        **{k: v for k, v in figures.items() if not k.startswith("season 20 %")},
        f"{row} twice": {"same": {"spoke": 0, "of": 77, "high": 0.03}, "severed": {"spoke": 5, "of": 66, "high": 1.0}},
    }
    wider = counted | {"season 20 % twice": {"same": {"spoke": 9, "of": 55, "high": 0.4}}}
    without = {k: v for k, v in figures.items() if k != f"{row} twice"}
    said = {}
    for name, part in (("counted", counted), ("wider", wider), ("without", without)):
        monkeypatch.setattr(reach, "measured", lambda part=part: {"piano": part})
        said[name] = how_sure(with_comparison(alone, told, Settings()))
    assert "5 of 66" in said["counted"] and "77" in said["counted"] and "two scans" in said["counted"]
    assert share(figures[row]["severed"]) not in said["counted"]
    assert reach.NOT_SURE in said["without"] and "simulated plates in the piano" not in said["without"]
    more = alarms(wider["season 20 % twice"]["same"])
    assert (more in said["wider"]) is ("by more: not counted" in said["counted"]) is (row != "job")


def test_the_section_names_what_the_figure_is_made_of_and_draws_no_bar_of_a_single_tone():
    there = comparison_section(compared("2026-03-03", change=FELL))
    out = compare_scans(named(scan(FELL, seed=2), "2026-03-03"), [named(scan(), "2026-03-02")], Settings())
    bare = comparison_section(replace(screening(), scan=scan(seed=2), comparison=out))
    drawn = shifts(compared("2026-03-03", change=FELL).comparison.pairs, None, "shifts")
    assert there["shifts"].count("<path") == drawn.count("<path") > 0
    assert there["in_piano"] and not bare["in_piano"]
    assert DROPS in dict(r[:2] for r in bare["verdict"]) and DROPS not in dict(r[:2] for r in there["verdict"])
    page = full_page(compared("2026-03-03", change=FELL))
    assert "pale bar" not in page and "what screws usually do" in page


def test_other_limits_and_no_answer_have_no_figure():
    assert "of" not in how_sure(compared("2026-03-03", limits=())).split("no error rate")[0]
    told = compared("2026-03-03", replace(STRUNG, sensor=Sensor("microphone")))
    assert told.comparison.rules_not_run[0].reason == PICKUP
    assert "simulated" not in how_sure(told)


def test_the_rule_tells_both_and_false_alarms_with_screws_that_differ_most():
    figures = json.loads(reach.FILE.read_text(encoding="utf-8"))["piano"]
    said = error_rates(change_in_piano.NAME, SHIPPED)
    for when in ("job", "season 5 %"):
        assert share(figures[when]["screw gone"]) in said
    assert f"in {figures['season 20 %']['same']['of']}" in said
    assert error_rates(change_in_piano.NAME, ()) == reach.OTHER_SETTINGS
