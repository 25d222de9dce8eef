"""Findings of earlier scans that are still open.

still_open(past, now)    OpenFinding after OpenFinding, newest first, from a plate's scans
beside(opened, every)    without those that the scan at hand shows by the same rule itself and nobody examined
told(opened)             a sentence, empty without any

A finding that goes away is not cleared: unchanged simulated plates with chilled iron, scanned again, lost their finding in 8 to 11 % (counted by a reader of
the project). It stays open until the part that caused it is named in an outcome, and the two newest scans are silent. An outcome that
names no part never closes it: a crack that was confirmed stays on the first screen.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from tapscan.records import Disposition, Indication

SILENT_SCANS = 2  # one silent scan proves little, see above


@dataclass(frozen=True)
class PastScan:
    """One earlier scan of the plate, as far as it matters here."""

    name: str
    date: str  # ISO 8601
    disposition: Disposition
    relevant: tuple[Indication, ...]
    outcomes: tuple[str, ...] = ()  # what later examinations found, in words
    part_named: bool = False  # one of them names the part that caused the finding

    @property
    def silent(self) -> bool:
        """Tapped well, and nothing found."""
        return self.disposition == "no relevant indication" and not self.relevant


@dataclass(frozen=True)
class OpenFinding:
    """The newest finding of one rule that is not cleared."""

    scan: str
    date: str
    rule: str
    sentence: str
    outcomes: tuple[str, ...] = ()


def still_open(past: Sequence[PastScan], now: PastScan | None = None) -> tuple[OpenFinding, ...]:
    """`past`: oldest first; `now`: the scan at hand, of which only its silence matters."""
    here = () if now is None else (now,)
    found: dict[str, OpenFinding] = {}
    for k, scan in enumerate(past):
        after = (*past[k + 1 :], *here)
        if _closed(scan, after):
            continue
        said = tuple(dict.fromkeys(o for s in (scan, *after) for o in s.outcomes))
        for i in scan.relevant:
            found[i.rule] = OpenFinding(scan.name, scan.date, i.rule, i.sentence, said)
    return tuple(sorted(found.values(), key=lambda o: o.date, reverse=True))


def _closed(scan: PastScan, after: Sequence[PastScan]) -> bool:
    named = any(s.part_named for s in (scan, *after))
    return named and len(after) >= SILENT_SCANS and all(s.silent for s in after[-SILENT_SCANS:])


def beside(opened: Sequence[OpenFinding], every: Sequence[Indication]) -> tuple[OpenFinding, ...]:
    """What the scan at hand shows itself need not be told twice, but what an examination found is always told."""
    shown = {i.rule for i in every}
    return tuple(o for o in opened if o.rule not in shown or o.outcomes)


def told(opened: Sequence[OpenFinding]) -> str:
    """Begins with a blank."""
    if not opened:
        return ""
    first, more = opened[0], len(opened) - 1
    rest = f" {more} more {'is' if more == 1 else 'are'} open." if more else ""
    said = "; ".join(first.outcomes) or "no examination is on record"
    return (
        f" Still open, from {first.date}: {first.sentence}{rest} Examined since: {said}. A finding that goes away is not cleared: it stays open until the part that caused it is named "
        f"and {SILENT_SCANS} scans are silent."
    )
