"""Scans made by hand for the tests of the rules: every figure is chosen, none comes from the code under test."""

import numpy as np

from tapscan.records import ForceShift, LateSound, ModalAmplitude, Mode, Scan, SteadyTone, Strike

STATIONS = tuple(f"S{i}" for i in range(1, 13))


def mode(
    name: str, frequency_hz: float, *, loss: float | None = 0.004, t60_s: float | None = None, db=None, **more
) -> Mode:
    """A mode heard at every station, by 0 dB or as `db` says (station: dB)."""
    rate = np.pi * frequency_hz * loss if loss else None
    if t60_s is not None:
        rate = 6.907755 / t60_s
        loss = rate / (np.pi * frequency_hz)
    heard = db if db is not None else {s: 3.0 * (i % 5) for i, s in enumerate(STATIONS)}
    told = {
        "level_db": -30.0, "tone_to_noise_db": None, "prominence_ratio_db": None, "prominent": False,
        "stations_prominent": 0, "stations_judged": len(heard), "note": None, "cents": None, "origin": "plate",
    } | more  # fmt: skip
    return Mode(
        id=name,
        frequency_hz=frequency_hz,
        frequency_sd_hz=0.001,
        decay_rate_per_s=rate,
        decay_rate_sd_per_s=0.01 if rate else None,
        t60_s=6.907755 / rate if rate else None,
        q=1 / loss if loss else None,
        loss_factor=loss,
        amplitudes=tuple(ModalAmplitude(s, v) for s, v in heard.items()),
        **told,
    )


def scan(modes, **more) -> Scan:
    """A scan of twelve stations, a soft and a hard tap each, with whatever else is given."""
    strikes = tuple(
        Strike(f"{s}{word}", "F1", s, word, 0.0, 2.0, 0.5, -20.0, 50.0) for s in STATIONS for word in ("soft", "hard")
    )
    return Scan(**{"recordings": (), "strikes": strikes, "modes": tuple(modes), "state": "stripped", **more})


def shift(name: str, ppm: float, sd_ppm: float = 10.0, begun="all taps") -> ForceShift:
    return ForceShift(name, begun, ppm, sd_ppm, 0.0, 0.01)


def steady_tone(name: str, before_db: float = 0.0, snr_db: float = 30.0) -> SteadyTone:
    return SteadyTone(name, before_db, snr_db)


def late(number: int, late_db: float = 30.0, share_db: float = -12.0, unevenness: float = 1.5) -> LateSound:
    station = STATIONS[number % len(STATIONS)]
    return LateSound(f"T{number}", station, "hard", late_db, share_db, unevenness)
