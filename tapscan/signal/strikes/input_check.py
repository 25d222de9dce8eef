"""Is this input fit for a scan: level, noise, hum, and what works on the sound on its way in.

    check_input(samples, sample_rate_hz, settings)   InputCheck of some seconds in which nobody taps or talks

What can be told from quiet sound alone is told, and no more: gain riding shows as a floor that climbs or sinks, a noise gate as
stretches of nothing between sound, a low rate in the path as a floor that breaks off. Ours; tried on computed sounds.
"""

import numpy as np
from msgspec import Struct

from tapscan.records import FloatArray
from tapscan.settings import Settings
from tapscan.signal.strikes.mains import mains_hum

LOW_HZ = 50.0
FRAME_S = 0.05
GATE_SHARE = 0.05  # of the time at exactly nothing, beside sound
RIDING_DB = 6.0
BREAK_DB = 30.0
BREAK_SHARE = 0.8  # of half the sample rate: what breaks off under it was resampled or coded


class InputCheck(Struct, frozen=True):
    """`noise_db` is None where the input gave nothing but silence."""

    peak: float  # largest |sample|, full scale = 1
    noise_db: float | None  # rms above 50 Hz, dB re full scale
    fit: bool | None  # None: borderline
    verdict: str
    processing: tuple[str, ...]


def check_input(samples: FloatArray, sample_rate_hz: int, settings: Settings) -> InputCheck:
    """Samples : (n,) full scale = 1, two seconds or more."""
    x = np.asarray(samples, dtype=float)
    peak = float(np.abs(x).max(initial=0.0))
    if peak == 0.0:
        return InputCheck(
            0.0, None, False, "The input gives silence: switch the microphone on, or choose another input.", ()
        )
    from scipy.signal import butter, sosfilt  # a third of a second, which a reading of files need not pay

    sos = butter(4, LOW_HZ, "highpass", fs=sample_rate_hz, output="sos")
    high = sosfilt(sos, x - x.mean())[round(0.2 * sample_rate_hz) :]
    frames = _frames(high, sample_rate_hz)
    noise_db = float(10 * np.log10(np.median(frames) + 1e-20))
    hum = mains_hum(high, sample_rate_hz)
    fit, verdict = _verdict(noise_db, hum, settings)
    return InputCheck(peak, noise_db, fit, verdict, tuple(_processing(x, high, frames, sample_rate_hz)))


def _frames(x: FloatArray, sample_rate_hz: int) -> FloatArray:
    size = round(FRAME_S * sample_rate_hz)
    whole = len(x) // size
    return np.asarray((x[: whole * size].reshape(whole, size) ** 2).mean(axis=1))


def _verdict(noise_db: float, hum: float | None, settings: Settings) -> tuple[bool | None, str]:
    mains = f" Most of it is {hum:.0f} Hz mains hum: move away from leads and lamps." if hum else ""
    if noise_db <= settings.recorder.noise_good_db:
        return True, f"Quiet enough for a scan.{mains}"
    if noise_db <= settings.recorder.noise_most_db:
        return (
            None,
            f"Loud for a scan: faint modes will be missed. A pickup on the iron, or a quieter hour, is better.{mains}",
        )
    return False, f"Too loud for a scan. Find what makes the noise, turn the input down, or use a pickup.{mains}"


def _processing(x: FloatArray, high: FloatArray, frames: FloatArray, sample_rate_hz: int) -> list[str]:
    found = []
    zero = np.mean(_frames(x, sample_rate_hz) == 0.0)
    if GATE_SHARE < zero < 1.0:
        found.append(f"a noise gate: {100 * zero:.0f} % of the time is exact silence. Switch noise reduction off.")
    third = max(1, len(frames) // 3)
    drift = 10 * np.log10(np.median(frames[-third:]) + 1e-20) - 10 * np.log10(np.median(frames[:third]) + 1e-20)
    if abs(drift) > RIDING_DB:
        found.append(
            f"perhaps gain riding: the noise {'rose' if drift > 0 else 'fell'} by {abs(drift):.0f} dB in this time. Switch automatic gain off."
        )
    edge = _breaks_off_hz(high, sample_rate_hz)
    if edge is not None:
        found.append(
            f"nothing above {edge / 1000:.1f} kHz: a low rate or a codec (a headset, a call) lies in the path."
        )
    if sample_rate_hz < 16000:
        found.append(f"a low rate: {sample_rate_hz} Hz. Choose 44100 or 48000.")
    return found


def _breaks_off_hz(x: FloatArray, sample_rate_hz: int) -> float | None:
    """Where the floor falls by BREAK_DB within a tenth of the band and stays down; None where it goes on."""
    from scipy.signal import welch

    f, density = welch(x, sample_rate_hz, nperseg=min(len(x), 4096))
    level = 10 * np.log10(density + 1e-30)
    top = float(np.median(level[f > 0.9 * f[-1]]))
    middle = float(np.median(level[(f > 200) & (f < 0.25 * f[-1])]))
    if middle - top < BREAK_DB:
        return None
    above = f[level > middle - BREAK_DB / 2]
    edge = float(above.max())
    steep = np.median(level[(f > edge) & (f < edge + 0.1 * f[-1])]) < middle - BREAK_DB
    return edge if steep and edge < BREAK_SHARE * f[-1] else None
