"""Numbers as a reader meets them."""

from tapscan import wording
from tapscan.estimate import Estimate
from tapscan.records import RuleNotRun
from tapscan.report.rule_words import not_run_by_reason
from tapscan.screening.rules import RULES
from tests.every import each


@each(
    ("value", "sd", "scale", "expected"),
    [
        (311.67826, 0.0083299, 1, "311.6783 ± 0.0083"),
        (0.0026, 0.000013, 1e3, "2.600 ± 0.013"),
        (1234.0, 123.0, 1, "1230 ± 120"),
        (5.0, 0.0996, 1, "5.000 ± 0.100"),
        (-3.5, 0.12, 1, "\N{MINUS SIGN}3.50 ± 0.12"),
        (5.0, None, 1, "5.000 ± unknown"),
        (5.0, 0.0, 1, "5.000 ± unknown"),
        (5.0, float("nan"), 1, "5.000 ± unknown"),
        (None, 0.1, 1, "unknown"),
        (float("inf"), 0.1, 1, "unknown"),
    ],
)
def test_value_with_standard_deviation(value, sd, scale, expected):
    assert wording.with_sd(Estimate(value, sd).times(scale)) == expected


@each(
    ("sd", "expected"),
    [(0.0123, "140.00 ± 0.02"), (0.01, "140.00 ± 0.01"), (0.004, "140.00 ± under 0.01"), (0.35, "140.00 ± 0.35")],
)
def test_few_places_never_make_the_uncertainty_smaller(sd, expected):
    assert wording.with_sd(Estimate(140.0, sd), places=2) == expected


@each(
    ("value", "unit", "expected"),
    [
        (12.2174, "dB", "12.2 dB"),
        (0.3, "s", "0.3 s"),
        (0.0015, "1", "0.0015"),
        (-3.4, "1", "\N{MINUS SIGN}3.4"),
        (1200.0, "Hz", "1200 Hz"),
        (0, "s", "0 s"),
        ("stripped", "", "stripped"),
        (None, "dB", "unknown"),
    ],
)
def test_quantity(value, unit, expected):
    assert wording.quantity(value, unit) == expected


def test_lists_are_sentences():
    assert wording.listed([]) == ""
    assert wording.listed(["S1"]) == "S1"
    assert wording.listed(["S1", "S2", "S3"]) == "S1, S2 and S3"
    assert wording.listed(["S1", "S2", "S3"], most=2) == "S1, S2 and 1 more"


def test_minus_signs_leave_names_alone():
    assert wording.minus("time to -60 dB at drum-rim-1") == "time to \N{MINUS SIGN}60 dB at drum-rim-1"


def test_checks_that_were_not_made_for_one_reason_stand_together():
    rules = [RuleNotRun(RULES[k].name, why) for k, why in ((0, "a"), (1, "b"), (2, "a"))]
    (first, a), (second, b) = not_run_by_reason(rules)
    assert (a, b, second) == ("a", "b", RULES[1].title)
    assert first.startswith(RULES[0].title) and RULES[2].title.lower() in first.lower()
