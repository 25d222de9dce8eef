"""The rules, one file each.

A rule module has NAME (as in the JSON; its plain words stand in report/words.py) and run(scan, settings), which gives a list
of Indication (empty: nothing found) or a RuleNotRun with the input it lacks. To add one: write the module
beside these, put it into RULES, give its limits in settings.py with reason and source, and a test that goes
red when the rule is broken.
"""

from types import ModuleType

from tapscan.records import Indication, RuleNotRun, Scan
from tapscan.screening.rules import change_since_baseline, long_decay, prominent_ringing
from tapscan.settings import Settings

RULES: tuple[ModuleType, ...] = (prominent_ringing, long_decay, change_since_baseline)

NOT_BUILT = {
    "dead-place": "regions that die away sooner than the rest",
    "local-ringing": "a mode that rings at a few neighbouring places only",
    "force-dependence": "an answer that changes with the force of the tap",
    "buzz": "a rattle in the ring",
    "string": "tones that come from strings",
    "room-hum-handling": "tones that come from the room or the mains",
}


def run_rules(scan: Scan, settings: Settings) -> tuple[list[Indication], list[RuleNotRun]]:
    """Every rule once, in order; then those that are not built."""
    found: list[Indication] = []
    not_run: list[RuleNotRun] = []
    for rule in RULES:
        outcome = rule.run(scan, settings)
        if isinstance(outcome, RuleNotRun):
            not_run.append(outcome)
        else:
            found.extend(outcome)
    not_run += [RuleNotRun(name, f"not in this version: {what}") for name, what in NOT_BUILT.items()]
    return found, not_run
