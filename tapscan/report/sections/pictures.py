"""Spectrum and decay of each place, with what stands below them.

station_pictures(screening)   rows for pictures.html
undrawn(screening)            the places that have none, as a sentence has them
named_modes(screening)        the first few modes of each indication
"""

from typing import Any

from tapscan import wording
from tapscan.records import Mode, Screening, StationPicture
from tapscan.report import words
from tapscan.report.section import Section, Sheet

MOST_PICTURES = 8
MOST_NAMED = 6


def named_modes(screening: Screening) -> tuple[Mode, ...]:
    """Those that each indication names first, without the many that may follow."""
    by_id = {m.id: m for m in screening.scan.modes}
    names = dict.fromkeys(m for i in screening.indications for m in i.modes[:MOST_NAMED])
    return tuple(by_id[m] for m in names if m in by_id)


def station_pictures(screening: Screening) -> list[dict[str, Any]]:
    """Empty where no pictures were made."""
    if not screening.pictures:
        return []
    from tapscan.report.figures import station as figures

    strikes = {s.id: s for s in screening.scan.strikes}
    named = [m.id for m in named_modes(screening)]
    rows = []
    for k, picture in enumerate(_chosen(screening), 1):
        strike = strikes.get(picture.strike)
        noise = None if strike is None or strike.snr_db is None else strike.level_db - strike.snr_db
        heard = figures.strongest(screening.scan.modes, picture.station)
        rows.append(
            {
                "station": picture.station,
                "tap": f"{picture.strike} ({strike.force})" if strike and strike.force else picture.strike,
                "spectrum": figures.spectrum(picture, screening.scan.modes, named, f"spectrum-{k}"),
                "decay": figures.decay(picture, noise, f"decay-{k}"),
                "heard": len(heard),
                "named": [_marked(m, picture) for m in heard if m.id in named][:MOST_NAMED],
                "widest": _widest(figures.widest_hz(heard)),
                "fall": figures.fall_time(picture),
                "noise_known": noise is not None,
            }
        )
    return rows


def _widest(hz: float | None) -> str:
    return "not known" if hz is None else f"at most ± {wording.number(hz, 2)} Hz"


def _marked(m: Mode, picture: StationPicture) -> str:
    out_of_sight = len(picture.frequency_hz) == 0 or m.frequency_hz > picture.frequency_hz[-1]
    return f"{m.frequency_hz:.0f} Hz{' (higher than the picture reaches)' if out_of_sight else ''}"


def _chosen(screening: Screening) -> list[StationPicture]:
    """At most eight: stations that an indication names come first, then in the order tapped."""
    named = {s for i in screening.indications for s in i.stations}
    ranked = sorted(screening.pictures, key=lambda p: p.station not in named)[:MOST_PICTURES]
    kept = {id(p) for p in ranked}
    return [p for p in screening.pictures if id(p) in kept]


def undrawn(screening: Screening) -> str:
    """Empty where all are drawn, or none."""
    kept = {p.station for p in _chosen(screening)}
    stations = dict.fromkeys(s.station for s in screening.scan.strikes)
    return wording.listed([s for s in stations if s not in kept], words.MOST_LISTED) if kept else ""


def _build(sheet: Sheet) -> dict[str, Any] | None:
    s = sheet.screening
    return {"pictures": station_pictures(s), "undrawn": undrawn(s), "tapped": bool(s.scan.strikes)}


SECTION = Section("pictures", "Pictures", "pictures.html", _build, brief=False)
