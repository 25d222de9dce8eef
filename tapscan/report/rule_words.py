"""What the report says of a rule, read from the rule's own file.

rule_title(name)       its title in plain words; a name that no rule has is shown as it stands
not_run_by_reason(rules)   (titles, reason): checks that were not made for one reason stand together
meaning_of(condition)  what a condition's figure is, in plain words; empty where its name says it
"""

from collections.abc import Sequence
from functools import cache

from tapscan.records import RuleNotRun
from tapscan.screening.rules import RULES, rule_named
from tapscan.wording import small


def rule_title(name: str) -> str:
    """As headings have it."""
    rule = rule_named(name)
    return rule.title if rule else name.replace("-", " ").capitalize()


def not_run_by_reason(rules: Sequence[RuleNotRun]) -> list[tuple[str, str]]:
    """In the order of the first of each reason."""
    titles: dict[str, list[str]] = {}
    for rule in rules:
        titles.setdefault(rule.reason, []).append(rule_title(rule.rule))
    return [("; ".join([first, *map(small, rest)]), reason) for reason, (first, *rest) in titles.items()]


def meaning_of(condition: str) -> str:
    """By the condition's name."""
    return _meanings().get(condition, "")


@cache
def _meanings() -> dict[str, str]:
    return dict(pair for rule in RULES for pair in rule.meanings)
