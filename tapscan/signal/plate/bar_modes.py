"""The tones of a reference bar, from some taps on it.

    bar_modes(place, settings)     BarMode after BarMode, in order of frequency: clear of the noise, as lasting as steel, and told by the taps (no singular Fisher matrix)

A bar is one place: its tones are what one station's strikes share (station_fit.py). Tones of its two planes, of torsion and of length are all taken: temperature and a
recorder's clock move them alike.
"""

import numpy as np

from tapscan.records import BarMode
from tapscan.settings import Settings
from tapscan.signal.plate.station_analysis import StationResult


def bar_modes(place: StationResult, settings: Settings) -> tuple[BarMode, ...]:
    """Empty where nothing rings as a bar does."""
    poles = [h.pole for h in place.heard if h.pole.snr_db >= settings.bar.mode_snr_db]
    told = [p for p in poles if np.isfinite([p.frequency_sd_hz, p.decay_rate_sd_per_s]).all()]
    kept = [p for p in told if np.pi * p.frequency_hz >= settings.bar.least_q * p.decay_rate_per_s]
    return tuple(
        BarMode(
            p.frequency_hz,
            p.frequency_sd_hz,
            p.decay_rate_per_s,
            p.decay_rate_sd_per_s,
            *level_of(20 * np.log10(np.abs(p.amplitudes) + np.finfo(float).tiny)),
        )
        for p in sorted(kept, key=lambda p: p.frequency_hz)
    )


def level_of(levels_db: np.ndarray) -> tuple[float, float | None]:
    """(n,) of the taps: their middle, and the standard deviation of one; None for one tap."""
    spread = float(np.std(levels_db, ddof=1)) if len(levels_db) > 1 else None
    return float(np.median(levels_db)), spread
