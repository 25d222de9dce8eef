"""The first few tones that indications name: where each is strong, and how it dies away.

tones_section(screening, decays)   what tones.html names, or None where no indication names a tone
"""

from collections.abc import Sequence
from typing import Any

from markupsafe import Markup
from msgspec import Struct

from tapscan import wording
from tapscan.records import Mode, Screening
from tapscan.report.drawing.plate_map import amplitude_legend
from tapscan.report.extras import ToneDecay
from tapscan.report.section import Section, Sheet
from tapscan.report.sections.map import mode_map

MOST_TONES = 4


class TonesSection(Struct, frozen=True):
    """Rows of {title, map, decay, decay_words}; a drawing that could not be made is None."""

    rows: list[dict[str, Any]]
    left_out: int
    sizes: list[tuple[Markup, str]]


def named(screening: Screening) -> list[Mode]:
    """Modes that indications name, the first of each indication first."""
    by_id = {m.id: m for m in screening.scan.modes}
    lists = [[m for m in i.modes if m in by_id] for i in screening.indications]
    longest = max((len(names) for names in lists), default=0)
    in_turn = [names[k] for k in range(longest) for names in lists if k < len(names)]
    return [by_id[m] for m in dict.fromkeys(in_turn)]


def tones_section(screening: Screening, decays: Sequence[ToneDecay]) -> TonesSection | None:
    """Decays are those of recordings that could be read; without them the maps stand alone."""
    modes = named(screening)
    by_mode = {d.mode: d for d in decays}
    rows = [_row(screening, m, by_mode.get(m.id), k) for k, m in enumerate(modes[:MOST_TONES], 1)]
    rows = [r for r in rows if r["map"] or r["decay_words"]]
    if not rows:
        return None
    sizes = amplitude_legend() if any(r["map"] for r in rows) else []
    return TonesSection(rows, max(0, len(modes) - MOST_TONES), sizes)


def _row(screening: Screening, mode: Mode, found: ToneDecay | None, number: int) -> dict[str, Any]:
    layout = screening.scan.map
    what = f"mode {mode.id}, {wording.within(mode.frequency, places=4)} Hz"
    drawing = None
    if found is not None:
        from tapscan.report.figures.tones import tone_decay

        drawing = tone_decay(found, f"tone-decay-{number}")
    return {
        "title": what[0].upper() + what[1:],
        "map": mode_map(screening.scan, layout, mode, f"map-mode-{number}", what) if layout else None,
        "decay": drawing,
        "decay_words": _decay_words(mode, found, drawing is not None),
    }


def _decay_words(mode: Mode, found: ToneDecay | None, drawn: bool) -> str:
    if found is None:
        return ""
    if not drawn:
        return f"Its energy at {found.station} could not be followed: {found.reason or 'too little of it'}."
    ring = f"time to \N{MINUS SIGN}60 dB {wording.within(mode.t60, places=3)} s" if mode.t60_s else "decay unknown"
    return (
        f"How its energy leaves the plate after tap {found.strike} at {found.station}: the full line is measured, with the noise and "
        f"the neighbouring tones taken away; the broken line is the decay given above for all taps together ({ring})."
    )


def _build(sheet: Sheet) -> dict[str, Any] | None:
    found = tones_section(sheet.screening, sheet.beside.decays)
    return {"tones": found} if found else None


SECTION = Section("tones", "The tones named", "tones.html", _build, brief=False)
