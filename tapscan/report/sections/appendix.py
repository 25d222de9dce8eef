"""All figures, as rows of words for the tables at the end.

listed_modes(screening)     modes that the table holds, and how many it leaves out
mode_row, strike_row, recording_row
"""

from typing import Any

from tapscan import wording
from tapscan.faults import in_words
from tapscan.records import Mode, Recording, Screening, Strike
from tapscan.report import words
from tapscan.report.section import Section, Sheet

MOST_MODES = 60
MOST_ROWS = 300


def listed_modes(screening: Screening) -> tuple[list[Mode], int]:
    """The strongest and those that indications name, in order of frequency; how many are left out."""
    named = {m for i in screening.indications for m in i.modes}
    modes = screening.scan.modes
    by_level = sorted(modes, key=lambda m: -(-1e3 if m.level_db is None else m.level_db))
    kept = {m.id for m in by_level[:MOST_MODES]} | named
    shown = sorted((m for m in modes if m.id in kept), key=lambda m: m.frequency_hz)
    return shown, len(modes) - len(shown)


def mode_row(m: Mode, notes: words.Notes) -> dict[str, Any]:
    """`notes` gives a letter to each reason why a figure is unknown."""
    stands = {True: "yes", False: "no", None: wording.UNKNOWN}[m.prominent]
    cents = wording.UNKNOWN if m.cents is None else wording.minus(f"{m.cents:+.0f}")
    return {
        "id": m.id,
        "frequency": wording.within(m.frequency),
        "decay": wording.within(m.decay_rate),
        "t60": wording.within(m.t60),
        "q": wording.within(m.quality),
        "loss": wording.within(m.loss.times(1e3)),
        "note": f"{m.note} {cents}" if m.note else wording.UNKNOWN,
        "tone_to_noise": wording.decibels(m.tone_to_noise_db),
        "prominence": wording.decibels(m.prominence_ratio_db),
        "stands": f"{stands}, {m.stations_prominent}/{m.stations_judged}" if m.stations_judged else stands,
        "level": wording.decibels(m.level_db),
        "stations": wording.listed([s.station for s in m.amplitudes], 4),
        "origin": words.ORIGINS.get(m.origin, m.origin),
        "why": notes.letter(m.reason),
    }


def strike_row(s: Strike) -> dict[str, str]:
    """One tap."""
    return {
        "id": s.id,
        "recording": s.recording,
        "station": s.station,
        "force": s.force or "not declared",
        "onset": f"{s.onset_s:.3f}",
        "duration": f"{s.duration_s:.2f}",
        "peak": wording.number(s.peak, 2),
        "level": wording.decibels(s.level_db),
        "over_noise": wording.unknown(s.reason) if s.snr_db is None else wording.decibels(s.snr_db),
        "faults": in_words(s.faults),
    }


def recording_row(r: Recording) -> dict[str, str]:
    """One file."""
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
        "faults": in_words(r.faults),
    }


def _build(sheet: Sheet) -> dict[str, Any] | None:
    scan = sheet.screening.scan
    shown, left_out = listed_modes(sheet.screening)
    notes = words.Notes()
    return {
        "modes": [mode_row(m, notes) for m in shown],
        "mode_notes": notes.rows,
        "modes_left_out": left_out,
        "agreement": scan.agreement,
        "strikes": [strike_row(s) for s in scan.strikes[:MOST_ROWS]],
        "strikes_left_out": max(0, len(scan.strikes) - MOST_ROWS),
        "recordings": [recording_row(r) for r in scan.recordings[:MOST_ROWS]],
        "recordings_left_out": max(0, len(scan.recordings) - MOST_ROWS),
    }


SECTION = Section("appendix", "Figures", "appendix.html", _build, brief=False)
