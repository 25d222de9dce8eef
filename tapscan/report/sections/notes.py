"""Keys that were played: chart of notes against tones that ring on, and the list of both."""

from typing import Any

from tapscan import wording
from tapscan.records import ForeignTone, PlayedNotes
from tapscan.report.section import Section, Sheet
from tapscan.screening.played_notes import KEYBOARD
from tapscan.screening.rules.note_buzz import buzzing_notes
from tapscan.screening.rules.ringing_on import RingingOnLimits, lasting
from tapscan.settings import Settings

MOST_TONES, MOST_KEYS = 6, 8


def _build(sheet: Sheet) -> dict[str, Any] | None:
    scan = sheet.screening.scan
    played = scan.played
    if played is None:
        return None
    from tapscan.report.figures.notes import notes_chart

    found = {f.id for f in lasting(scan, Settings())} if played.foreign else set()
    buzzing = {n.id for n in buzzing_notes(scan, Settings())}
    apart = len({n.recording for n in played.notes}) == len(played.notes) > 1
    place = {name: k for k, name in enumerate(KEYBOARD)}
    wanted = [f for f in played.foreign if f.id in found or sheet.beside.full]
    shown = sorted(wanted, key=lambda f: (f.id not in found, -len(f.notes)))[:MOST_TONES]
    return {
        "chart": notes_chart(played, place, found, buzzing, "notes"),
        "remarks": sheet.screening.assignment,
        "rows": [_row(f, played, found) for f in shown],
        "left_out": wording.counted(more, "further tone") if (more := len(played.foreign) - len(shown)) else "",
        "why_none": played.foreign_reason,
        "notes": [_note(n, n.id in buzzing, apart) for n in played.notes] if sheet.beside.full else [],
    }


def _row(f: ForeignTone, played: PlayedNotes, found: set[str]) -> dict[str, str]:
    keys = {n.id: n.key or wording.UNKNOWN for n in played.notes}
    return {
        "id": f.id,
        "hz": wording.within(f.frequency, places=1),
        "loss": wording.within(f.loss, places=4),
        "notes": f"{wording.counted(len(f.notes), 'note')}, {len(f.near)} with a partial beside it",
        "keys": wording.listed([keys[n] for n in f.notes], MOST_KEYS),
        "what": _what(f, found),
        "string": f.string_of or "no damped string",
    }


def _what(f: ForeignTone, found: set[str]) -> str:
    if f.id in found:
        return "reported"
    dies = f.loss_factor > Settings().of(RingingOnLimits).loss_factor
    return "dies away as plate and board do" if dies else "not sure enough to be reported"


def _note(n: Any, buzzes: bool, apart: bool) -> dict[str, str]:
    return {
        "id": n.id,
        "at": "own recording" if apart else f"{n.onset_s:.1f}",
        "key": n.key or wording.unknown(n.reason or ""),
        "held": f"{n.held_s:.2f}" if n.held_s is not None else "no damper heard",
        "buzz": "yes" if buzzes else "no" if n.buzz_share_db is not None else wording.unknown(n.buzz_reason or ""),
        "after": f"{n.listened_s:.1f}" if n.listened_s is not None else wording.unknown(n.tones_reason or ""),
    }


SECTION = Section("notes", "The notes that were played", "notes.html", _build)
