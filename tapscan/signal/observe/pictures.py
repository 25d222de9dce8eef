"""The arrays behind a station's two pictures: its spectrum and its decay.

picture_of(segment)   StationPicture of one strike
"""

import numpy as np

from tapscan.records import FloatArray, Segment, StationPicture
from tapscan.signal.fit.noise import HANN_POWER, SHORTEST, white_density
from tapscan.signal.strikes.running import mean_around

TOP_HZ = 6000.0
ENVELOPE_S = 0.01


def picture_of(segment: Segment) -> StationPicture:
    """Energy spectral density (Hann from the strike on, dB re its largest bin) and envelope of one strike."""
    rate, x = segment.sample_rate_hz, segment.samples
    f, energy = _half_hann_spectrum(x, rate)
    top = energy.max(initial=1e-30)
    noise_db = None
    if segment.noise.size > SHORTEST:
        n = segment.noise - segment.noise.mean()
        smooth = mean_around(white_density(n), 9)
        expected = HANN_POWER * len(x) * np.interp(f, np.fft.rfftfreq(len(n), 1 / rate), smooth)
        noise_db = 10 * np.log10(expected / top + 1e-12)
    hop = max(1, round(ENVELOPE_S * rate))
    frames = len(x) // hop
    rms = np.sqrt(np.mean(x[: frames * hop].reshape(frames, hop) ** 2, axis=1)) if frames else np.zeros(1)
    return StationPicture(
        station=segment.strike.station,
        strike=segment.strike.id,
        frequency_hz=f,
        spectrum_db=10 * np.log10(energy / top + 1e-12),
        noise_db=noise_db,
        time_s=(np.arange(len(rms)) + 0.5) * hop / rate,
        envelope_db=20 * np.log10(rms + 1e-10),
    )


def _half_hann_spectrum(x: FloatArray, rate: int) -> tuple[FloatArray, FloatArray]:
    """The falling half of a Hann window keeps the attack and hides the cut at the end."""
    taper = 0.5 * (1 + np.cos(np.pi * np.arange(len(x)) / max(1, len(x))))
    energy = np.abs(np.fft.rfft(x * taper)) ** 2
    f = np.fft.rfftfreq(len(x), 1 / rate)
    keep = f <= min(TOP_HZ, 0.5 * rate)
    return np.asarray(f[keep], dtype=np.float64), np.asarray(energy[keep], dtype=np.float64)
