"""Which bands above HIGHEST_HZ hold a tone that could be the pitch of a strike.

    tonal_bands(strikes, rate, bands, settings)   those of `bands` worth a fit

Above 2.5 kHz a plate's modes overlap and decay within the knock: one by one they are not to be trusted, no comparison reads them, and
fitting them at each place took four fifths of a scan's time at 48 kHz. What is read up there is a pitch, and a pitch must hold a share of all that is
heard in the tone window (settings.tones.share_db, in the manner of ECMA-418-1). So a band is fitted only where a tone's width of the
spectrum holds nearly that share, whatever makes it up; the broad hiss of a rattle does not. settings.fit.high_tone_db says how much less counts.
"""

from collections.abc import Sequence

import numpy as np

from tapscan.records import FloatArray
from tapscan.settings import Settings
from tapscan.signal.fit.subbands import Band
from tapscan.signal.plate.joint_spectra import HIGHEST_HZ
from tapscan.signal.plate.tones import SHORTEST_WINDOW_S, TONE_BAND_SHARE, critical_bandwidth_hz

HEARD_HZ = 20.0  # below it nothing is heard


def tonal_bands(
    strikes: Sequence[FloatArray],
    sample_rate_hz: int,
    bands: Sequence[Band],
    settings: Settings,
    lowest_hz: float = 0.0,
) -> list[Band]:
    """Bands below HIGHEST_HZ all stay. strikes : S arrays (n_s,), sample 0 at the onset. lowest_hz : of what is wanted of the bands."""
    high = [b for b in bands if max(b.low_hz, lowest_hz) >= HIGHEST_HZ]
    if not high:
        return list(bands)
    wanted = 10 ** (settings.fit.high_tone_db / 10)
    shares = [_shares(s, sample_rate_hz, high, settings) for s in strikes]
    loud = {b for b, share in zip(high, np.max(shares, axis=0), strict=True) if share >= wanted}
    return [b for b in bands if b not in high or b in loud]


def _shares(samples: FloatArray, rate_hz: int, bands: Sequence[Band], settings: Settings) -> FloatArray:
    """(bands,) largest share of all that is heard in the tone window which one tone's width holds; 0 where the strike is too short."""
    start, stop = (round(t * rate_hz) for t in (settings.tones.window_start_s, settings.tones.window_end_s))
    heard = samples[start:stop]
    if len(heard) < SHORTEST_WINDOW_S * rate_hz:
        return np.zeros(len(bands))
    step = rate_hz / len(heard)
    sums = np.concatenate([[0.0], np.cumsum(np.abs(np.fft.rfft(heard * np.hanning(len(heard)))) ** 2)])
    total = sums[-1] - sums[int(HEARD_HZ / step)]
    return np.array([_loudest(sums, step, band) for band in bands]) / (total + 1e-300)


def _loudest(sums: FloatArray, step_hz: float, band: Band) -> float:
    """Most energy that a tone's width anywhere in the band holds."""
    width = max(4, round(TONE_BAND_SHARE * critical_bandwidth_hz(band.low_hz) / step_hz))
    first = max(0, int(band.low_hz / step_hz) - width // 2)
    last = min(len(sums) - 1 - width, int(band.high_hz / step_hz) - width // 2)
    return float((sums[first + width : last + width + 1] - sums[first : last + 1]).max()) if last >= first else 0.0
