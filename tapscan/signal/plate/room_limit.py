"""Above which frequency a room hides the plate, told from the taps themselves before anything is fitted.

    late_slopes(strikes, noises, rate)   per third of an octave: how the end of the ring falls
    hidden_above(slopes)                 Hidden of one station, None where the iron is heard throughout
    limit_of(told)                       RoomLimit of a scan: what the slopes of all stations tell together

Iron damps high tones faster than low ones, a room all alike. By microphone a band that the room hides therefore falls in two slopes: steeply
while the iron is heard, then as slowly as the room does. The line through the late part, drawn back to the blow, starts well below the blow (the direct
sound outweighs what the walls send back), and its slope hardly changes from band to band. Where the iron alone is heard the line
starts near the blow, and falls faster the higher the band. Both are asked for, in several bands on end up to the highest one heard. Ours; tried on simulated
plates only (bench/microphone.py).
"""

from collections.abc import Sequence
from statistics import median

import numpy as np
from msgspec import Struct

from tapscan.records import FloatArray, RoomLimit
from tapscan.signal.fit.noise import hann

LOWEST_HZ, HIGHEST_HZ = 630.0, 11220.0  # below, a band holds too few modes to fall evenly
BAND = 2 ** (1 / 3)
FRAME_S, HOP_S = 0.020, 0.005
FIRST_FRAMES = 3  # the loudest of these is the blow
NOISE_MARGIN = 3.0  # of power; less clear of the noise, a frame tells nothing
LATE_SHARE, LATE_DB = 0.4, 10.0  # of the fall that is heard, and at least so much
HEARD_DB = 18.0  # a band heard for less of a fall has no late part
FALLS_DB = 6.0  # the late line must fall so far while it is heard: what stands like noise is no room
LONGEST_S = 3.0  # until a room has died away; halls take less
LEAST_FRAMES = 5
STARTS_BELOW_DB = -6.0  # simulated pickups: -5 to +9 above 1 kHz; a microphone at 0.1 and 0.4 m: -7 to -20
LEAST_BANDS = 4
STEEPEST = -0.6  # of ln(time to die away) over ln(frequency): iron about -1, a room 0
ALIKE = 1.5  # times the middle of them, or over it: the time to die away
RUN_SHARE = 0.75  # of those bands: an uneven one among them does not count
LEAST_STATIONS = 2  # struck real drums and cymbals, one place each, fall in two slopes as well
STATION_SHARE = 0.5  # of the stations that hear a band


class LateSlope(Struct, frozen=True):
    """The end of the ring in one band."""

    low_hz: float
    high_hz: float
    t60_s: float
    starts_db: float  # the late line at the blow, over the level of the blow


class Hidden(Struct, frozen=True):
    """What one station tells."""

    above_hz: float
    t60_s: float


def late_slopes(strikes: Sequence[FloatArray], noises: Sequence[FloatArray], sample_rate_hz: int) -> list[LateSlope]:
    """Bands that are heard long enough, in order of frequency.

    strikes : S arrays (n_s,), sample 0 at the onset. noises : arrays from before the strikes; without any, the last tenth of each strike.
    """
    length = min(len(s) for s in strikes)
    frame = round(FRAME_S * sample_rate_hz)
    if length < LEAST_FRAMES * frame:
        return []
    hop = round(HOP_S * sample_rate_hz)
    at_hz = np.fft.rfftfreq(frame, 1 / sample_rate_hz)
    at_hz = at_hz[at_hz < HIGHEST_HZ]
    power = np.sum([_power(s[:length], frame, hop, len(at_hz)) for s in strikes], axis=0)
    quiet = [n for n in noises if len(n) >= 2 * frame] or [s[length - length // 10 - frame : length] for s in strikes]
    noise: FloatArray = np.mean([_power(n, frame, hop, len(at_hz)).mean(axis=1) for n in quiet], axis=0) * len(strikes)
    found = []
    low = LOWEST_HZ
    while (high := low * BAND) <= min(HIGHEST_HZ, 0.45 * sample_rate_hz):
        inside = (at_hz >= low) & (at_hz < high)
        slope = _late(power[inside].sum(axis=0), float(noise[inside].sum()))
        found += [LateSlope(low, high, *slope)] if slope else []
        low = high
    return found


def _power(samples: FloatArray, frame: int, hop: int, frequencies: int) -> FloatArray:
    """(frequencies, frames) of whole frames only, in any one unit; the lowest so many."""
    frames = np.lib.stride_tricks.sliding_window_view(samples, frame)[::hop] * hann(frame)
    spectra = np.fft.rfft(frames, axis=1)[:, :frequencies]
    return np.asarray((spectra.real**2 + spectra.imag**2).T)


def _late(power: FloatArray, noise: float) -> tuple[float, float] | None:
    """Time to -60 dB of the late line, and its level at the first frame over the blow's in dB."""
    blow = float(power[:FIRST_FRAMES].max())
    drowned = np.nonzero(power[FIRST_FRAMES:] < (1 + NOISE_MARGIN) * noise)[0]
    end = FIRST_FRAMES + int(drowned[0]) if len(drowned) else len(power)
    level = 10 * np.log10(np.maximum(power[:end] - noise, 1e-30) / max(blow, 1e-30))
    fallen = -float(level.min())
    if blow <= noise or fallen < HEARD_DB:
        return None
    late = -fallen + max(LATE_DB, LATE_SHARE * fallen)
    above = np.nonzero(level > late)[0]  # none where the blow hardly stands out of the noise
    if not len(above) or end - (first := int(above[-1])) < LEAST_FRAMES:
        return None
    start, slope = _line(np.arange(first, end, dtype=np.float64) * HOP_S, level[first:end])
    falls_db = -slope * (end - first) * HOP_S
    return (-60.0 / slope, start) if falls_db > FALLS_DB else None


def _line(x: FloatArray, y: FloatArray) -> tuple[float, float]:
    """Where the line of least squares stands at x = 0, and its slope."""
    away = x - x.mean()
    slope = float(away @ y / (away @ away))
    return float(y.mean()) - slope * float(x.mean()), slope


def hidden_above(slopes: Sequence[LateSlope]) -> Hidden | None:
    """From the lowest band on from which, up to the highest one heard, nearly all fall in two slopes and die away alike."""
    found = None
    for first in range(len(slopes) - LEAST_BANDS, -1, -1):
        run = slopes[first:]
        middle = median(b.t60_s for b in run)
        late = [b.starts_db < STARTS_BELOW_DB and middle / ALIKE < b.t60_s < ALIKE * middle for b in run]
        if late[0] and np.mean(late) >= RUN_SHARE and middle < LONGEST_S and _steepness(run) > STEEPEST:
            found = Hidden(run[0].low_hz, middle)
    return found


def _steepness(run: Sequence[LateSlope]) -> float:
    """Of ln(time to die away) over ln(frequency)."""
    x, y = np.log([b.low_hz for b in run]), np.log([b.t60_s for b in run])
    return _line(x, y)[1]


def pooled(told: Sequence[Sequence[LateSlope]]) -> list[LateSlope]:
    """The middle over the stations, of bands that at least half of them hear long enough."""
    bands: dict[float, list[LateSlope]] = {}
    for one in (b for slopes in told for b in slopes):
        bands.setdefault(one.low_hz, []).append(one)
    return [
        LateSlope(low, b[0].high_hz, median(x.t60_s for x in b), median(x.starts_db for x in b))
        for low, b in sorted(bands.items())
        if len(b) >= STATION_SHARE * len(told)
    ]


def limit_of(told: Sequence[Sequence[LateSlope]]) -> RoomLimit | None:
    """What the late slopes of all stations say together."""
    hidden = hidden_above(pooled(told)) if len(told) >= LEAST_STATIONS else None
    stations = sum(hidden_above(s) is not None for s in told)
    if hidden is None or stations < STATION_SHARE * len(told):  # a breathing crack lets some places fall so by pickup
        return None
    return RoomLimit(hidden.above_hz, hidden.t60_s, stations, len(told))
