"""How far the test reaches: for each rule what it said here, and how often it errs as far as that was measured.

reach_section(screening)   (rule in words, what it said here, how far it can be trusted) for every rule
"""

from tapscan.records import Screening
from tapscan.report import words
from tapscan.report.reach import reach


def reach_section(screening: Screening) -> list[tuple[str, str, str]]:
    """In the order of words.RULES, then rules that have no words of their own."""
    not_run = {r.rule for r in screening.rules_not_run}
    raised = [i.rule for i in screening.indications]
    names = dict.fromkeys([*words.RULES, *raised, *not_run])
    return [
        (words.rule(n), _said(n, n in not_run, raised.count(n)), reach(n, screening.settings_sha256)) for n in names
    ]


def _said(name: str, not_run: bool, raised: int) -> str:
    if raised:
        return f"raised {words.counted(raised, 'indication')} here"
    return "not run here" if not_run else "ran here and raised nothing"
