"""Modes above the table's last one, invented by statistics so that a hard tap does not stop dead at 2 or 3 kHz.

No finite elements: spacings follow Wigner's surmise at the density of the last modes of the table, shapes are Gaussian with
those modes' rms. A flaw does not touch them. Estimators should not be judged on them one by one (the modes overlap).

``extend_modes``   a plate's modes with the invented ones added
"""

from __future__ import annotations

import numpy as np
from msgspec.structs import replace

from tapscan.demo.plates import PlateModes

LAST = 40


def _places(rng: np.random.Generator, known: np.ndarray, count: int) -> np.ndarray:
    rms = np.sqrt(np.mean(np.abs(known[-LAST:]) ** 2, axis=0))
    return np.asarray(rms * rng.standard_normal((count, *known.shape[1:])))


def extend_modes(
    modes: PlateModes, rng: np.random.Generator, to_hz: float, temperature_factor: float = 1.0
) -> PlateModes:
    """``modes`` and invented ones up to ``to_hz``; the same seed gives the same plate, scan after scan.

    ``temperature_factor`` : as in ``plates.temperature_factor``, moves the invented modes with the others.
    """
    top = float(modes.frequency_hz[-1])
    spacing = (top - float(modes.frequency_hz[-LAST])) / (LAST - 1)
    count = max(0, int((to_hz - top) / spacing * 1.1))
    gaps = spacing * np.sqrt(-4.0 / np.pi * np.log(rng.uniform(1e-9, 1.0, count)))
    frequency = top + temperature_factor * np.cumsum(gaps)
    frequency = frequency[frequency < to_hz]
    count = len(frequency)
    loss = float(np.median(modes.loss_factor[-LAST:]))
    slope = np.sqrt(frequency / top)[:, None]
    station = _places(rng, modes.station, count)
    station[:, 1:] *= slope[:, :, None]
    phase = np.exp(2j * np.pi * rng.random((count, modes.microphone.shape[1])))
    return replace(
        modes,
        frequency_hz=np.concatenate([modes.frequency_hz, frequency]),
        decay_rate_per_s=np.concatenate([modes.decay_rate_per_s, np.pi * frequency * loss]),
        station=np.concatenate([modes.station, station]),
        clamp=np.concatenate([modes.clamp, _places(rng, modes.clamp, count)]),
        pickup=np.concatenate([modes.pickup, _places(rng, modes.pickup, count)]),
        microphone=np.concatenate([modes.microphone, _places(rng, modes.microphone, count) * phase]),
        hinge=np.concatenate([modes.hinge, np.zeros((count, 2))]),
    )
