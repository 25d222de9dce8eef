"""How much of a chilled region the losses could tell, were it known how each mode's energy divides: the ceiling for the rule "rings on too long".

    python -m bench.chill_ceiling --tables FOLDER [--more-places FOLDER] [--castings N]     writes bench/results/chill_ceiling.txt

Mode lists with modelled errors (bench/compare_scans.py) of the three patterns that are not the setting ones. The same log loss factors, trend and weights as
tapscan/screening/iron.py, once weighed with each mode's true share of energy in the region (which no tap can know), once with the energies at the places of the
tables, as the rule does. All limits let the same share of plates without a flaw pass, counted over shuffled losses. Simulated; no iron was measured.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

import numpy as np
from msgspec import Struct
from msgspec.structs import replace
from threadpoolctl import threadpool_limits

from bench.compare_scans import PICKUP, draw_state, model_scan
from bench.detection_store import SETTING, SETTINGS, layout_of
from bench.plates.drawn import CHILL_AREA
from bench.pod import interval
from bench.study import head
from bench.table_folder import read_tables
from tapscan.demo.plates import CHILLED_LOSS_RATIO, Table, draw_iron, plate_modes
from tapscan.places import Layout
from tapscan.records import FloatArray, Mode
from tapscan.screening.iron import TREND_DEGREE, area_score, weighed_deviations

RESULTS = Path(__file__).parent / "results" / "chill_ceiling.txt"
FIRST_SEED = 20000
PASSES = 0.005  # of plates without a flaw, at any of the limits; about what the rule's own lets pass
SHUFFLES = 20


class Heard(Struct, frozen=True, eq=False):
    """A mode list, and the true share of each mode's energy in the region."""

    layout: Layout
    modes: list[Mode]
    share: FloatArray


Score = Callable[[Heard, FloatArray], float]


def _places(tables: Mapping[str, Table]) -> int:
    return max(len(t.station_names) for t in tables.values())


def heard(table: Table, chilled: bool, number: int, scatter: float) -> Heard:
    """Of a casting with the region, or of the same casting without it."""
    regions = [x for x in table.labels if x.startswith("chilled")]
    region = regions[number % len(regions)]
    iron = draw_iron(table, np.random.default_rng([77, FIRST_SEED + number]), loss_scatter=scatter)
    rng = np.random.default_rng([FIRST_SEED + number, 9])
    plate = plate_modes(table, region if chilled else "sound", iron, draw_state(rng))
    scan = model_scan(plate, PICKUP, rng, SETTINGS, len(table.station_names))
    low, high = SETTINGS.iron.lowest_hz, SETTINGS.iron.highest_hz
    modes = [m for m in scan.modes if m.loss_factor and low <= m.frequency_hz <= high]
    shares = table.arrays["chill_share"][table.case_index(region)]
    missing = len(shares) - len(plate.frequency_hz)  # rigid motions
    nearest = [int(np.argmin(np.abs(plate.frequency_hz - m.frequency_hz))) + missing for m in modes]
    return Heard(layout_of(table), modes, np.clip(shares[nearest], 0.0, 1.0))


def known_score(one: Heard, losses: FloatArray) -> float:
    """Standard deviations by which the losses go with the true shares; trend, weights and clipping as in the rule."""
    modes = _with_losses(one, losses)
    x = np.log([m.frequency_hz for m in modes])
    trend = np.vander((x - x.mean()) / x.std(), TREND_DEGREE + 1)
    deviation, weight = weighed_deviations(modes, trend)
    taken, _ = np.linalg.qr(trend * weight[:, None])
    wanted = np.log(1 - (1 - CHILLED_LOSS_RATIO) * one.share)
    wanted, rest = (v * weight - taken @ (taken.T @ (v * weight)) for v in (wanted, deviation))
    return float(wanted @ rest / np.sqrt((wanted @ wanted) * (rest @ rest) / (len(x) - TREND_DEGREE - 1)))


def place_score(one: Heard, losses: FloatArray) -> float:
    """The rule's own score for areas that ring on, of modes with these losses."""
    found = area_score(_with_losses(one, losses), one.layout, SETTINGS)
    return found.lasting if found is not None else -np.inf


def _with_losses(one: Heard, losses: FloatArray) -> list[Mode]:
    return [replace(m, loss_factor=float(np.exp(y))) for m, y in zip(one.modes, losses, strict=True)]


def losses_of(one: Heard) -> FloatArray:
    """Log loss factors."""
    return np.log([m.loss_factor or np.nan for m in one.modes])


def rows(tables: Mapping[str, Table], castings: int, scatter: float, words: str, score: Score) -> list[str]:
    """Limit (from other castings, shuffled) and share found."""
    apart = [heard(t, False, castings + n, scatter) for t in tables.values() for n in range(castings)]
    sound = [heard(t, False, n, scatter) for t in tables.values() for n in range(castings)]
    chilled = [heard(t, True, n, scatter) for t in tables.values() for n in range(castings)]
    rng = np.random.default_rng(1)
    shuffled = [score(one, _shuffled(one, rng)) for one in apart for _ in range(SHUFFLES)]
    limit = float(np.quantile(shuffled, 1 - PASSES))
    told = sum(score(one, losses_of(one)) > limit for one in chilled)
    false = sum(score(one, losses_of(one)) > limit for one in sound)
    return [
        f"  losses scatter {100 * scatter:.0f} %  {words:20s} limit {limit:4.1f}  found {interval(told, len(chilled))}"
        f"   without the region {interval(false, len(sound))}"
    ]


def choice(tables: Mapping[str, Table], castings: int) -> list[str]:
    """What the rule's limit was chosen from: how many shuffled lists of the setting patterns pass it."""
    rng = np.random.default_rng(2)
    sound = [heard(t, False, n, scatter) for t in tables.values() for n in range(castings) for scatter in (0.10, 0.20)]
    told = [
        area_score(_with_losses(one, _shuffled(one, rng)), one.layout, SETTINGS)
        for one in sound
        for _ in range(SHUFFLES)
    ]
    both = {"rings on": [t.lasting for t in told if t], "dull": [t.dull for t in told if t]}
    return [
        f"  limit {x:.1f}, {words:9s} passed by {interval(int(np.sum(np.array(scores) > x)), len(scores))}"
        for x in (SETTINGS.iron.area_score - 0.3, SETTINGS.iron.area_score, SETTINGS.iron.area_score + 0.2)
        for words, scores in both.items()
    ]


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
    parser.add_argument("--more-places", type=Path, help="tables of the same patterns with more stations")
    given = parser.parse_args(arguments)
    every, more = read_tables(given.tables), read_tables(given.more_places)
    tables, dense = ({name: t for name, t in some.items() if name not in SETTING} for some in (every, more))
    lines = [
        head(),
        f"SIMULATED mode lists; chilled region of {100 * CHILL_AREA[0]:.0f} to {100 * CHILL_AREA[1]:.0f} % of the plate; limits that {100 * PASSES:.1f} % of shuffled plates without it pass",
    ]
    ways: list[tuple[str, Mapping[str, Table], Score]] = [("shares known", tables, known_score)]
    ways += [(f"from {_places(some)} places", some, place_score) for some in (tables, dense) if some]
    with threadpool_limits(1):
        for scatter in (0.10, 0.20):
            for words, some, score in ways:
                lines += rows(some, given.castings, scatter, words, score)
        lines += ["", "Shuffled lists of the setting patterns, without the region, that the rule's score passes"]
        lines += choice({name: t for name, t in every.items() if name in SETTING}, given.castings // 2)
    text = "\n".join(lines) + "\n"
    RESULTS.write_text(text, encoding="utf-8")
    print(text, end="")


if __name__ == "__main__":
    main()
