"""What a person may listen to in the page of a scan.

    sounds_of(now, before, screening)   Sound after Sound: for each indication the strike (in turn with the same place in the
                                        baseline, where there is one) and the named tone alone; then one place at which nothing was found
    strike_clip(tape, station)          the clearest tap at one place
    decays_of(now, screening)           ToneDecay of the first few tones that indications name

Loudness is matched: every strike is brought to the same peak, and the page says so. The tone alone is computed from the mode's
frequency and decay. Recordings that cannot be read are left out.
"""

from collections.abc import Sequence

import numpy as np
from msgspec import Struct

from tapscan import wording
from tapscan.errors import UnreadableRecording
from tapscan.recording.files import mp3_bytes
from tapscan.records import FloatArray, Mode, Scan, Screening
from tapscan.report import words
from tapscan.report.extras import Sound, ToneDecay
from tapscan.report.rule_words import rule_title
from tapscan.report.sections.tones import MOST_TONES, named
from tapscan.report.time_frequency import TimeFrequency, time_frequency_of
from tapscan.signal.observe.one_tone import without_neighbours
from tapscan.signal.plate.ringdown import EnergyLeft, Ring, energy_left
from tapscan.workflow.stored_audio import Tape, best_strike, read_strike

MOST_INDICATIONS, MOST_MARKS, SECONDS, PEAK = 5, 4, 2.0, 0.7
BEFORE_S, LONGEST_S, NOISE_S = 0.05, 8.0, 0.3
TONE_RATE_HZ = 32000
TURNS, GAP_S = 2, 0.4  # before and now, so often, with so much silence between
IN_TURN = "before, now, before, now, without end until it is stopped; each as recorded, brought to the same peak"
MATCHED = "as recorded, brought to the same peak as the others"
COMPUTED = "computed from its frequency and decay, not recorded"


def sounds_of(now: Tape, before: Tape | None, screening: Screening) -> tuple[Sound, ...]:
    """In the order of the page."""
    scan, found = now.scan, []
    by_id = {m.id: m for m in scan.modes}
    for i in screening.indications[:MOST_INDICATIONS]:
        group = f"{rule_title(i.rule)}: {wording.listed(i.stations, words.MOST_LISTED) or 'the plate as a whole'}"
        station = next(iter(i.stations), None) or _loudest_station(scan)
        modes = [by_id[m] for m in i.modes if m in by_id]
        marks = tuple(m.frequency_hz for m in modes[:MOST_MARKS])
        found += _in_turn(before, now, station, group, marks) or _strike(now, station, group, "this scan", marks)
        found += _tone(modes, group)
    spoken_of = {s for i in screening.indications for s in i.stations}
    quiet = next((s.station for s in scan.strikes if s.usable and s.station not in spoken_of), None)
    if quiet is not None:
        found += _strike(now, quiet, "A place at which nothing was found", "this scan", ())
    return tuple(found)


def _loudest_station(scan: Scan) -> str | None:
    usable = [s for s in scan.strikes if s.usable]
    return max(usable, key=lambda s: s.level_db).station if usable else None


class _Heard(Struct, frozen=True, eq=False):
    """The best strike of one place."""

    samples: FloatArray  # (n,)
    rate_hz: int
    picture: TimeFrequency | None


def _heard(tape: Tape, station: str | None) -> _Heard | None:
    best = best_strike(tape.scan, station)
    if best is None:
        return None
    before = min(BEFORE_S, best.onset_s)
    try:
        x, rate = read_strike(tape, best, -before, SECONDS)
    except UnreadableRecording:
        return None
    return _Heard(x, rate, time_frequency_of(x, rate, before)) if x.any() else None


def _strike(tape: Tape, station: str | None, group: str, which: str, marks_hz: tuple[float, ...]) -> list[Sound]:
    h = _heard(tape, station)
    if h is None:
        return []
    mp3 = mp3_bytes(_shown(h.samples, h.rate_hz), h.rate_hz)
    return [Sound(group, f"{station}, {which}", MATCHED, mp3, h.picture, marks_hz)]


def _in_turn(
    before: Tape | None, now: Tape, station: str | None, group: str, marks_hz: tuple[float, ...]
) -> list[Sound]:
    """One sound that goes to and fro; none where the two cannot be set side by side."""
    earlier, later = _heard(before, station) if before else None, _heard(now, station)
    if earlier is None or later is None or earlier.rate_hz != later.rate_hz:
        return []
    rate = later.rate_hz
    gap = np.zeros(round(GAP_S * rate))
    both = [_shown(earlier.samples, rate), gap, _shown(later.samples, rate), gap]
    mp3 = mp3_bytes(np.concatenate(both * TURNS), rate)
    return [Sound(group, f"{station}, before and now", IN_TURN, mp3, later.picture, marks_hz, earlier.picture)]


def strike_clip(tape: Tape, station: str) -> bytes | None:
    """MP3 of the clearest tap at a place; None where there is none. Raises UnreadableRecording."""
    best = best_strike(tape.scan, station)
    if best is None:
        return None
    x, rate = read_strike(tape, best, -min(BEFORE_S, best.onset_s), SECONDS)
    return mp3_bytes(_shown(x, rate), rate) if x.any() else None


def _shown(x: FloatArray, rate: int) -> FloatArray:
    """Same peak, soft end."""
    fade = np.minimum(1.0, np.arange(len(x))[::-1] / (0.05 * rate))
    return np.asarray(x / (np.abs(x).max() + 1e-12) * PEAK * fade)


def _tone(modes: Sequence[Mode], group: str) -> list[Sound]:
    """The tone that the indication names first, of those that have a decay."""
    m = next((m for m in modes if m.decay_rate_per_s), None)
    if m is None:
        return []
    t = np.arange(round(SECONDS * TONE_RATE_HZ)) / TONE_RATE_HZ
    x = np.sin(2 * np.pi * m.frequency_hz * t) * np.exp(-(m.decay_rate_per_s or 0.0) * t) * np.minimum(1, t / 0.005)
    return [Sound(group, f"{m.frequency_hz:.0f} Hz alone", COMPUTED, mp3_bytes(_shown(x, TONE_RATE_HZ), TONE_RATE_HZ))]


def decays_of(now: Tape, screening: Screening) -> tuple[ToneDecay, ...]:
    """Each at the place where a tap sets the tone going most."""
    found = [_decay(now, m) for m in named(screening)[:MOST_TONES]]
    return tuple(d for d in found if d is not None)


def _decay(now: Tape, mode: Mode) -> ToneDecay | None:
    places = sorted(mode.amplitudes, key=lambda s: -s.amplitude_db)
    best = next((b for s in places if (b := best_strike(now.scan, s.station)) is not None), None)
    if best is None or not mode.decay_rate_per_s:
        return None
    quiet_s = min(NOISE_S, best.onset_s)
    length = min(best.duration_s, LONGEST_S)
    try:
        ring, rate = read_strike(now, best, 0.0, length)
        noise, _ = read_strike(now, best, -quiet_s, quiet_s)
    except UnreadableRecording:
        return None
    modes = [m for m in now.scan.modes if m.id != mode.id]
    known = [(m.frequency_hz, m.decay_rate_per_s) for m in modes if m.decay_rate_per_s]
    others = [m.frequency_hz for m in modes if not m.decay_rate_per_s]
    ring = without_neighbours(ring, rate, (mode.frequency_hz, mode.decay_rate_per_s), known)
    quiet = Ring(noise, rate) if best.snr_db is not None and quiet_s >= 0.1 else None
    left = energy_left(Ring(ring, rate), quiet, mode.frequency_hz, mode.decay_rate_per_s, others)
    start = _start(left, mode.decay_rate_per_s)
    rates = (mode.decay_rate_per_s, mode.decay_rate_sd_per_s)
    where = (mode.frequency_hz, best.station, best.id)
    return ToneDecay(mode.id, *where, left.time_s, left.level_db, start, *rates, left.reason)


def _start(left: EnergyLeft, decay_rate_per_s: float) -> float:
    """Height at which the straight line of the given slope lies best along the curve."""
    if not len(left.time_s):
        return 0.0
    return float(np.median(left.level_db + 20 / np.log(10) * decay_rate_per_s * left.time_s))
