"""When keys were struck, and when their dampers fell.

    NoteLevels(samples, rate)         level by band and frame
    note_onsets(levels, settings)     seconds
    damper_falls(levels, onset, end, settings)   seconds after the onset, None where no damper is heard

A key's hammer lifts two bands or more at once within some 20 ms, over a sound that may still ring. The key coming back does too: hear_notes tells that apart.
"""

from itertools import pairwise
from typing import Any

import numpy as np

from tapscan.records import FloatArray
from tapscan.settings import Settings

FRAME_S, HOP_S = 0.02, 0.005
BAND_EDGES_HZ = (80.0, 250.0, 600.0, 1200.0, 2500.0, 5000.0, 9000.0)
BEFORE_S, AFTER_S = 0.06, 0.015
MOST_RISE_DB = 20.0
TWO = 2  # bands that rise together; a top note lifts no more
EARLIEST_S, LATEST_S, LEAN_S = 0.12, 1.5, 0.1
LEVEL_S = 0.3


class NoteLevels:
    """`bands` (B, n) and `whole` (n,) in dB, one frame each HOP_S; `noise_db` of each band."""

    def __init__(self, samples: FloatArray, rate: int) -> None:
        self.samples, self.rate = samples, rate
        hop, frame = round(HOP_S * rate), round(FRAME_S * rate)
        self.hop_s = hop / rate
        count = max(1, (len(samples) - frame) // hop)
        edges = [e for e in BAND_EDGES_HZ if e < 0.45 * rate]
        power = np.empty((len(edges) - 1, count))
        window, step = np.hanning(frame), rate / frame
        for first in range(0, count, 2000):
            at = np.arange(first, min(count, first + 2000))
            spectra = np.abs(np.fft.rfft(samples[at[:, None] * hop + np.arange(frame)] * window, axis=1)) ** 2
            for b, (low, high) in enumerate(pairwise(edges)):
                power[b, at] = spectra[
                    :, int(np.ceil(low / step)) : max(int(np.ceil(low / step)) + 1, int(high / step))
                ].sum(axis=1)
        self.bands = 10 * np.log10(power + 1e-14)
        self.whole = 10 * np.log10(power.sum(axis=0) + 1e-14)
        self.noise_db = np.percentile(self.bands, 5, axis=1)

    def level_db(self, onset_s: float) -> float:
        """Rms of the first 0.3 s."""
        cut = self.samples[int(onset_s * self.rate) : int((onset_s + LEVEL_S) * self.rate)]
        return float(10 * np.log10(np.mean(cut**2) + 1e-20))


def note_onsets(levels: NoteLevels, settings: Settings) -> list[float]:
    """In order."""
    from scipy.ndimage import maximum_filter1d

    s = settings.notes
    before, after = round(BEFORE_S / levels.hop_s), round(AFTER_S / levels.hop_s)
    bands = levels.bands
    highest_before = maximum_filter1d(bands, before, axis=1, origin=(before - 1) // 2)
    risen = np.clip(bands[:, after:] - highest_before[:, :-after], 0, MOST_RISE_DB)
    loud = bands[:, after:] > levels.noise_db[:, None] + s.over_noise_db
    rise = np.sort(np.where(loud, risen, 0), axis=0)[-TWO:].mean(axis=0)
    peak = (rise == maximum_filter1d(rise, 2 * round(0.5 * s.gap_s / levels.hop_s) + 1)) & (rise > s.rise_db)
    found: list[float] = []
    for at in np.flatnonzero(peak):
        onset = float(at * levels.hop_s + 0.5 * FRAME_S)
        if not found or onset - found[-1] >= s.gap_s:
            found.append(onset)
    return found


def damper_falls(levels: NoteLevels, onset_s: float, end_s: float, settings: Settings) -> float | None:
    """Where the level falls fastest."""
    first = round((onset_s + EARLIEST_S) / levels.hop_s)
    last = round(min(end_s - 0.25, onset_s + LATEST_S) / levels.hop_s)
    lean, wide = round(LEAN_S / levels.hop_s), round(0.06 / levels.hop_s)
    if last <= first:
        return None
    total = np.concatenate([[0.0], np.cumsum(levels.whole)])

    def mean(start: Any) -> FloatArray:
        stop = np.minimum(start + wide, len(levels.whole))
        return np.asarray((total[stop] - total[np.minimum(start, stop - 1)]) / np.maximum(1, stop - start))

    at = np.arange(first, last)
    fall = mean(at - wide) - mean(at + lean)
    steady = np.maximum(0.0, mean(at - 2 * wide) - mean(at - wide))  # what it loses anyway in such a time
    clear = fall - 2.5 * steady
    best = int(clear.argmax())
    return float(at[best] * levels.hop_s - onset_s) if clear[best] > settings.notes.damper_db else None
