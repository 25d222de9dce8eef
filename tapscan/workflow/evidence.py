"""What examinations found, against what tapscan had said: over the whole register.

evidence_of(register)    Evidence: the rows of screening/evidence.py, and the plates behind them
evidence_json(found)     the same as text
evidence_rows(found)     the same in words; too_few(found): where it is no rate yet; left_out(found): which plates were examined and do not count

A flaw that was found of what the eye saw on a visit counts like one of the scans by taps of that day. That nothing was found there, or what it was, speaks of the
place that the eye saw and not of the plate, so it counts nowhere; nor does a flaw of a day without such a scan, since it may be younger than the last one.
"""

import datetime as dt
import json
from collections.abc import Collection, Iterable

from msgspec import Struct

from tapscan import __version__
from tapscan.plain_values import SCHEMA, plain
from tapscan.register.database import Register
from tapscan.register.entries import ScanEntry
from tapscan.register.results import load_screening
from tapscan.register.scans import list_scans
from tapscan.register.visits import list_visits
from tapscan.screening.evidence import ENOUGH, Examined, Rate, Row, evidence
from tapscan.wording import listed

__all__ = ["ENOUGH", "Evidence", "Rate", "Row", "evidence_json", "evidence_of", "evidence_rows", "left_out", "too_few"]

MOST_NAMED = 5


class Evidence(Struct, frozen=True):
    """Rows, each plate that was examined, and those examined on visits alone that count nowhere, by why."""

    rows: tuple[Row, ...]
    examined: tuple[Examined, ...]
    not_of_the_plate: tuple[str, ...] = ()  # no flaw at the place that the eye saw
    no_scan_that_day: tuple[str, ...] = ()  # a flaw, and no scan by taps on the day of the visit


def evidence_of(register: Register) -> Evidence:
    """Crossed-out scans do not count (list_scans leaves them out), nor what nobody examined, nor played notes: the rows are of rules that hear taps."""
    seen = [v for v in list_visits(register) if any(look.outcomes for look in v.looks)]
    flawed = {(v.plate, v.date) for v in seen if any(look.flaws for look in v.looks)}
    newest = newest_examined(list_scans(register), flawed)
    later = {p for p, on in flawed if p in newest and on > newest[p].date and not newest[p].flaws}
    counting = [e for e in newest.values() if e.plate not in later]
    examined = tuple(_examined(register, e, flawed=bool(e.flaws) or (e.plate, e.date) in flawed) for e in counting)
    alone = {v.plate for v in seen if v.plate not in newest}
    unscanned = (alone & {p for p, _ in flawed}) | {p for p in later if (p, newest[p].date) not in flawed}
    return Evidence(evidence(examined), examined, tuple(sorted(alone - unscanned)), tuple(sorted(unscanned)))


def newest_examined(entries: Iterable[ScanEntry], flawed: Collection[tuple[str, dt.date]]) -> dict[str, ScanEntry]:
    """One scan by plate; `flawed` : plate and day of visits of which an examination found a flaw."""
    newest: dict[str, ScanEntry] = {}
    for entry in sorted(entries, key=lambda e: (e.date, e.number)):
        if not entry.played and (entry.settling or (entry.plate, entry.date) in flawed):
            newest[entry.plate] = entry
    return newest


def evidence_json(found: Evidence) -> str:
    """Indented text, ending in a newline."""
    document = {"tapscan": __version__, "schema": SCHEMA, "enough": ENOUGH, **plain(found)}
    return json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def evidence_rows(found: Evidence) -> list[tuple[str, str, str, str]]:
    """What, found of plates with a flaw, false calls of the others, how often not run."""
    return [(f"{r.what} {r.name}", _share(r.found), _share(r.false), str(r.not_run or "")) for r in found.rows]


def _share(rate: Rate) -> str:
    if rate.share is None or rate.low is None or rate.high is None:
        return f"{rate.hits} of {rate.of}"
    return f"{rate.hits} of {rate.of}: {100 * rate.share:.0f} % ({100 * rate.low:.0f} to {100 * rate.high:.0f} %)"


def too_few(found: Evidence) -> str:
    """Empty where there are enough."""
    if min(found.rows[0].found.of, found.rows[0].false.of) >= ENOUGH:
        return ""
    return f"Too few plates for a rate: it takes {ENOUGH} with a flaw and {ENOUGH} without. The counts are yours alone."


def left_out(found: Evidence) -> list[str]:
    """Sentences."""
    told = []
    if none := found.not_of_the_plate:
        told.append(
            f"Left out: {listed(none, MOST_NAMED)}. What the eye had seen there on a visit was examined and no flaw found; that says nothing of the rest of the plate."
        )
    if flawed := found.no_scan_that_day:
        told.append(
            f"Left out: {listed(flawed, MOST_NAMED)}. A flaw was found of what the eye had seen on a visit, and no taps of that day are there to be held against it."
        )
    return told


def _examined(register: Register, entry: ScanEntry, *, flawed: bool) -> Examined:
    screening = load_screening(register, entry.current.id)
    return Examined(
        entry.name,
        flawed,
        tuple(sorted({i.rule for i in screening.indications if i.interpretation == "relevant"})),
        tuple(sorted({r.rule for r in screening.rules_not_run})),
        entry.conditions.state,
        entry.conditions.sensor.kind,
    )
