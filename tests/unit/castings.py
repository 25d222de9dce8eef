"""References from simulated castings of one pattern: first-order scatter of thickness, errors of the estimator, no sound."""

from functools import cache

import numpy as np

from bench.compare_scans import PICKUP, draw_state, model_scan
from tapscan.demo.plates import draw_iron, load_table, plate_modes
from tapscan.records import Reference, Scan
from tapscan.screening.pattern.references import reference_of
from tapscan.settings import Settings

PLACES = 12


@cache
def casting(number: int, label: str = "sound", pattern: str = "small-grand", **state: str) -> Scan:
    """The same casting whatever its flaw."""
    rng = np.random.default_rng(9000 + number)
    table = load_table(pattern)
    iron = draw_iron(table, rng, mean_loss_factor=0.004, loss_scatter=0.08)
    return model_scan(plate_modes(table, label, iron, draw_state(rng, **state)), PICKUP, rng, Settings(), PLACES)


def reference(number: int, label: str = "sound", pattern: str = "small-grand", **state: str) -> Reference:
    """Named after its number."""
    return reference_of(f"C{number}", casting(number, label, pattern, **state), "contact")


def severed() -> str:
    """Label of a case."""
    return next(label for label in load_table("small-grand").labels if label.startswith("severed"))


def half_deep() -> str:
    """Label of a case that can rub."""
    return next(label for label in load_table("small-grand").labels if label.startswith("depth 50"))
