"""What the report says of a rule's errors is what the benches counted, and only for the limits they were counted with."""

import re

import pytest

from tapscan.report.error_rates import KINDS, NOT_MEASURED, OTHER_SETTINGS, error_rates, measured
from tapscan.screening.rules import RULE_LIMITS, RULES
from tapscan.screening.rules.unlike_its_pattern import Limits as OfPattern
from tapscan.settings import Settings, limits_by_part
from tapscan.settings.compare import Compare
from tapscan.settings.iron import Iron

SHIPPED = limits_by_part(Settings(), RULE_LIMITS)
COUNTED = [rule.name for rule in RULES if rule.rates]
AIMED = {rule.name: rule.aims for rule in RULES if rule.rates == "by kind of flaw"}


@pytest.mark.parametrize("rule", COUNTED)
def test_other_settings_have_no_measured_reach(rule):
    changed = Settings().but(Iron, area_score=9.9).but(Compare, drop_limit_three=9.9).but(OfPattern, unlike=9.9)
    other = limits_by_part(changed, RULE_LIMITS)
    assert error_rates(rule, other) == OTHER_SETTINGS
    assert error_rates(rule, SHIPPED) != OTHER_SETTINGS
    assert "never counted on real iron" in error_rates(rule, SHIPPED)


@pytest.mark.parametrize("rule", list(AIMED))
def test_all_kinds_of_plates_are_counted_once(rule):
    """Shares in the sentence add up to all flawed plates of the bench, and to the times the rule spoke on them."""
    found = {kind: share[rule] for kind, share in measured()["single"]["relevant"].items()}
    assert set(found) == {"sound", *KINDS}
    usual, _, more = error_rates(rule, SHIPPED).partition("With 36 places")
    assert f"with {measured()['single']['places_tapped']} places tapped" in usual
    told = _counts(usual)
    assert told[0] == (found["sound"]["spoke"], found["sound"]["of"])
    flawed = [found[kind] for kind in KINDS]
    assert sum(a for a, _ in told[1:]) == sum(f["spoke"] for f in flawed)
    assert sum(b for _, b in told[1:]) == sum(f["of"] for f in flawed)

    dense = {kind: share[rule] for kind, share in measured()["single"]["more_places"].items()}
    aimed = [k for k in AIMED[rule] if k in dense]
    wanted = [(dense[k]["spoke"], dense[k]["of"]) for k in ("sound", *aimed)] if aimed else []
    assert _counts(more) == wanted


def _counts(text):
    found = re.findall(r"(none|no|\d+) (?:false alarms? in|of) (\d+)", text)
    return [(0 if a in ("none", "no") else int(a), int(b)) for a, b in found]


def test_the_comparison_tells_unchanged_and_cracked_plates():
    figures = measured()["comparison"]
    said = error_rates("change-since-baseline", SHIPPED)
    assert _counts(said) == [(figures[kind]["spoke"], figures[kind]["of"]) for kind in ("unchanged", "cracked")]
    assert f"up to {100 * figures['unchanged']['high']:.1f} %" in said


def test_a_rule_that_was_never_counted_says_so():
    assert error_rates("room-hum-handling", SHIPPED) == NOT_MEASURED


def test_the_rule_of_patterns_tells_what_was_counted():
    figures = measured()["pattern"]
    said = error_rates("unlike-its-pattern", SHIPPED)
    shares = [
        figures["unflawed"],
        *(figures["found"][kind][n] for n in figures["found"]["severed"] for kind in ("severed", "rubbing")),
    ]
    assert _counts(said) == [(s["spoke"], s["of"]) for s in shares]
