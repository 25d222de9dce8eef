"""What the report says of two scans in the piano is what bench/in_piano.py counted, and nothing where it counts no more."""

import json
from dataclasses import replace

import pytest

from tapscan.report import error_rates as reach
from tapscan.report.error_rates import error_rates, how_sure
from tapscan.screening.compare.compare_scans import compare_scans, with_comparison
from tapscan.screening.piano.compare import PICKUP
from tapscan.screening.rules import RULE_LIMITS, change_in_piano
from tapscan.sensors import Sensor
from tapscan.settings import Settings, limits_by_part
from tests.compared import STRIPPED, named, scan
from tests.report.sheets import screening

SHIPPED = limits_by_part(Settings(), RULE_LIMITS)
STRUNG = replace(STRIPPED, state="strung")


def compared(day, conditions=STRUNG, limits=SHIPPED):
    first, now = (scan(seed=s, scatter=3e-4, state="strung") for s in (1, 2))
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
