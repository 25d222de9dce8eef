"""The parts of accuracy.py: each runs a block of one cell and returns sums that blocks of the same cell add up to.

`z` are errors over the Cramer-Rao bound (first the frequency, then the decay rate), as sums of squares.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from threadpoolctl import threadpool_limits

from bench import accuracy_plates as simulated
from bench.accuracy_modes import Rings, bound, kumaresan_tufts
from bench.accuracy_sounds import SOUNDS, modes_taken
from bench.references import by_ema, by_harminv, fourier_peak
from tapscan.records import FloatArray, Pole
from tapscan.settings import Settings
from tapscan.settings.fit import Fit
from tapscan.signal.fit.subbands import plan_bands
from tapscan.signal.plate.decay import T60_NEPER
from tapscan.signal.plate.station_fit import SKIP_S, station_poles

RATE_HZ = 48_000
LOW_HZ, HIGH_HZ = 400.0, 1600.0
LISTENED = Settings().but(Fit, highest_hz=2000.0)
SINGLE = [(t60, snr) for t60 in (0.1, 0.3, 1.0, 3.0, 6.0) for snr in (10, 20, 40, 60)]
LENGTHS = [(s,) for s in (0.25, 0.5, 1.0, 2.0)]
CREEP_M = 0.003
ROWS = ("50 dB", "35 dB", "warming", "room 0.1 m", "room 0.4 m")
PLAN = (
    ("no_taps", [(k,) for k in SOUNDS], 100, 10),
    ("plates", [(row,) for row in ROWS], 50, 2),
    ("repeated", [()], 50, 2),
    ("kt", [(20,), (30,)], 4000, 1000),
    ("pairs", [("equal",), ("weak",)], 2000, 100),
    ("length", LENGTHS, 2000, 100),
    ("single", SINGLE, 2000, 100),
    ("references", [(t60, snr) for t60 in (0.3, 1.0) for snr in (20, 40)], 200, 50),
)


def _draw(rng: np.random.Generator) -> float:
    return float(np.exp(rng.uniform(np.log(LOW_HZ), np.log(HIGH_HZ))))


def _one_mode(rng: np.random.Generator, t60_s: float, snr_db: float, seconds: float) -> Rings:
    return Rings(
        np.array([_draw(rng)]),
        np.array([T60_NEPER / t60_s]),
        np.exp(1j * rng.uniform(0, 2 * np.pi, 1)),
        float(np.sqrt(0.5 * 10 ** (-snr_db / 10))),
        round(seconds * RATE_HZ),
        RATE_HZ,
    )


def _found(poles: list[Pole], rings: Rings) -> list[Pole] | None:
    """The estimate of each mode, none farther than a linewidth; None where one is missing."""
    width = rings.decay_rate_per_s / np.pi
    best = [min(poles, key=lambda p: abs(p.frequency_hz - f)) if poles else None for f in rings.frequency_hz]
    good = [
        p is not None and abs(p.frequency_hz - f) < w for p, f, w in zip(best, rings.frequency_hz, width, strict=True)
    ]
    distinct = len({id(p) for p in best}) == len(best)
    return [p for p in best if p is not None] if all(good) and distinct else None


def _errors(poles: list[Pole], rings: Rings, best: FloatArray) -> tuple[FloatArray, FloatArray]:
    """(2, M) errors over the bound and over the stated standard errors."""
    m = len(poles)
    errors = np.array(
        [
            [p.frequency_hz for p in poles] - rings.frequency_hz,
            [p.decay_rate_per_s for p in poles] - rings.decay_rate_per_s,
        ]
    )
    stated = np.array([[p.frequency_sd_hz for p in poles], [p.decay_rate_sd_per_s for p in poles]])
    return errors / best.reshape(2, m), errors / stated


def _listen(rings: Rings, rng: np.random.Generator) -> list[Pole]:
    samples, noise = rings.samples(rng)
    with threadpool_limits(1):
        return station_poles([samples], [noise], RATE_HZ, LISTENED)


def _sum(draw: Any, block: int, runs: int, seed: int) -> dict[str, Any]:
    rng = np.random.default_rng([seed, block])
    out = {"runs": runs, "found": 0, "extra": 0, "z2": [0.0, 0.0], "z4": [0.0, 0.0], "held": [0, 0], "counted": 0}
    for _ in range(runs):
        rings = draw(rng)
        poles = _listen(rings, rng)
        mine = _found(poles, rings)
        out["extra"] += len(poles) - (len(mine) if mine else 0)
        if mine is None:
            continue
        z, t = _errors(mine, rings, bound(rings, round(SKIP_S * RATE_HZ)))
        out["found"] += 1
        out["counted"] += z.shape[1]
        for i in range(2):
            out["z2"][i] += float(np.sum(z[i] ** 2))
            out["z4"][i] += float(np.sum(z[i] ** 4))
            out["held"][i] += int(np.sum(np.abs(t[i]) < 1.96))
    return out


def single(t60_s: float, snr_db: float, block: int, runs: int) -> dict[str, Any]:
    """One mode; record 1.2 T60, a quarter of a second to 3 s."""
    seconds = min(3.0, max(0.25, 1.2 * t60_s))
    return _sum(lambda rng: _one_mode(rng, t60_s, snr_db, seconds), block, runs, 1)


def length(seconds: float, block: int, runs: int) -> dict[str, Any]:
    """One mode of T60 1 s at 30 dB, heard for a given time."""
    return _sum(lambda rng: _one_mode(rng, 1.0, 30, seconds), block, runs, 2)


def pairs(kind: str, block: int, runs: int) -> dict[str, Any]:
    """Two modes, T60 0.6 s: equal, two linewidths apart, 30 dB; or 20 dB weaker, four apart, 40 dB for the stronger."""

    def draw(rng: np.random.Generator) -> Rings:
        f, decay = _draw(rng), T60_NEPER / 0.6
        gap, weaker, snr_db = (2, 1.0, 30) if kind == "equal" else (4, 0.1, 40)
        sigma = float(np.sqrt(0.5 * 10 ** (-snr_db / 10)))
        phase = np.exp(1j * rng.uniform(0, 2 * np.pi, 2))
        both = np.array([f, f + gap * decay / np.pi])
        return Rings(both, np.full(2, decay), phase * [1.0, weaker], sigma, round(0.72 * RATE_HZ), RATE_HZ)

    return _sum(draw, block, runs, 3)


def kt(snr_db: float, block: int, runs: int) -> dict[str, Any]:
    """The two-mode complex signal of Kumaresan and Tufts 1982, through the subspace method and the fit."""
    return kumaresan_tufts(snr_db, np.random.default_rng([4, block]), runs)


def references(t60_s: float, snr_db: float, block: int, runs: int) -> dict[str, Any]:
    """tapscan and the three references on the same single modes."""
    rng = np.random.default_rng([5, block])
    ways = {"tapscan": None, "Fourier peak": fourier_peak, "harminv": by_harminv, "sdypy-EMA": by_ema}
    z2 = {w: [0.0, 0.0] for w in ways}
    found = dict.fromkeys(ways, 0)
    for _ in range(runs):
        rings = _one_mode(rng, t60_s, snr_db, max(0.25, 1.2 * t60_s))
        samples, noise = rings.samples(rng)
        f, d = float(rings.frequency_hz[0]), float(rings.decay_rate_per_s[0])
        band = next(b for b in plan_bands(LISTENED.lowest_hz, LISTENED.highest_hz) if b.owns(f))
        best = bound(rings, round(SKIP_S * RATE_HZ))
        for way, function in ways.items():
            if function is None:
                rows = np.array([[p.frequency_hz, p.decay_rate_per_s] for p in _poles(samples, noise)]).reshape(-1, 2)
            else:
                rows = function(samples, RATE_HZ, band)
            near = rows[np.abs(rows[:, 0] - f) < d / np.pi]
            if len(near):
                found[way] += 1
                z2[way] = [z2[way][i] + float(((near[0, i] - (f, d)[i]) / best[i]) ** 2) for i in range(2)]
    return {"runs": runs, "ways": found, "z2": z2}


def _poles(samples: FloatArray, noise: FloatArray) -> list[Pole]:
    with threadpool_limits(1):
        return sorted(station_poles([samples], [noise], RATE_HZ, LISTENED), key=lambda p: -p.snr_db)


ROW_OF = {
    "50 dB": (50.0, "pickup 1", None),
    "35 dB": (35.0, "pickup 1", None),
    "warming": (50.0, "pickup 1", None),
    "room 0.1 m": (50.0, "near 1", 0.1),
    "room 0.4 m": (50.0, "near 1", 0.4),
}


def _scan(row: str, seed: int) -> dict[str, Any]:
    """One scan of one row."""
    snr_db, sensor, room_m = ROW_OF[row]
    truth = simulated.plate_of(seed)
    heard: Any = truth
    if row == "warming":
        heard = [simulated.plate_of(seed, 19.5 + k / 19, CREEP_M * k / 19) for k in range(20)]
    with threadpool_limits(1):
        modes = simulated.measured(heard, seed, snr_db, sensor, room_m)
    score = simulated.scored(modes, truth)
    return {
        "recall": score.recall,
        "precision": score.precision,
        "ppm": score.frequency_ppm,
        "loss": score.loss_percent,
        "held": score.held,
    }


def plates(row: str, block: int, runs: int) -> dict[str, Any]:
    """Scans of one row, patterns in turn."""
    first = simulated.FIRST_IN_ROOM if ROW_OF[row][2] is not None else 0
    return {"scans": [_scan(row, first + block * runs + i) for i in range(runs)], "runs": runs}


def repeated(block: int, runs: int) -> dict[str, Any]:
    """Three scans of one plate: as it lies, again as it lies, and with its pads moved by 30 mm."""
    out: dict[str, Any] = {"runs": runs, "untouched": [], "moved": [], "moved above 600 Hz": []}
    for seed in range(block * runs, block * runs + runs):
        with threadpool_limits(1):
            first = simulated.measured(simulated.plate_of(seed), seed, 50.0, "pickup 1")
            again = simulated.measured(simulated.plate_of(seed), 500 + seed, 50.0, "pickup 1")
            moved = simulated.measured(
                simulated.plate_of(seed, pads_moved_m=simulated.PAD_MOVE_M), 600 + seed, 50.0, "pickup 1"
            )
        truth = simulated.plate_of(seed)
        out["untouched"] += [ppm for _, ppm in simulated.scatter(first, again, truth)]
        pairs_moved = simulated.scatter(first, moved, truth)
        out["moved"] += [ppm for _, ppm in pairs_moved]
        out["moved above 600 Hz"] += [ppm for f, ppm in pairs_moved if f > 600]
    return out


def no_taps(kind: str, block: int, runs: int) -> dict[str, Any]:
    """Recordings that hold no tap."""
    return {"runs": runs, "modes": [modes_taken(kind, block * runs + i) for i in range(runs)]}
