"""How much of a chilled region the losses could tell, were it known how each mode's energy divides: the ceiling for the rule "rings on too long".

    python -m bench.chill_ceiling --tables FOLDER [--castings N]     writes bench/results/chill_ceiling.txt

Mode lists with modelled errors (bench/compare_scans.py) of the patterns that set no limits. The same log loss factors, trend and weights as
tapscan/screening/iron.py, once weighed with each mode's true share of energy in the region (which no tap can know), once with the energies at twenty
places, as the rule does. Both limits let the same share of plates without a flaw pass, counted over shuffled losses. Simulated; no iron was measured.
"""

from __future__ import annotations

import argparse
import os
import platform
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from threadpoolctl import threadpool_limits

import tapscan
from bench.compare_scans import PICKUP, draw_state, model_scan
from bench.detection_store import SETTING, SETTINGS
from bench.pod import interval
from tapscan.demo.plates import Table, draw_iron, plate_modes, read_table
from tapscan.records import FloatArray, Mode
from tapscan.screening.iron import spread_score

RESULTS = Path(__file__).parent / "results" / "chill_ceiling.txt"
FIRST_SEED = 20000
PASSES = 0.006  # of plates without a flaw, at either limit
SHUFFLES = 20
LEAST_LOSS = 0.43  # of the sound iron's, in the region


@dataclass(frozen=True, eq=False)
class Heard:
    """A mode list, and the true share of each mode's energy in the region."""

    modes: list[Mode]
    share: FloatArray


def heard(table: Table, chilled: bool, number: int, scatter: float) -> Heard:
    """Of a casting with the region, or of the same casting without it."""
    regions = [x for x in table.labels if x.startswith("chilled")]
    region = regions[number % len(regions)]
    iron = draw_iron(table, np.random.default_rng([77, FIRST_SEED + number]), loss_scatter=scatter)
    rng = np.random.default_rng([FIRST_SEED + number, 9])
    plate = plate_modes(table, region if chilled else "sound", iron, draw_state(rng))
    scan = model_scan(plate, PICKUP, rng, SETTINGS, len(table.station_names))
    low, high = SETTINGS.region_lowest_hz, SETTINGS.region_highest_hz
    modes = [m for m in scan.modes if m.loss_factor and low <= m.frequency_hz <= high]
    shares = table.arrays["chill_share"][table.case_index(region)]
    missing = len(shares) - len(plate.frequency_hz)  # rigid motions
    nearest = [int(np.argmin(np.abs(plate.frequency_hz - m.frequency_hz))) + missing for m in modes]
    return Heard(modes, np.clip(shares[nearest], 0.0, 1.0))


def known_score(one: Heard, losses: FloatArray) -> float:
    """Standard deviations by which the losses go with the true shares, once their trend is taken out."""
    x = np.log([m.frequency_hz for m in one.modes])
    trend = np.vander((x - x.mean()) / x.std(), 3)
    taken, _ = np.linalg.qr(trend)
    wanted = np.log(1 - (1 - LEAST_LOSS) * one.share)
    wanted, rest = (v - taken @ (taken.T @ v) for v in (wanted, losses))
    return float(wanted @ rest / np.sqrt((wanted @ wanted) * (rest @ rest) / (len(x) - 3)))


def place_score(one: Heard, losses: FloatArray) -> float:
    """The rule's own sum over all places, of modes with these losses."""
    told = [replace(m, loss_factor=float(np.exp(y))) for m, y in zip(one.modes, losses, strict=True)]
    found = spread_score(told, SETTINGS)
    return found.score if found is not None else -np.inf


def losses_of(one: Heard) -> FloatArray:
    """Log loss factors."""
    return np.log([m.loss_factor or np.nan for m in one.modes])


def rows(tables: Mapping[str, Table], castings: int, scatter: float) -> list[str]:
    """Limit and share found, both ways."""
    sound = [heard(t, False, n, scatter) for t in tables.values() for n in range(castings)]
    chilled = [heard(t, True, n, scatter) for t in tables.values() for n in range(castings)]
    rng = np.random.default_rng(1)
    lines = []
    for words, score in (("shares known", known_score), ("from twenty places", place_score)):
        shuffled = [score(one, _shuffled(one, rng)) for one in sound for _ in range(SHUFFLES)]
        limit = float(np.quantile(shuffled, 1 - PASSES))
        told = [score(one, losses_of(one)) for one in chilled]
        false = sum(score(one, losses_of(one)) > limit for one in sound)
        lines.append(
            f"  losses scatter {100 * scatter:.0f} %  {words:20s} limit {limit:4.1f}  found {interval(sum(s > limit for s in told), len(told))}"
            f"   without the region {interval(false, len(sound))}"
        )
    return lines


def _shuffled(one: Heard, rng: np.random.Generator) -> FloatArray:
    """The losses about their trend in another order."""
    x, y = np.log([m.frequency_hz for m in one.modes]), losses_of(one)
    trend = np.polyval(np.polyfit(x, y, 2), x)
    return np.asarray(trend + rng.permutation(y - trend))


def main(arguments: Sequence[str] | None = None) -> None:
    """Print and store the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--tables", type=Path, required=True)
    parser.add_argument("--castings", type=int, default=60)
    given = parser.parse_args(arguments)
    tables = {p.stem: read_table(p) for p in sorted(given.tables.glob("*.npz")) if p.stem not in SETTING}
    lines = [
        f"tapscan {tapscan.__version__}, Python {platform.python_version()}, {os.cpu_count()} cores, {time.strftime('%Y-%m-%d')}",
        f"SIMULATED mode lists; chilled region of 15 to 19 % of the plate; limits that {100 * PASSES:.1f} % of shuffled plates without it pass",
    ]
    with threadpool_limits(1):
        for scatter in (0.10, 0.20):
            lines += rows(tables, given.castings, scatter)
    text = "\n".join(lines) + "\n"
    RESULTS.write_text(text, encoding="utf-8")
    print(text, end="")


if __name__ == "__main__":
    main()
