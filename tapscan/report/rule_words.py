"""What the report says of a rule, read from the rule's own file.

rule_title(name)       its title in plain words; a name that no rule has is shown as it stands
meaning_of(condition)  what a condition's figure is, in plain words; empty where its name says it
"""

from functools import cache

from tapscan.screening.rules import RULES, rule_named


def rule_title(name: str) -> str:
    """As headings have it."""
    rule = rule_named(name)
    return rule.title if rule else name.replace("-", " ").capitalize()


def meaning_of(condition: str) -> str:
    """By the condition's name."""
    return _meanings().get(condition, "")


@cache
def _meanings() -> dict[str, str]:
    return dict(pair for rule in RULES for pair in rule.meanings)
