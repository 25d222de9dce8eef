"""The lowest region score of simulated plates, sound and with a chilled region.

    python bench/region_score.py        writes bench/results/region_score.txt

Features from the modal tables (true loss factors and shapes at 20 stations), not through the sound; 40 castings a
cell. The score is the rule's own, screening/iron.py. The limit in settings.py was chosen from such a table.
"""

import os
import platform
import time
from pathlib import Path

import numpy as np

import tapscan
from tapscan.demo.plates import draw_iron, load_table, pattern_names, plate_modes
from tapscan.demo.taps import station_shape
from tapscan.records import Mode, Strength
from tapscan.screening.iron import place_scores
from tapscan.settings import Settings

CASTINGS = 40


def lowest_score(pattern: str, label: str, scatter: float, rng: np.random.Generator) -> float:
    """Score of the place that rings on longest, for one casting."""
    table = load_table(pattern)
    plate = plate_modes(table, label, draw_iron(table, rng, loss_scatter=scatter))
    shapes = {s: np.abs(station_shape(plate, s)) for s in table.station_names}
    modes = []
    for i, (f, loss) in enumerate(zip(plate.frequency_hz, plate.loss_factor, strict=True)):
        strengths = tuple(Strength(s, float(20 * np.log10(a[i] + 1e-9))) for s, a in shapes.items())
        rate = np.pi * f * loss
        nothing = (None, None, None, False, 0, 0, None, None)
        modes.append(
            Mode(f"M{i}", float(f), 0.0, rate, 0.0, 6.9 / rate, 1 / loss, float(loss), *nothing, "plate", strengths)
        )
    return place_scores(modes, Settings())[0].score


def main() -> None:
    """Print and store the table."""
    limit = -Settings().region_score
    lines = [
        f"tapscan {tapscan.__version__}, Python {platform.python_version()}, {os.cpu_count()} cores, {time.strftime('%Y-%m-%d')}",
        f"lowest region score, {CASTINGS} castings a cell (simulated); limit {limit}",
        "scatter pattern                  plate    5 %   median  95 %   under the limit",
    ]
    rng = np.random.default_rng(5)
    for scatter in (0.10, 0.17, 0.20):
        for pattern in pattern_names():
            for label in ("sound", "chill"):
                scores = [lowest_score(pattern, label, scatter, rng) for _ in range(CASTINGS)]
                low, middle, high = np.quantile(scores, [0.05, 0.5, 0.95])
                under = sum(s <= limit for s in scores)
                lines.append(
                    f"{scatter:5.2f}   {pattern:24s} {label:6s} {low:6.2f} {middle:7.2f} {high:6.2f}   {under} of {CASTINGS}"
                )
    text = "\n".join(lines) + "\n"
    (Path(__file__).parent / "results" / "region_score.txt").write_text(text, encoding="utf-8")
    print(text, end="")


if __name__ == "__main__":
    main()
