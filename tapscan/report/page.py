"""The one page a person reads: what was found and what to do first, evidence and figures after.

render_page(screening, about, beside)   HTML as text: one file, no script, nothing fetched from anywhere
write_page(screening, path, ...)        the same into a file, whole or not at all (OSError)
Beside                                  the shop, the sounds, and whether only the first things are wanted

This module turns records into rows of words; the templates set them; figures.py draws. All text from outside
(names of files and stations, sentences) passes through the template's escaping.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from statistics import median
from typing import Any

from tapscan import __version__
from tapscan.records import Condition, Indication, Mode, Recording, Screening, StationPicture, Strike
from tapscan.report import words
from tapscan.report.about import About
from tapscan.report.comparison_section import comparison_section
from tapscan.report.files import write_text
from tapscan.report.map_section import map_section
from tapscan.report.players import Sound, players
from tapscan.report.rendering import render
from tapscan.report.shop import Shop

MOST_PICTURES = 12
MOST_MODES = 60
MOST_ROWS = 300
MOST_NAMED = 6


@dataclass(frozen=True)
class Beside:
    """What a page may carry beside the screening."""

    shop: Shop | None = None
    sounds: tuple[Sound, ...] = ()
    summary: bool = False  # one page for a buyer


def write_page(screening: Screening, path: Path, about: About | None = None, beside: Beside = Beside()) -> None:
    """Write the page to `path`; an older one stands until the new one is complete."""
    write_text(Path(path), render_page(screening, about, beside))


def render_page(screening: Screening, about: About | None = None, beside: Beside = Beside()) -> str:
    """The page as text; `about`: what the shop wrote down, where the scan comes from a register."""
    more = {"about": about, "shop": beside.shop, "sounds": players(beside.sounds)}
    return render("summary.html" if beside.summary else "page.html", {**_sheet(screening), **more})


def _sheet(screening: Screening) -> dict[str, Any]:
    """Everything the templates name."""
    scan = screening.scan
    appendix, left_out = _appendix_modes(screening)
    notes = words.Notes()
    return {
        "s": screening,
        "version": __version__,
        "facts": _facts(screening),
        "findings": [_finding(i, n, screening) for n, i in enumerate(screening.indications, 1)],
        "plate": map_section(screening),
        "comparison": comparison_section(screening),
        "stations": _stations(scan.strikes, dict(scan.places)),
        "not_run": [(words.rule(r.rule), r.reason) for r in screening.rules_not_run],
        "pictures": _pictures(screening),
        "undrawn": _undrawn(screening),
        "modes": [_mode_row(m, notes) for m in appendix],
        "mode_notes": notes.rows,
        "modes_left_out": left_out,
        "strikes": [_strike_row(s) for s in scan.strikes[:MOST_ROWS]],
        "strikes_left_out": max(0, len(scan.strikes) - MOST_ROWS),
        "recordings": [_recording_row(r) for r in scan.recordings[:MOST_ROWS]],
        "recordings_left_out": max(0, len(scan.recordings) - MOST_ROWS),
        "simulated": _rests_on_simulation(screening),
    }


def _facts(screening: Screening) -> list[tuple[str, str]]:
    scan = screening.scan
    stations = len({s.station for s in scan.strikes})
    usable = sum(s.usable for s in scan.strikes)
    taps = "none found"
    if scan.strikes:
        places = words.counted(stations, "station")
        taps = f"{words.counted(len(scan.strikes), 'tap')} at {places}, {usable} used"
    not_run = len(screening.rules_not_run)
    return [
        ("Taps", taps),
        ("Recordings", words.counted(len(scan.recordings), "file")),
        ("Tones (modes) told apart", str(len(scan.modes))),
        ("State of the plate", words.STATES.get(scan.state, scan.state) if scan.state else "not given"),
        ("Layout of stations", scan.layout or "not given"),
        (
            "Checks not made",
            f"{not_run}; each is named further down with its reason" if not_run else "none",
        ),
    ]


def _finding(indication: Indication, number: int, screening: Screening) -> dict[str, Any]:
    by_id = {m.id: m for m in screening.scan.modes}
    modes = [by_id[m] for m in indication.modes if m in by_id]
    return {
        "number": number,
        "title": words.rule(indication.rule),
        "sentence": indication.sentence,
        "stations": words.listed(indication.stations) or "the plate as a whole",
        "interpretation": words.INTERPRETATIONS.get(indication.interpretation, indication.interpretation),
        "status": words.STATUSES.get(indication.status, str(indication.status)),
        "evidence": [_evidence(c, modes) for c in indication.conditions],
        "modes": [_mode_in_words(m) for m in modes[:MOST_NAMED]],
        "modes_left_out": max(0, len(indication.modes) - MOST_NAMED),
        "others": indication.other_explanations,
        "reach": words.reach(indication.rule),
    }


def _evidence(c: Condition, modes: Sequence[Mode]) -> dict[str, str]:
    value = words.quantity(c.value, c.unit)
    if c.name == "time to -60 dB" and len(modes) == 1:
        value = f"{_t60(modes[0])} {c.unit}"
    return {
        "name": words.minus(c.name),
        "meaning": words.EVIDENCE.get(c.name, ""),
        "value": value,
        "limit": "none set" if c.limit is None else words.quantity(c.limit, c.unit),
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
    ring = f"its decay is {words.unknown(m.reason)}"
    if m.t60_s:
        ring = f"fades by 60 dB in {words.with_sd(m.t60_s, _relative_sd(m, m.t60_s), places=3)} s"
    return f"{m.id}: {words.with_sd(m.frequency_hz, m.frequency_sd_hz, places=2)} Hz{tone}; {ring}"


def _t60(m: Mode) -> str:
    return words.with_sd(m.t60_s, _relative_sd(m, m.t60_s))


def _relative_sd(m: Mode, value: float | None) -> float | None:
    """Standard deviation of a figure that goes as the decay rate or its inverse."""
    if value is None or not m.decay_rate_per_s or m.decay_rate_sd_per_s is None:
        return None
    return abs(value) * m.decay_rate_sd_per_s / m.decay_rate_per_s


def _stations(strikes: Sequence[Strike], where: Mapping[str, str]) -> list[dict[str, str]]:
    rows = []
    for name in dict.fromkeys(s.station for s in strikes):
        mine = [s for s in strikes if s.station == name]
        clear = [s.snr_db for s in mine if s.snr_db is not None]
        seen = dict.fromkeys(f for s in mine for f in s.faults)
        reasons = dict.fromkeys(s.reason for s in mine if s.reason)
        rows.append(
            {
                "name": name,
                "where": where.get(name, ""),
                "taps": f"{len(mine)} ({sum(s.usable for s in mine)} used)",
                "faults": _fault_counts(mine, list(seen)),
                "over_noise": f"{words.decibels(median(clear))} dB" if clear else words.unknown("; ".join(reasons)),
            }
        )
    return rows


def _fault_counts(strikes: Sequence[Strike], seen: Sequence[str]) -> str:
    told = [f"{sum(f in s.faults for s in strikes)} of them {words.FAULTS.get(f, f)}" for f in seen]
    return "; ".join(told) or "none"


def _pictures(screening: Screening) -> list[dict[str, Any]]:
    if not screening.pictures:
        return []
    from tapscan.report import figures

    strikes = {s.id: s for s in screening.scan.strikes}
    named = {m for i in screening.indications for m in i.modes}
    rows = []
    for k, picture in enumerate(_chosen(screening), 1):
        strike = strikes.get(picture.strike)
        noise = None if strike is None or strike.snr_db is None else strike.level_db - strike.snr_db
        heard = figures.strongest(screening.scan.modes, picture.station)
        rows.append(
            {
                "station": picture.station,
                "tap": f"{picture.strike} ({strike.force})" if strike and strike.force else picture.strike,
                "spectrum": figures.spectrum(picture, screening.scan.modes, tuple(named), f"spectrum-{k}"),
                "decay": figures.decay(picture, noise, f"decay-{k}"),
                "heard": len(heard),
                "named": [_marked(m, picture) for m in heard if m.id in named][:MOST_NAMED],
                "fall": figures.fall_time(picture),
                "noise_known": noise is not None,
            }
        )
    return rows


def _marked(m: Mode, picture: StationPicture) -> str:
    out_of_sight = len(picture.frequency_hz) == 0 or m.frequency_hz > picture.frequency_hz[-1]
    return f"{m.frequency_hz:.0f} Hz{' (higher than the picture reaches)' if out_of_sight else ''}"


def _chosen(screening: Screening) -> list[StationPicture]:
    """At most a dozen: stations that an indication names come first, then in the order tapped."""
    named = {s for i in screening.indications for s in i.stations}
    ranked = sorted(screening.pictures, key=lambda p: p.station not in named)[:MOST_PICTURES]
    kept = {id(p) for p in ranked}
    return [p for p in screening.pictures if id(p) in kept]


def _undrawn(screening: Screening) -> str:
    kept = {p.station for p in _chosen(screening)}
    stations = dict.fromkeys(s.station for s in screening.scan.strikes)
    return words.listed([s for s in stations if s not in kept]) if kept else ""


def _appendix_modes(screening: Screening) -> tuple[list[Mode], int]:
    """The strongest and those that indications name, in order of frequency; how many are left out."""
    named = {m for i in screening.indications for m in i.modes}
    modes = screening.scan.modes
    by_level = sorted(modes, key=lambda m: -(-1e3 if m.level_db is None else m.level_db))
    kept = {m.id for m in by_level[:MOST_MODES]} | named
    shown = sorted((m for m in modes if m.id in kept), key=lambda m: m.frequency_hz)
    return shown, len(modes) - len(shown)


def _mode_row(m: Mode, notes: words.Notes) -> dict[str, Any]:
    stands = {True: "yes", False: "no", None: words.UNKNOWN}[m.prominent]
    cents = words.UNKNOWN if m.cents is None else words.minus(f"{m.cents:+.0f}")
    return {
        "id": m.id,
        "frequency": words.with_sd(m.frequency_hz, m.frequency_sd_hz),
        "decay": words.with_sd(m.decay_rate_per_s, m.decay_rate_sd_per_s),
        "t60": _t60(m),
        "q": words.with_sd(m.q, _relative_sd(m, m.q)),
        "loss": words.with_sd(m.loss_factor, _relative_sd(m, m.loss_factor), scale=1e3),
        "note": f"{m.note} {cents}" if m.note else words.UNKNOWN,
        "tone_to_noise": words.decibels(m.tone_to_noise_db),
        "prominence": words.decibels(m.prominence_ratio_db),
        "stands": f"{stands}, {m.stations_prominent}/{m.stations_judged}" if m.stations_judged else stands,
        "level": words.decibels(m.level_db),
        "stations": words.listed([s.station for s in m.strengths], 4),
        "origin": words.ORIGINS.get(m.origin, m.origin),
        "why": notes.letter(m.reason),
    }


def _strike_row(s: Strike) -> dict[str, str]:
    return {
        "id": s.id,
        "recording": s.recording,
        "station": s.station,
        "force": s.force or "not declared",
        "onset": f"{s.onset_s:.3f}",
        "duration": f"{s.duration_s:.2f}",
        "peak": words.number(s.peak, 2),
        "level": words.decibels(s.level_db),
        "over_noise": words.unknown(s.reason) if s.snr_db is None else words.decibels(s.snr_db),
        "faults": words.faults(s.faults),
    }


def _recording_row(r: Recording) -> dict[str, str]:
    used = f"none ({r.reason or 'no reason given'})"
    if r.channel_used is not None:
        used = f"{r.channel_used + 1} of {r.channels}"
    return {
        "id": r.id,
        "file": r.file,
        "sha256": r.sha256,
        "rate": f"{r.sample_rate_hz}",
        "channel": used,
        "duration": f"{r.duration_s:.2f}",
        "faults": words.faults(r.faults),
    }


def _rests_on_simulation(screening: Screening) -> bool:
    sources = [c.source for i in screening.indications for c in i.conditions]
    return any("simulat" in source for source in sources)
