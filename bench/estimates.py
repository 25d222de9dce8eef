"""How exact frequency and decay are, as far as measured (the full bench is still to come).

    python bench/estimates.py        writes bench/results/estimates.txt

One damped mode in white noise at 48 kHz, 180 to 900 Hz: rms error over the Cramer-Rao bound (docs/numbers.md), share
found, share of 95 % intervals that hold the truth. Then one simulated scan of a sound and of a chilled casting: 20
stations x 3 hard strikes, hit scatter 6 mm, contact pickup, 50 dB, modes 60 to 1200 Hz matched within one linewidth.
"""

import os
import platform
import time
from pathlib import Path

import numpy as np
from threadpoolctl import threadpool_limits

import tapscan
from tapscan.demo.plates import draw_iron, load_table, plate_modes
from tapscan.demo.taps import scan, sensor_names
from tapscan.records import Segment, Strike
from tapscan.settings import Settings
from tapscan.signal.decay import T60_NEPER
from tapscan.signal.merging import merge
from tapscan.signal.modes import station_poles
from tapscan.workflow.station import analyse_station

RATE, RUNS = 48_000, 60
PLATE_RATE = 16_000


def bound(decay: float, snr_db: float, count: int) -> float:
    """Cramer-Rao bound on the sd of the decay rate (1/s); on the frequency it is 2 pi times less (in Hz)."""
    n = np.arange(count)
    w = np.exp(-2 * decay / RATE * n)
    s0, s1, s2 = w.sum(), (n * w).sum(), (n * n * w).sum()
    return float(RATE * np.sqrt(10 ** (-snr_db / 10) * s0 / (s0 * s2 - s1**2)))


def single_mode(t60_s: float, snr_db: float) -> str:
    """One cell of the table."""
    rng = np.random.default_rng(1)
    decay = T60_NEPER / t60_s
    count = int(min(3.0, max(0.25, 1.2 * t60_s)) * RATE)
    t, sigma = np.arange(count) / RATE, np.sqrt(0.5 * 10 ** (-snr_db / 10))
    errors, inside = [], []
    for _ in range(RUNS):
        f = rng.uniform(180, 900)
        x = np.exp(-decay * t) * np.cos(2 * np.pi * f * t + rng.uniform(0, 2 * np.pi))
        x += sigma * rng.standard_normal(count)
        poles = station_poles([x], [sigma * rng.standard_normal(RATE // 4)], RATE, Settings())
        if not poles:
            continue
        p = min(poles, key=lambda p: abs(p.frequency_hz - f))
        e = np.array([p.frequency_hz - f, p.decay_rate_per_s - decay])
        errors.append(e)
        inside.append(np.abs(e) < 1.96 * np.array([p.frequency_sd_hz, p.decay_rate_sd_per_s]))
    rms = np.sqrt(np.mean(np.square(errors), axis=0))
    best = bound(decay, snr_db, count)
    held = 100 * np.mean(inside, axis=0)
    return (
        f"{t60_s:5.1f} {snr_db:6.0f} {100 * len(errors) / RUNS:7.0f} {rms[0] * 2 * np.pi / best:10.2f} {rms[1] / best:7.2f}"
        f" {held[0]:10.0f} {held[1]:7.0f}"
    )


def plate(label: str) -> str:
    """Recall, precision and errors of one simulated scan."""
    rng, table = np.random.default_rng(3), load_table("concert-grand")
    modes = plate_modes(table, label, draw_iron(table, rng))
    taps = scan(modes, sensor_names(modes)[0], PLATE_RATE, rng, ("hard",) * 3, duration_s=2.5, snr_db=50.0)
    heard = []
    for station in table.station_names:
        segments = []
        for tap in (t for t in taps if t.station == station):
            start = round(tap.onset_s * PLATE_RATE)
            ring, noise = tap.samples[start:], tap.samples[: start - 16]
            level = 10 * np.log10(np.mean(ring[: PLATE_RATE // 2] ** 2))
            peak = float(np.abs(ring).max())
            strike = Strike("T", "F", station, None, 0.0, len(ring) / PLATE_RATE, peak, float(level), 50.0)
            segments.append(Segment(strike, ring, noise, PLATE_RATE))
        heard += analyse_station(station, segments, Settings()).heard
    found = [m for m in merge(heard, len(table.station_names), Settings()) if 60 < m.frequency_hz < 1200]
    f, loss = modes.frequency_hz, modes.loss_factor
    asked = (f > 60) & (f < 1200)
    got = np.array([m.frequency_hz for m in found])
    recall = np.mean([np.any(np.abs(got - x) < x * y) for x, y in zip(f[asked], loss[asked], strict=True)])
    nearest = [int(np.argmin(np.abs(f - m.frequency_hz))) for m in found]
    right = [(m, i) for m, i in zip(found, nearest, strict=True) if abs(f[i] - m.frequency_hz) < f[i] * loss[i]]
    ppm = [1e6 * abs(m.frequency_hz / f[i] - 1) for m, i in right]
    decay = [100 * abs(m.loss_factor / loss[i] - 1) for m, i in right if m.loss_factor]
    return (
        f"{label:8s} recall {recall:.3f}  precision {len(right) / len(found):.3f}  frequency ppm, median / 90 %: "
        f"{np.median(ppm):.1f} / {np.quantile(ppm, 0.9):.1f}  loss factor %: {np.median(decay):.2f} / {np.quantile(decay, 0.9):.2f}"
    )


def main() -> None:
    """Print and store the tables."""
    lines = [
        f"tapscan {tapscan.__version__}, Python {platform.python_version()}, {os.cpu_count()} cores, {time.strftime('%Y-%m-%d')}",
        f"one damped mode, {RUNS} runs a cell",
        "T60 s SNR dB found % f / bound d / bound  f in 95 % d in 95 %",
    ]
    with threadpool_limits(1):
        lines += [single_mode(t60, snr) for t60 in (0.1, 0.3, 1.0) for snr in (10, 20, 40, 60)]
        lines += ["simulated concert grand", plate("sound"), plate("chill")]
    text = "\n".join(lines) + "\n"
    (Path(__file__).parent / "results" / "estimates.txt").write_text(text, encoding="utf-8")
    print(text, end="")


if __name__ == "__main__":
    main()
