"""One indication as rows of words.

finding(indication, number, screening)   what indications.html names
"""

from collections.abc import Sequence
from math import log
from typing import Any

from tapscan import wording
from tapscan.records import Condition, Indication, Mode, Screening
from tapscan.report import words
from tapscan.report.error_rates import earlier_scans, error_rates
from tapscan.report.rule_words import meaning_of, rule_title
from tapscan.report.section import Section, Sheet
from tapscan.screening.next_steps import to_repeat

MOST_NAMED = 6
UNITS = {"standard deviations": "times the usual scatter"}  # in words that need no explanation
OF_NOTES = "no place is known: the notes tell which keys, not where it sits"


def finding(indication: Indication, number: int, screening: Screening) -> dict[str, Any]:
    """`number` as it stands before it on the page."""
    by_id = {m.id: m for m in screening.scan.modes}
    nowhere = OF_NOTES if screening.scan.played else "the plate as a whole"
    modes = [by_id[m] for m in indication.modes if m in by_id]
    return {
        "number": number,
        "relevant": indication.interpretation == "relevant",
        "title": rule_title(indication.rule),
        "sentence": indication.sentence,
        "stations": wording.listed(indication.stations, words.MOST_LISTED) or nowhere,
        "has_places": bool(indication.stations),
        "where": wording.listed([screening.scan.where(s) for s in indication.stations], words.MOST_LISTED) or nowhere,
        "interpretation": words.INTERPRETATIONS.get(indication.interpretation, indication.interpretation),
        "status": words.STATUSES.get(indication.status, str(indication.status)),
        "evidence": [_evidence(c, modes) for c in indication.conditions],
        "modes": [_mode_in_words(m) for m in modes[:MOST_NAMED]],
        "modes_left_out": max(0, len(indication.modes) - MOST_NAMED),
        "others": indication.other_explanations,
        "reach": error_rates(indication.rule, screening.limits_sha256, earlier_scans(screening)),
    }


def _evidence(c: Condition, modes: Sequence[Mode]) -> dict[str, str]:
    unit = UNITS.get(c.unit, c.unit)
    if c.name == "odds of a weight" and isinstance(c.value, float) and c.value > 0:
        value = wording.weight_odds(log(c.value))
    else:
        value = wording.quantity(c.value, unit)
    if c.name == "time to -60 dB" and len(modes) == 1:
        value = f"{wording.within(modes[0].t60)} {c.unit}"
    return {
        "name": wording.minus(c.name),
        "meaning": meaning_of(c.name),
        "value": value,
        "limit": "none set" if c.limit is None else wording.quantity(c.limit, unit),
        "side": _side(c),
        "source": c.source,
    }


def _side(c: Condition) -> str:
    if isinstance(c.value, str) or isinstance(c.limit, str) or c.value is None or c.limit is None:
        return ""
    if c.value == c.limit:
        return "at the limit"
    return "above the limit" if c.value > c.limit else "below the limit"


def _mode_in_words(m: Mode) -> str:
    tone = f", near the note {m.note}" if m.note else ""
    ring = f"its decay is {wording.unknown(m.reason)}"
    if m.t60_s:
        ring = f"fades by 60 dB in {wording.within(m.t60, places=3)} s"
    return f"{m.id}: {wording.within(m.frequency, places=4)} Hz{tone}; {ring}"


def _build(sheet: Sheet) -> dict[str, Any] | None:
    s = sheet.screening
    findings = [finding(i, n, s) for n, i in enumerate(s.indications, 1)]
    return {
        "findings": findings,
        "simulated": _rests_on_simulation(s),
        "repeat": to_repeat(s.next_steps, s.scan.state),
    }


def _rests_on_simulation(screening: Screening) -> bool:
    sources = [c.source for i in screening.indications for c in i.conditions]
    return any("simulat" in source for source in sources)


SECTION = Section("indications", "What was found", "indications.html", _build)
