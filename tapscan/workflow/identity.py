"""Whether a scan is of the plate it was given to, told from the register.

    doubts_of(register, plate, scan, settings, stored)   Doubt after Doubt; empty where nothing speaks against it

It is held against the plate's own newest scans and its baseline; where none of these is surely of the same plate, against the newest scan of every other
plate as well. Scans that are doubtful themselves tell nothing.
"""

from collections.abc import Iterator, Sequence

from tapscan.records import Doubt, Fingerprint, Scan
from tapscan.register.database import Register
from tapscan.register.entries import ScanEntry
from tapscan.register.plates import find_plate, list_plates
from tapscan.register.results import load_screening
from tapscan.register.scans import list_scans
from tapscan.screening.compare.identity import exchanged, fingerprint, not_judged, whose
from tapscan.settings import Settings
from tapscan.wording import listed

NEWEST = 3  # of the plate's own scans, beside its baseline
Beside = tuple[str, Scan, Fingerprint]  # name of the earlier scan, the scan, and what was found


def doubts_of(
    register: Register, plate: str, scan: Scan, settings: Settings, stored: ScanEntry | None = None
) -> tuple[Doubt, ...]:
    """`stored`: the scan's entry, where it is stored already; it is then held against the scans before it."""
    own = list(_beside(register, _own(register, plate, stored), scan, settings))
    if not own:
        return _of_another(register, plate, scan, settings)
    nearest = max(own, key=lambda beside: beside[2].heard_again)
    said = [whose(found, settings) for _, _, found in own]
    other = None if "same" in said else _repeated(register, plate, scan, settings)
    if other or all(s.startswith("another") for s in said):
        return (_which_plate(nearest, said[own.index(nearest)], other),)
    return _which_places(nearest, scan, settings)


def _own(register: Register, plate: str, stored: ScanEntry | None) -> list[ScanEntry]:
    entries = _tapped(register, plate)
    if stored:
        entries = [e for e in entries if (e.date, e.number) < (stored.date, stored.number)]
    newest = sorted(entries, key=lambda e: (e.date, e.number))[-NEWEST:]
    return newest + [e for e in entries if e.baseline and e not in newest]


def _tapped(register: Register, plate: str) -> list[ScanEntry]:
    """Played notes tell no plate from another."""
    return [e for e in list_scans(register, plate) if not e.played]


def _beside(register: Register, entries: list[ScanEntry], scan: Scan, settings: Settings) -> Iterator[Beside]:
    """Those that can tell."""
    for entry in entries:
        before = load_screening(register, entry.current.id)
        if not before.doubts and not_judged(before.scan, scan, settings) is None:
            yield entry.name, before.scan, fingerprint(before.scan, scan, settings)


def _repeated(register: Register, plate: str, scan: Scan, settings: Settings) -> Beside | None:
    """Of another plate, the scan that this one repeats."""
    own = find_plate(register, plate).name
    newest = [scans[-1] for p, _, _ in list_plates(register) if p.name != own and (scans := _tapped(register, p.name))]
    found = [b for b in _beside(register, newest, scan, settings) if whose(b[2], settings) == "same"]
    return max(found, key=lambda beside: beside[2].heard_again, default=None)


def _which_plate(nearest: Beside, said: str, other: Beside | None) -> Doubt:
    name, _, found = nearest
    what = "of another casting of this pattern" if said == "another casting" else "of another plate"
    again = f" Of its tones {_percent(found)} were heard again, fewer than of any plate that was only scanned anew."
    return Doubt("which plate", name, f"Beside {name} this sounds like a scan {what}.{again}{_like(other)}", found, (), other[0] if other else None)  # fmt: skip


def _of_another(register: Register, plate: str, scan: Scan, settings: Settings) -> tuple[Doubt, ...]:
    other = _repeated(register, plate, scan, settings)
    if other is None:
        return ()
    said = f"{find_plate(register, plate).name} has no scan to hold this one against.{_like(other)}"
    return (Doubt("which plate", other[0], said, other[2], (), other[0]),)


def _like(other: Beside | None) -> str:
    return f" It sounds like {other[0]}: {_percent(other[2])} of those tones were heard again." if other else ""


def _percent(found: Fingerprint) -> str:
    return f"{100 * found.heard_again:.0f} %"


def _which_places(nearest: Beside, scan: Scan, settings: Settings) -> tuple[Doubt, ...]:
    name, before, found = nearest
    groups = exchanged(before, scan, settings)
    if not groups:
        return ()
    said = "; ".join(listed(g) for g in groups)
    sentence = f"Beside {name} the taps at {said} seem to have been given to each other's places. Reading the scan anew can put that right."
    places = tuple(s for g in groups for s in g)
    return (Doubt("which places", name, sentence, found, places, give_back=given_back(groups)),)


def given_back(groups: Sequence[Sequence[str]]) -> tuple[tuple[str, str], ...]:
    """Of rings as `exchanged` gives them: where taps stand, and the place they belong to."""
    return tuple((stands, belongs) for g in groups for stands, belongs in zip(g, (g[-1], *g[:-1]), strict=True))
