"""The numbers by which a weight left on the plate is told from a crack: fitted here, used in tapscan/screening/compare/added_mass.py.

    python -m bench.weight_or_crack WORK --tables FOLDER [--rates old]     prints them, and writes bench/results/weight_or_crack.txt

WORK and FOLDER are those of bench/compare.py, whose finished scans are read; none is made. The logistic model is fitted on weights of 0.5 kg and on the
cracks of that bench's list, both through the sound and with modelled errors, of the two SETTING patterns alone; the limit (settings.compare.mass_limit) lets PASSES of their cracks pass. How often it
is right on these and on the other three patterns is printed below the numbers. Which figures the model looks at was chosen with all five in view. Simulated; no iron was measured.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from msgspec import Struct
from sklearn.linear_model import LogisticRegression
from sklearn.preprocessing import StandardScaler

from bench import study
from bench.compare import SETTINGS, Job, measured_of, model_jobs, sound_jobs
from bench.compare_scans import PICKUP
from bench.compare_store import Store
from bench.compare_tables import KINDS, SETTING, family_of, interval
from bench.study import add_rates
from bench.table_folder import read_tables
from tapscan.screening.compare import added_mass
from tapscan.screening.compare.added_mass import WeightFeatures, weight_features

RESULTS = Path(__file__).parent / "results" / "weight_or_crack.txt"
WEIGHT = "weight of 0.5 kg"
PASSES = 0.03  # of the cracks the model is fitted on


class Case(Struct, frozen=True, eq=False):
    """One change that a comparison may be asked about."""

    weight: bool
    setting: bool  # of a pattern that the model is fitted on
    sound: bool  # through the sound
    found: WeightFeatures


def cases(jobs: Sequence[Job], store: Store, sound: bool) -> list[Case]:
    """Three baseline scans by pickup, of weights and of the cracks on the list, where they are finished and the figures can be had."""
    listed = {family_of(kind, size) for kind, size in KINDS}
    out = []
    for job in jobs:
        if job.setting.name != PICKUP.name or job.family not in listed | {WEIGHT}:
            continue
        measured = measured_of(job, store, 3)
        found = weight_features(measured) if measured is not None else None
        if found is not None:
            out.append(Case(job.family == WEIGHT, job.casting.table.name in SETTING, sound, found))
    return out


class Model(Struct, frozen=True):
    """What added_mass.py holds."""

    centres: tuple[float, ...]
    weights: tuple[float, ...]
    constant: float
    limit: float

    def says_weight(self, case: Case) -> bool:
        """Whether a weight is the likelier."""
        return bool(_figures(case, self.centres) @ np.array(self.weights) + self.constant > self.limit)


def _figures(case: Case, centres: Sequence[float]) -> np.ndarray:
    distance = np.mean((case.found.levels - np.array(centres)) ** 2)
    return np.array([distance, *case.found.figures()[1:]])


def fitted(told: Sequence[Case]) -> Model:
    """On the setting patterns."""
    seen = [c for c in told if c.setting]
    centres = tuple(float(v) for v in np.round(np.mean([c.found.levels for c in seen if c.weight], axis=0), 1))
    figures, weight = np.array([_figures(c, centres) for c in seen]), np.array([c.weight for c in seen])
    scale = StandardScaler().fit(figures)
    fit = LogisticRegression(C=1.0, max_iter=5000).fit(scale.transform(figures), weight)
    weights = np.round(fit.coef_[0] / scale.scale_, 2)
    constant = float(np.round(fit.intercept_[0] - scale.mean_ @ (fit.coef_[0] / scale.scale_), 2))
    limit = np.quantile(figures[~weight] @ weights + constant, 1 - PASSES)
    return Model(centres, tuple(float(w) for w in weights), constant, float(np.round(limit, 2)))


def rows(model: Model, told: Sequence[Case]) -> list[str]:
    """How often it is right."""
    lines = []
    for sound, heard in ((True, "through the sound"), (False, "modelled errors")):
        for words, which in (("weight named, of weights of 0.5 kg", True), ("weight named, of cracks", False)):
            for setting, patterns in ((None, "all patterns"), (False, "patterns it was not fitted on")):
                part = [c for c in told if c.sound == sound and c.weight == which and setting in (None, c.setting)]
                if part:
                    hits = sum(model.says_weight(c) for c in part)
                    lines.append(f"  {heard:18s} {words:36s} {patterns:30s} {interval(hits, len(part))}")
    return lines


def main(arguments: Sequence[str] | None = None) -> None:
    """Fit, print and store."""
    parser = argparse.ArgumentParser(prog="python -m bench.weight_or_crack", description=__doc__)
    parser.add_argument("work", type=Path)
    parser.add_argument("--tables", type=Path, required=True)
    add_rates(parser)
    given = parser.parse_args(arguments)
    drawn = read_tables(given.tables)
    told = cases(sound_jobs(drawn, given.rates), Store(given.work / "sound.jsonl"), True)
    told += cases(model_jobs(drawn), Store(given.work / "model.jsonl"), False)
    model = fitted(told)
    ships = Model(added_mass.CENTRES, added_mass.WEIGHTS, added_mass.CONSTANT, SETTINGS.compare.mass_limit)
    lines = [
        f"{study.head()}; SIMULATED; 95 % intervals (Clopper and Pearson)",
        f"CENTRES = {model.centres}",
        f"WEIGHTS = {model.weights}",
        f"CONSTANT = {model.constant}",
        f"mass_limit = {model.limit}",
        "the numbers that ship are these" if ships == model else "THE NUMBERS THAT SHIP ARE OTHERS",
        *rows(model, told),
    ]
    text = "\n".join(lines) + "\n"
    RESULTS.write_text(text, encoding="utf-8")
    print(text, end="")


if __name__ == "__main__":
    main()
