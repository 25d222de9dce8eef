"""How far the test reaches: for each rule what it said here, and how often it errs as far as that was measured.

error_rates_section(screening)   (rule in words, what it said here, how far it can be trusted) for every rule
"""

from typing import Any

from tapscan import wording
from tapscan.records import Screening
from tapscan.report.error_rates import earlier_scans, error_rates
from tapscan.report.rule_words import rule_title
from tapscan.report.section import Section, Sheet
from tapscan.screening.rules import rules_of


def error_rates_section(screening: Screening) -> list[tuple[str, str, str]]:
    """In the order of the rules, then names that no rule has any more."""
    not_run = {r.rule for r in screening.rules_not_run}
    raised = [i.rule for i in screening.indications]
    names = dict.fromkeys([*(r.name for r in rules_of(screening.scan)), *raised, *not_run])
    used, scans = screening.limits_sha256, earlier_scans(screening)
    return [(rule_title(n), _said(n, n in not_run, raised.count(n)), error_rates(n, used, scans)) for n in names]


def _said(name: str, not_run: bool, raised: int) -> str:
    if raised:
        return f"raised {wording.counted(raised, 'indication')} here"
    return "not run here" if not_run else "ran here and found nothing"


def _build(sheet: Sheet) -> dict[str, Any] | None:
    return {"reach": error_rates_section(sheet.screening)}


SECTION = Section("reach", "How far it reaches", "reach.html", _build, brief=False)
