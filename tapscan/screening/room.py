"""Tones that are not the plate's: they stand before the tap, or are alike wherever the plate is hit.

    steady(scan, settings)        the steady tones among the modes: what sounds before the tap as strongly as after it
    alike(scan, settings)         modes that every station excites alike
    mains(frequency, settings)    50 or 60 and the multiple, where the frequency is one of mains hum

A mode of the plate starts with the tap and is stronger where the plate moves more. Hum, a fan or a machine sounds before it too; a
stand, a pickup's own resonance or the hammer's answers every tap alike. Ours.
"""

import numpy as np

from tapscan.records import Mode, Scan, SteadyTone
from tapscan.settings import Settings
from tapscan.signal.strikes.mains import MAINS_HZ

MOST_MULTIPLE = 24


def steady(scan: Scan, settings: Settings) -> list[SteadyTone]:
    """Tones that stood before the taps and do not die away."""
    by_id = {m.id: m for m in scan.modes}
    return [
        t
        for t in scan.steady_tones
        if t.before_db > settings.origins.steady_before_db
        and t.snr_db > snr_limit_db(len(by_id[t.mode].amplitudes), settings)
        and _lasts(by_id[t.mode], settings)
    ]


def snr_limit_db(places: int, settings: Settings) -> float:
    """How clear a line must stand before the taps, middle of so many places."""
    over = settings.origins.steady_snr_db - settings.origins.steady_snr_noise_db
    return settings.origins.steady_snr_noise_db + over / max(1, places) ** 0.5


def _lasts(mode: Mode, settings: Settings) -> bool:
    """Whether it may be steady: no decay could be given, or one too slow to matter."""
    return mode.t60_s is None or mode.t60_s > settings.origins.steady_t60_s


def alike(scan: Scan, settings: Settings) -> list[tuple[Mode, float]]:
    """Modes that all stations excite alike, with the standard deviation of their strength in dB."""
    stations = {s.station for s in scan.strikes if s.usable}
    if len(stations) < settings.origins.alike_stations:
        return []
    everywhere = [m for m in scan.modes if len(m.amplitudes) == len(stations)]
    level = np.array([[s.amplitude_db for s in m.amplitudes] for m in everywhere]).reshape(-1, len(stations))
    spread = zip(everywhere, level.std(axis=1).tolist(), strict=True)
    return [(m, sd) for m, sd in spread if sd < settings.origins.alike_spread_db]


def mains(frequency_hz: float, settings: Settings) -> tuple[int, int] | None:
    """(50 or 60, which multiple), None where it is neither."""
    best: tuple[float, int, int] | None = None
    for base in map(int, MAINS_HZ):
        multiple = round(frequency_hz / base)
        away = abs(frequency_hz - multiple * base) / base
        if 1 <= multiple <= MOST_MULTIPLE and away < settings.origins.mains_reach * multiple:
            best = min(best or (away, base, multiple), (away, base, multiple))
    return best[1:] if best else None
