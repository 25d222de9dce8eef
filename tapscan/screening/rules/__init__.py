"""The rules, one file each.

A rule's file ends with RULE, which says all that words, docs, report, JSON and error rates need (screening/rule.py). To add one: write its
file beside these, name it in RULES, and write a test that goes red when the rule is broken. Thresholds that it alone reads stand in its file.

RULES                        in the order in which they run and are shown
NOTE_RULES                   those of a scan whose keys were played; of such a scan the others are not run, and these are not run of taps
RULE_LIMITS                  all sets of thresholds that stand in the files of rules
rules_of(scan)               those that are meant for what was recorded, taps or notes
rule_named(name)             the Rule, or None
run_rules(scan, settings)    indications, and the rules that lacked their input
"""

from tapscan.records import IN_PIANO, Indication, RuleNotRun, Scan
from tapscan.screening.compressed import needs_waveform
from tapscan.screening.rule import Rule
from tapscan.screening.rules import (
    buzz,
    change_in_piano,
    change_since_baseline,
    dead_place,
    force_dependence,
    local_ringing,
    long_decay,
    note_buzz,
    prominent_ringing,
    ringing_on,
    room_hum,
    string,
    unlike_its_pattern,
)
from tapscan.settings import Settings

RULES: tuple[Rule, ...] = (
    force_dependence.RULE,
    prominent_ringing.RULE,
    local_ringing.RULE,
    long_decay.RULE,
    dead_place.RULE,
    buzz.RULE,
    change_since_baseline.RULE,
    change_in_piano.RULE,
    unlike_its_pattern.RULE,
    string.RULE,
    room_hum.RULE,
)
NOTE_RULES: tuple[Rule, ...] = (note_buzz.RULE, ringing_on.RULE)
RULE_LIMITS: tuple[type, ...] = tuple(limits for rule in (*RULES, *NOTE_RULES) for limits in rule.limits)
IN_PIANO_REASON = (
    "the plate is in the piano; what this rule finds, and how often it errs, is known for simulated bare plates only"
)


def rule_named(name: str) -> Rule | None:
    """As the JSON and the register name it."""
    return next((rule for rule in (*RULES, *NOTE_RULES) if rule.name == name), None)


def rules_of(scan: Scan) -> tuple[Rule, ...]:
    """In order."""
    return NOTE_RULES if scan.played else RULES


def run_rules(
    scan: Scan, settings: Settings, rules: tuple[Rule, ...] | None = None
) -> tuple[list[Indication], list[RuleNotRun]]:
    """Every rule once, in order; without `rules` those of the scan."""
    found: list[Indication] = []
    not_run: list[RuleNotRun] = []
    for rule in rules_of(scan) if rules is None else rules:
        in_piano = rule.bare_only and scan.state in IN_PIANO
        reason = needs_waveform(rule, scan) or (IN_PIANO_REASON if in_piano else None)
        outcome = RuleNotRun(rule.name, reason) if reason else rule.run(scan, settings)
        if isinstance(outcome, RuleNotRun):
            not_run.append(outcome)
        else:
            found.extend(outcome)
    return found, not_run
