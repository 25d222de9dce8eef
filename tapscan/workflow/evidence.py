"""What examinations found, against what tapscan had said: over the whole register.

evidence_of(register)    Evidence: the rows of screening/evidence.py, and the plates behind them
evidence_json(found)     the same as text
evidence_rows(found)     the same in words; too_few(found): where it is no rate yet
"""

import json
from collections.abc import Iterable
from dataclasses import dataclass

from tapscan import __version__
from tapscan.plain_values import SCHEMA, plain
from tapscan.register.database import Register
from tapscan.register.entries import ScanEntry
from tapscan.register.results import load_screening
from tapscan.register.scans import list_scans
from tapscan.screening.evidence import ENOUGH, Examined, Rate, Row, evidence

__all__ = ["ENOUGH", "Evidence", "Rate", "Row", "evidence_json", "evidence_of", "evidence_rows", "too_few"]


@dataclass(frozen=True)
class Evidence:
    """Rows, and each plate that was examined."""

    rows: tuple[Row, ...]
    examined: tuple[Examined, ...]


def evidence_of(register: Register) -> Evidence:
    """Crossed-out scans do not count (list_scans leaves them out), nor what nobody examined, nor played notes: the rows are of rules that hear taps."""
    examined = tuple(_examined(register, entry) for entry in newest_examined(list_scans(register)))
    return Evidence(evidence(examined), examined)


def newest_examined(entries: Iterable[ScanEntry]) -> list[ScanEntry]:
    """One scan a plate."""
    newest: dict[str, ScanEntry] = {}
    for entry in sorted(entries, key=lambda e: (e.date, e.number)):
        if entry.settling and not entry.played:
            newest[entry.plate] = entry
    return list(newest.values())


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


def _examined(register: Register, entry: ScanEntry) -> Examined:
    screening = load_screening(register, entry.current.id)
    return Examined(
        entry.name,
        bool(entry.flaws),
        tuple(sorted({i.rule for i in screening.indications if i.interpretation == "relevant"})),
        tuple(sorted({r.rule for r in screening.rules_not_run})),
        entry.conditions.state,
        entry.conditions.sensor.kind,
    )
