"""A strike as a picture of time and frequency, in greys, as PNG in a data URI.

    picture_of(samples, sample_rate_hz)   dark is loud; 60 dB under the loudest is white. None where there is too little sound

Short-time Fourier transform with a Gaussian-like window of a twentieth of a second: about 20 Hz and 50 ms are told apart.
"""

import base64
import io

import numpy as np

from tapscan.records import FloatArray

WINDOW_S, STEP_S = 0.05, 0.008
LOW_HZ, HIGH_HZ = 50.0, 4000.0
RANGE_DB = 60.0
ROWS = 160


def picture_of(samples: FloatArray, sample_rate_hz: int) -> str | None:
    """Samples : (n,) from a little before the onset. Rows go by the logarithm of frequency, low at the bottom."""
    from scipy.signal import stft

    size = round(WINDOW_S * sample_rate_hz)
    if len(samples) < 4 * size:
        return None
    step = round(STEP_S * sample_rate_hz)
    f, _, z = stft(
        samples,
        sample_rate_hz,
        window=("gaussian", size / 6),
        nperseg=size,
        noverlap=size - step,
        nfft=4 * size,
        padded=False,
    )
    level = 20 * np.log10(np.abs(z) + 1e-12)
    wanted = np.geomspace(LOW_HZ, min(HIGH_HZ, 0.45 * sample_rate_hz), ROWS)
    rows = np.array([np.interp(wanted, f, column) for column in level.T]).T[::-1]
    grey = np.clip((rows.max() - rows) / RANGE_DB, 0, 1)
    return f"data:image/png;base64,{base64.b64encode(_png((255 * grey).astype(np.uint8))).decode()}"


def _png(grey: np.ndarray) -> bytes:
    from PIL import Image

    out = io.BytesIO()
    Image.fromarray(grey).save(out, "PNG", optimize=True)
    return out.getvalue()
