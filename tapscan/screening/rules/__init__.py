"""The rules, one file each.

A rule module has NAME (as in the JSON; its plain words stand in report/words.py) and run(scan, settings), which gives a list
of Indication (empty: nothing found) or a RuleNotRun with the input it lacks. To add one: write the module
beside these, put it into RULES, give its limits in settings.py with reason and source, and a test that goes
red when the rule is broken. A rule whose reach was measured on bare plates only goes into BARE_ONLY too.
"""

from types import ModuleType

from tapscan.records import IN_PIANO, Indication, RuleNotRun, Scan
from tapscan.screening.rules import (
    buzz,
    change_since_baseline,
    dead_place,
    force_dependence,
    local_ringing,
    long_decay,
    prominent_ringing,
    room_hum,
    string,
)
from tapscan.settings import Settings

RULES: tuple[ModuleType, ...] = (
    force_dependence,
    prominent_ringing,
    local_ringing,
    long_decay,
    dead_place,
    buzz,
    change_since_baseline,
    string,
    room_hum,
)
BARE_ONLY: tuple[ModuleType, ...] = (force_dependence, local_ringing, long_decay, dead_place, buzz)
IN_PIANO_REASON = (
    "the plate is in the piano; what this rule finds, and how often it errs, is known for simulated bare plates only"
)


def run_rules(scan: Scan, settings: Settings) -> tuple[list[Indication], list[RuleNotRun]]:
    """Every rule once, in order."""
    found: list[Indication] = []
    not_run: list[RuleNotRun] = []
    for rule in RULES:
        in_piano = rule in BARE_ONLY and scan.state in IN_PIANO
        outcome = RuleNotRun(rule.NAME, IN_PIANO_REASON) if in_piano else rule.run(scan, settings)
        if isinstance(outcome, RuleNotRun):
            not_run.append(outcome)
        else:
            found.extend(outcome)
    return found, not_run
