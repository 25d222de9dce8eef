"""What the reference bar tells of the chain, and how often it is wrong.

    python -m bench.bar WORK [--bars N] [--minutes M] [--cores K]      writes bench/results/bar.txt; --minutes 0 counts what is there

Each bar is a simulated one (bench/simulate/bar.py), read once as it is and once under each of CASES, put on its supports anew and tapped by another hand. The later
reading is compared with the first one twice: with both temperatures noted (each wrong by THERMOMETER_K, one standard deviation) and with none. Signs are those of
records.ChainSign. The limits (tapscan/settings/bar.py) are judgement, set before this was counted; no bar that was looked at then is among these, nor those below FIRST, which an earlier version counted. The same hand wrote limits and simulation, so
this shows that the arithmetic holds and what is out of reach, not how bars behave.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter
from collections.abc import Sequence
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import soundfile
from msgspec import Struct
from threadpoolctl import threadpool_limits

from bench import study
from bench.simulate.bar import Bar, Chain, draw_bar, recording, set_up
from tapscan.records import BarReading
from tapscan.screening.chain.chain_change import chain_change
from tapscan.settings import Settings
from tapscan.workers import ALONE
from tapscan.workflow.bar import USUAL_NAME, BarFiles, read_bar

RESULTS = Path(__file__).parent / "results" / "bar.txt"
TAPS, ROOM_C, THERMOMETER_K = 3, 18.0, 1.0
PICKUP_KG = 0.005
FIRST = 100
CASES: dict[str, tuple[Chain, Chain]] = {
    "as before": (Chain(), Chain()),
    "clock 20 ppm": (Chain(), Chain(clock=2e-5)),
    "clock 50 ppm": (Chain(), Chain(clock=5e-5)),
    "clock 100 ppm": (Chain(), Chain(clock=1e-4)),
    "clock 300 ppm": (Chain(), Chain(clock=3e-4)),
    "clock 1000 ppm": (Chain(), Chain(clock=1e-3)),
    "clock 2000 ppm": (Chain(), Chain(clock=2e-3)),
    "clock 1 %": (Chain(), Chain(clock=1e-2)),
    "10 K warmer": (Chain(), Chain(warmer_k=10.0)),
    "10 K warmer, clock 300 ppm": (Chain(), Chain(warmer_k=10.0, clock=3e-4)),
    "input -6 dB": (Chain(), Chain(gain_db=-6.0)),
    "input -20 dB": (Chain(), Chain(gain_db=-20.0)),
    "sensor -6 dB": (Chain(), Chain(sensor_db=-6.0)),
    "sensor -20 dB": (Chain(), Chain(sensor_db=-20.0)),
    "sensor dull from 2 kHz": (Chain(), Chain(low_pass_hz=2000.0)),
    "sensor -6 dB and dull": (Chain(), Chain(sensor_db=-6.0, low_pass_hz=2000.0)),
    "noise +20 dB": (Chain(), Chain(noise_db=-48.0)),
    "44.1 kHz file now": (Chain(), Chain(rate_hz=44_100)),
    "other supports": (Chain(), Chain(other_supports=True)),
    "pickup 5 g, as before": (Chain(pickup_kg=PICKUP_KG), Chain(pickup_kg=PICKUP_KG)),
    "pickup 5 g, now 8 g": (Chain(pickup_kg=PICKUP_KG), Chain(pickup_kg=0.008)),
}


class Unit(Struct, frozen=True):
    """One bar."""

    number: int


def reading(bar: Bar, chain: Chain, rng: np.random.Generator) -> BarReading:
    """As `tapscan scan import --bar` has it, through a WAV of 24 bit."""
    unreadable: list[str] = []
    with TemporaryDirectory(prefix="bar-") as folder, threadpool_limits(1):
        path = Path(folder) / "bar.wav"
        sound = np.clip(recording(set_up(bar, chain, rng), TAPS, rng), -1, 1)
        soundfile.write(str(path), sound, chain.rate_hz, subtype="PCM_24")
        contact = bool(chain.pickup_kg)
        found = read_bar(BarFiles(USUAL_NAME, (str(path),)), Settings(), contact, ALONE, unreadable).first
    assert found is not None, unreadable
    return found


def counted(unit: Unit) -> dict[str, Any]:
    """Signs of each case, with and without the thermometer."""
    rng = np.random.default_rng(study.seed_of("bar", str(unit.number)))
    bar = draw_bar(rng)
    before: dict[Chain, BarReading] = {}
    rows = {}
    for name, (usual, now) in CASES.items():
        earlier = before.setdefault(usual, reading(bar, usual, rng))
        later = reading(bar, now, rng)
        shown = (ROOM_C + rng.normal(0, THERMOMETER_K), ROOM_C + now.warmer_k + rng.normal(0, THERMOMETER_K))
        known = chain_change(USUAL_NAME, ("then", "now"), earlier, later, Settings(), shown)
        blind = chain_change(USUAL_NAME, ("then", "now"), earlier, later, Settings())
        true_ppm = 1e6 * (now.clock + bar.per_k * now.warmer_k)
        rows[name] = {
            "known": known.seen,
            "blind": blind.seen,
            "modes": blind.modes,
            "told": blind.reason is None,
            "error_ppm": None if blind.shift_ppm is None else blind.shift_ppm - true_ppm,
            "sd_ppm": blind.shift_sd_ppm,
        }
    return rows


def table(told: Sequence[dict[str, Any]]) -> str:
    """A row a case; then what all cases say together."""
    lines = [
        f"{'':28}{'bars':>5}{'tones':>6}{'shift off, ppm (middle, 95 %)':>31}{'within 2 sd':>12}   signs with both temperatures noted | signs with none",
        "",
    ]
    lines += [_row(name, [t[name] for t in told]) for name in CASES]
    return "\n".join([*lines, "", _unlike_balance(told), _shift_off(told)]) + "\n"


def _unlike_balance(told: Sequence[dict[str, Any]]) -> str:
    """Readings of one bar share its first one, so the interval is over bars."""
    same = [name for name, (_, now) in CASES.items() if now.low_pass_hz is None]
    wrong = [sum("response" in t[name]["known"] for name in same) for t in told]
    span = study.over_castings(wrong, [len(same)] * len(told), np.random.default_rng(0))
    percent = f"{100 * span[0]:.1f} to {100 * span[1]:.1f} %" if span else "-"
    return (
        f"response called where the balance of high and low was as before: {sum(wrong)} of {len(same) * len(told)} readings "
        f"({percent}, over bars), on {sum(map(bool, wrong))} of {len(told)} bars"
    )


def _shift_off(told: Sequence[dict[str, Any]]) -> str:
    alike = [
        name for name, (usual, now) in CASES.items() if not now.other_supports and usual.pickup_kg == now.pickup_kg
    ]
    off = np.abs(np.concatenate([_off(name, [t[name] for t in told]) for name in alike]))
    middle, most = np.quantile(off, (0.5, 0.95))
    return f"shift off, the same supports and pickup: {middle:.1f} ppm in the middle, {most:.1f} ppm in 95 of 100, {len(off)} readings"


def _off(name: str, rows: Sequence[dict[str, Any]]) -> np.ndarray:
    """ppm; errors are stored against the first order, and a shift is a logarithm."""
    clock = CASES[name][1].clock
    curved = 1e6 * (clock - np.log1p(clock))
    return np.array([r["error_ppm"] + curved for r in rows if r["error_ppm"] is not None])


def _row(name: str, rows: Sequence[dict[str, Any]]) -> str:
    off = _off(name, rows)
    sd = np.array([r["sd_ppm"] for r in rows if r["error_ppm"] is not None])
    middle = f"{np.median(np.abs(off)):.0f}, {np.quantile(np.abs(off), 0.95):.0f}" if len(off) else "-"
    inside = f"{int(np.sum(np.abs(off) < 2 * sd))} of {len(off)}"
    return (
        f"{name:28}{len(rows):5}{np.median([r['modes'] for r in rows]):6.0f}{middle:>31}{inside:>12}   "
        f"{_signs(rows, 'known')} | {_signs(rows, 'blind')}"
    )


def _signs(rows: Sequence[dict[str, Any]], which: str) -> str:
    """Too few tones: the report then says so, and that nothing is told of the clock."""
    n = len(rows)
    counts = Counter(sign for r in rows for sign in r[which])
    counts["none"] = sum(not r[which] and r["told"] for r in rows)
    counts["too few tones, nothing else"] = sum(not r[which] and not r["told"] for r in rows)
    return ", ".join(f"{sign} {k} ({_interval(k, n)})" for sign, k in counts.most_common() if k)


def _interval(k: int, n: int) -> str:
    low, high = study.clopper_pearson(k, n)
    return f"{100 * low:.0f} to {100 * high:.0f} %"


def main(arguments: Sequence[str] | None = None) -> int:
    """The command line."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("work", type=Path)
    parser.add_argument("--bars", type=int, default=100)
    parser.add_argument("--minutes", type=float, default=30.0)
    parser.add_argument("--cores", type=int, default=2)
    given = parser.parse_args(arguments)
    given.work.mkdir(parents=True, exist_ok=True)
    units = [Unit(FIRST + k) for k in range(given.bars)]
    path_of = partial(_path, given.work)
    study.make(units, counted, path_of, time.time() + 60 * given.minutes, given.cores)
    told = [t for t in (study.read(path_of(u)) for u in units) if t]
    text = f"{study.head('bar')}\n{__doc__.split(chr(10) * 2)[2] if __doc__ else ''}\n\n{table(told)}"
    RESULTS.write_text(text, encoding="utf-8")
    print(text)
    return 0


def _path(work: Path, unit: Unit) -> Path:
    return work / f"{unit.number}.json.gz"


if __name__ == "__main__":
    raise SystemExit(main())
