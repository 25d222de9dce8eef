"""What a reader found said in two ways on two screens: one meaning of ±, odds no larger than what counts bear out, listening where the finding points."""

from math import log

from msgspec.structs import replace

from tapscan import wording
from tapscan.estimate import Estimate
from tapscan.records import Condition, StationChange
from tapscan.report.sections.comparison import comparison_section
from tapscan.report.sections.indications import finding
from tapscan.workflow.comparing import named_first
from tests.every import each
from tests.report.sheets import indication, mode, screening
from tests.report.test_comparison_section import comparison


def test_plus_minus_is_two_standard_deviations_among_the_findings_and_in_the_comparison():
    s = screening(comparison=comparison())
    (first, *_) = finding(s.indications[0], 1, s)["modes"]
    two = Estimate(mode(1).frequency.value, 2 * (mode(1).frequency.sd or 0.0))
    assert wording.with_sd(two, places=4) in first
    (row,) = (r for r in (comparison_section(s) or {})["rows"] if r["said"] == "fell")
    pair = next(p for p in comparison().pairs if p.fell)
    assert row["change"].endswith(f"± {2e-4 * pair.change_sd_ppm:.4f}")
    assert "two standard deviations" in wording.PLUS_MINUS


@each(("odds", "told"), [(1e-5, "less than 1 to 10"), (0.5, "1 to 2.0"), (1e4, "more than 10 to 1")])
def test_no_odds_of_a_weight_read_as_a_proof(odds, told):
    """0.0000096 to 1 was read as: a forgotten clamp is impossible."""
    condition = Condition("odds of a weight", odds, 1.27, "to 1", "simulated")
    shown = finding(indication(conditions=(condition,)), 1, screening())["evidence"][0]
    assert shown["value"] == told == wording.weight_odds(log(odds))


def test_listening_begins_where_the_finding_points():
    found = indication(stations=("S4", "S5"))
    where = (StationChange("S5", 1.0), StationChange("S1", 0.9), StationChange("S4", 0.7))
    compared = replace(comparison(), indications=(found,), where=where)
    assert named_first(["S1", "S2", "S4", "S5"], compared) == ["S4", "S5", "S1", "S2"]
