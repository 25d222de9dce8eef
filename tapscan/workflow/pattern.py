"""A plate beside others of its pattern, told from the register and from sets of other shops.

references_of(register, pattern, leave)          Reference after Reference of one pattern, a plate's own scans left out
held_beside(register, pattern, screening, ...)   the Screening with what its pattern tells
beside_own_pattern(register, plate, ...)         the same for a scan of a plate in the register
patterns_of(register)                            PatternEntry after PatternEntry
standing_of(register, pattern, settings)         each reference against the others, by state, sensor and layout
standing_rows(lot), left_out_words(lot)          the same in words
suggestions_of(register, settings)               two names for one pattern, or one for two
export_set(register, pattern, path, ...)         the shop's own plates as a set; no audio, no names, no owner unless given
import_set(register, path)                       SetEntry
"""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from msgspec import Struct
from msgspec.structs import replace

from tapscan import __version__
from tapscan.errors import BadRequest, TapscanError, UnknownName
from tapscan.records import Known, Reference, RuleNotRun, ScanConditions, Screening
from tapscan.register.database import Register
from tapscan.register.entries import Plate, ScanEntry
from tapscan.register.names import name_key
from tapscan.register.on_record import noted_on_record
from tapscan.register.plates import find_plate, list_plates
from tapscan.register.reference_file import read_set, write_set
from tapscan.register.references import (
    ReferenceSet,
    SetEntry,
    add_set,
    list_sets,
    packed,
    pattern_key,
    set_references,
)
from tapscan.register.results import load_screening
from tapscan.register.scans import list_scans
from tapscan.screening.disposition import NOTES
from tapscan.screening.open_findings import EXAMINED, OpenFinding
from tapscan.screening.pattern.among_sisters import Standing, beside_pattern, noticed, with_pattern
from tapscan.screening.pattern.references import fit_for, reference_of
from tapscan.screening.pattern.same_pattern import Lots, sounds_like, two_or_one
from tapscan.screening.rules import unlike_its_pattern as rule
from tapscan.sensors import SensorKind
from tapscan.settings import Settings
from tapscan.workflow.still_open import record_opened

__all__ = ["ReferenceSet", "SetEntry", "Standing"]
NO_PATTERN = "nobody has said of which pattern this plate is"
DOUBTFUL = "not sure of which plate it is"
OPEN = "its plate has a finding that nobody has examined"


class PatternEntry(Struct, frozen=True):
    """One pattern as the register knows it."""

    name: str
    plates: tuple[str, ...]  # of this register
    sets: tuple[SetEntry, ...]


class Lot(Struct, frozen=True):
    """References that can be held against each other: made in one state, by one kind of sensor, by one layout."""

    what: str
    references: tuple[Reference, ...]
    standing: tuple[Standing, ...]  # of those used, in their order
    left_out: tuple[tuple[str, str], ...]  # name, why


def patterns_of(register: Register) -> list[PatternEntry]:
    """By name."""
    names: dict[str, str] = {}
    plates: dict[str, list[str]] = {}
    sets: dict[str, list[SetEntry]] = {}
    for plate in _plates(register):
        names.setdefault(pattern_key(plate.pattern or ""), plate.pattern or "")
        plates.setdefault(pattern_key(plate.pattern or ""), []).append(plate.name)
    for entry in list_sets(register):
        names.setdefault(pattern_key(entry.pattern), entry.pattern)
        sets.setdefault(pattern_key(entry.pattern), []).append(entry)
    return [PatternEntry(names[k], tuple(plates.get(k, ())), tuple(sets.get(k, ()))) for k in sorted(names)]


def _plates(register: Register) -> list[Plate]:
    return [p for p, _, _ in list_plates(register, retired=True) if (p.pattern or "").strip()]


def find_pattern(register: Register, name: str) -> PatternEntry:
    """Raises UnknownName and lists those there are."""
    every = patterns_of(register)
    for entry in every:
        if pattern_key(entry.name) == pattern_key(name):
            return entry
    there = ", ".join(e.name for e in every[:8]) or "none yet: `tapscan plate add NAME --pattern PATTERN`"
    raise UnknownName(f"there is no pattern {name!r} in this register or in a set; there is {there}")


def references_of(register: Register, pattern: str, leave: str | None = None) -> list[Reference]:
    """`leave`: the plate whose own scans are no references."""
    key = pattern_key(pattern)
    return [*_own(register, leave).get(key, []), *set_references(register, key).get(key, [])]


def _every(register: Register) -> dict[str, list[Reference]]:
    own, sets = _own(register, None), set_references(register)
    return {key: [*own.get(key, []), *sets.get(key, [])] for key in sorted({*own, *sets})}


def _own(register: Register, leave: str | None) -> dict[str, list[Reference]]:
    """The newest scan of each plate, state, kind of sensor and layout, by key of the pattern."""
    pattern = {p.name: pattern_key(p.pattern or "") for p in _plates(register)}
    newest: dict[tuple[object, ...], ScanEntry] = {}
    for entry in list_scans(register):
        if entry.plate in pattern and not entry.played and (leave is None or name_key(entry.plate) != name_key(leave)):
            newest[(entry.plate, entry.conditions.state, entry.conditions.sensor.kind, entry.layout)] = entry
    entries = list(newest.values())
    by_screening = {e.current.id: e for e in entries}
    known = packed(register, list(by_screening), lambda number: _made(register, by_screening[number]))
    opened = {r.plate: record_opened(r) for r in noted_on_record(register, {e.plate for e in entries}).values()}
    found: dict[str, list[Reference]] = {}
    for number, entry in by_screening.items():
        said = _as_it_stands(known[number], entry, opened.get(entry.plate, ()))
        found.setdefault(pattern[entry.plate], []).append(said)
    return found


def _made(register: Register, entry: ScanEntry) -> Reference:
    screening = load_screening(register, entry.current.id)
    standing = DOUBTFUL if screening.doubts else None
    return reference_of(entry.name, screening.scan, entry.conditions.sensor.kind, standing=standing)


def _as_it_stands(reference: Reference, entry: ScanEntry, opened: Sequence[OpenFinding]) -> Reference:
    """With what examinations found, of any scan or visit of the plate, which a stored screening does not know. `opened` : of the plate."""
    flawed = any(o.rule == EXAMINED for o in opened)
    outcome: Known = "flaw" if flawed else "nothing found" if entry.settling else "unknown"
    open_still = outcome == "unknown" and (
        entry.current.disposition == "relevant indication"
        or any(o.rule not in NOTES and not o.outcomes for o in opened)
    )
    conditions = entry.conditions
    return replace(
        reference,
        name=entry.name,
        state=conditions.state,
        sensor=conditions.sensor.kind,
        outcome=outcome,
        standing=reference.standing or (OPEN if open_still else None),
    )


def held_beside(
    register: Register,
    pattern: str,
    screening: Screening,
    sensor: SensorKind | None,
    settings: Settings,
    leave: str | None = None,
    name: str = "this plate",
) -> Screening:
    """`leave`: the plate's name, where it is in the register."""
    plate = reference_of(name, screening.scan, sensor)
    found = beside_pattern(pattern, plate, screening.scan, references_of(register, pattern, leave), settings)
    if any(i.id == "P1" for i in found.indications):
        names = {pattern_key(e.name): e.name for e in patterns_of(register)}
        others = {names[k]: v for k, v in _every(register).items() if k != pattern_key(pattern)}
        found = replace(found, suggestions=sounds_like(plate, pattern, others))
    return with_pattern(screening, found, settings)


def beside_own_pattern(
    register: Register, plate: str, conditions: ScanConditions, screening: Screening, settings: Settings, name: str
) -> Screening:
    """A scan of a plate in the register. One that may be of another plate is held against none."""
    known = find_plate(register, plate, exact=True)
    if screening.doubts or not (known.pattern or "").strip():
        why = DOUBTFUL if screening.doubts else NO_PATTERN
        others = tuple(r for r in screening.rules_not_run if r.rule != rule.NAME)
        return replace(screening, rules_not_run=(*others, RuleNotRun(rule.NAME, why)))
    return held_beside(register, known.pattern or "", screening, conditions.sensor.kind, settings, known.name, name)


def standing_of(register: Register, pattern: str, settings: Settings) -> list[Lot]:
    """The largest lot first."""
    lots: dict[tuple[object, ...], list[Reference]] = {}
    for r in references_of(register, pattern):
        lots.setdefault((r.state, r.sensor, r.layout), []).append(r)
    return sorted((_lot(key, some, settings) for key, some in lots.items()), key=lambda lot: -len(lot.references))


def _lot(key: tuple[object, ...], some: Sequence[Reference], settings: Settings) -> Lot:
    state, sensor, layout = key
    what = f"state {state or 'unknown'}, sensor {sensor or 'unknown'}, layout {layout or 'none'}"
    first = next((r for r in some if r.outcome != "flaw" and not r.standing), some[0])
    rest = [r for r in some if r is not first]
    fit = fit_for(first, rest)
    usable = [r for r in (first, *fit.used) if r.outcome != "flaw" and not r.standing]
    left = [(s.name, s.left_out or "") for s in fit.left_out]
    left += [(first.name, first.standing or "an examination found a flaw")] if first not in usable else []
    return Lot(what, tuple(some), tuple(noticed(usable, settings)) if usable else (), tuple(left))


def standing_rows(lot: Lot) -> list[tuple[str, str, str]]:
    """Reference, how unlike the others it is, and what follows."""
    return [
        (
            s.name,
            "not told: needs four" if s.unlike is None else f"{s.unlike:.2f} (limit {s.limit:.2f})",
            "unlike the others: look at it" if s.stands_out else "",
        )
        for s in lot.standing
    ]


def left_out_words(lot: Lot) -> list[str]:
    """A sentence for each that is not used."""
    return [f"not used as sound: {name}: {why}" for name, why in lot.left_out]


def suggestions_of(register: Register) -> tuple[str, ...]:
    """From the modes alone."""
    names = {pattern_key(e.name): e.name for e in patterns_of(register)}
    lots: Lots = {names[key]: some for key, some in _every(register).items()}
    return two_or_one(lots)


def export_set(
    register: Register, pattern: str, path: Path, name: str | None = None, owner: str | None = None
) -> ReferenceSet:
    """The shop's own plates, numbered. Raises BadRequest where there is none to give."""
    entry = find_pattern(register, pattern)
    own = [r for r in _own(register, None).get(pattern_key(pattern), []) if r.standing != DOUBTFUL]
    if not own:
        raise BadRequest(f"pattern {entry.name}: no plate of this register has a scan of it; there is nothing to give")
    numbered = [replace(r, name=str(i), standing=None) for i, r in enumerate(own, start=1)]
    with _plainly(path):
        return write_set(path, name or entry.name, entry.name, numbered, owner, f"tapscan {__version__}")


def import_set(register: Register, path: Path) -> SetEntry:
    """Whole or not at all."""
    with _plainly(path):
        found = read_set(path)
    return add_set(register, found)


@contextmanager
def _plainly(path: Path) -> Iterator[None]:
    try:
        yield
    except TapscanError:
        raise
    except OSError as problem:
        raise BadRequest(f"{path}: {problem.strerror or problem}") from None
