"""What the sharpness of the shares was set from: cracks on the two patterns of bench.location that limits are chosen on, several drawings each.

    python -m bench.location_setting WORK --tables FOLDER --luck WORDS --drawings N     writes bench/results/location_setting.txt

WORK holds scans that `python -m bench.location WORK --tables FOLDER --patterns limits --luck WORDS --only-scans` made. Every crack that the comparison called is
told by N drawings of each row, wrong by 5 to 20 %; sharpness, what it gains by likeness and by fit, and doubt are those of the largest likelihood of the
right parts. Simulated; no iron was tapped.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from bench import study
from bench.location import LIMITS, Case, cases_of, drawn_layout, pattern_drawn, table_of, with_places
from bench.location_drawn import true_part
from bench.location_table import Drawing, calibration, percent
from tapscan.model.rough import RoughModel, rough_model
from tapscan.places import Layout
from tapscan.records import FloatArray
from tapscan.screening.location.belief import LEAST_FIT, USUAL_FIT, USUAL_LIKENESS, cosines, shares_of, sharpness_of
from tapscan.screening.location.expansion import expanded
from tapscan.screening.location.fitted import fitted
from tapscan.screening.location.whereabouts import change_of, signed_patterns
from tapscan.settings import Settings
from tapscan.settings.location import Location

RESULT = Path(__file__).parent / "results" / "location_setting.txt"
ROWS = (
    Drawing("20 places, 5 % wrong, places 5 mm off", 0.05, 0.005, 20),
    Drawing("20 places, 10 % wrong", 0.10, 0.0, 20),
    Drawing("20 places, 15 % wrong, places 10 mm off", 0.15, 0.010, 20),
    Drawing("20 places, 20 % wrong, places 15 mm off", 0.20, 0.015, 20),
    Drawing("12 places, 10 % wrong", 0.10, 0.0, 12),
    Drawing("12 places, 20 % wrong, places 15 mm off", 0.20, 0.015, 12),
)


class Tried(Struct, frozen=True, eq=False):
    """One crack by one drawing."""

    cosine: FloatArray  # (candidates,)
    part: FloatArray  # (candidates,) number
    right: int
    fit: float

    def shares(self, limits: Location) -> FloatArray:
        sharp = sharpness_of(float(self.cosine.max()), self.fit, limits)
        return shares_of(self.cosine[:, None], self.part, int(self.part.max()) + 1, sharp, limits.doubt)[:, 0]


def drawing_of(case: Case, row: Drawing, number: int) -> Layout:
    """Of its own for each casting, row and number."""
    table = table_of(case.unit.folder, case.unit.pattern)
    spots = [(s["name"], s["x_m"], s["y_m"]) for s in table.meta["stations"]]
    words = f"{case.unit.luck} {case.unit.pattern} {case.unit.casting} {row.error} {row.places_m} {number}"
    rng = np.random.default_rng(study.seed_of("setting drawing", words))
    return drawn_layout(pattern_drawn(case.unit.pattern), spots, row.error, row.places_m, rng)


def tried(cases: list[Case], row: Drawing, number: int) -> Iterator[Tried]:
    """Cracks that the comparison called, and whose right part the drawing has."""
    for case in cases:
        change = case.measured.frequency
        crack = not case.unit.flaw.startswith(("rubbing", "weight"))
        if crack and change.statistic is not None and change.statistic > change.limit:
            layout = drawing_of(case, row, number)
            model = rough_model(layout.outline)  # type: ignore[arg-type]
            yield _tried(case, with_places(case.reference, layout, row.places), model)  # type: ignore[arg-type]


def _tried(case: Case, scan: object, model: RoughModel) -> Tried:
    settings = Settings()
    change, names = change_of(case.measured, "drops")
    patterns, places, told = signed_patterns(scan, names, settings)  # type: ignore[arg-type]
    every, _, _ = signed_patterns(scan, [m.id for m in scan.modes], settings)  # type: ignore[arg-type, attr-defined]
    spread = expanded(patterns, fitted(every, model, places, settings), settings)
    made = np.sqrt(spread.squares) / patterns.frequency_hz
    seen = np.sqrt(np.clip(change[told], 0.0, None))
    cosine = cosines(seen, made, np.clip(spread.fit, LEAST_FIT, 1.0)[None, :])[:, 0]
    names_of = list(dict.fromkeys(c.part for c in model.cuts))
    line = next(x for x in pattern_drawn(case.unit.pattern).lines if case.unit.flaw.endswith(f", {x.name}"))
    right = names_of.index(true_part(pattern_drawn(case.unit.pattern), line, model))
    return Tried(cosine, np.array([names_of.index(c.part) for c in model.cuts]), right, spread.middle_fit)


def set_by(every: list[Tried]) -> Location:
    """Of the largest likelihood."""
    from scipy.optimize import minimize

    start = Location()

    def limits(x: FloatArray) -> Location:
        return replace(
            start,
            sharpness=float(np.exp(x[0])),
            sharper_by_likeness=float(x[1]),
            sharper_by_fit=float(x[2]),
            doubt=float(1 / (1 + np.exp(-x[3]))),
        )

    begin = np.array([4.0, 1.0, 1.0, -3.0])
    simplex = np.vstack([begin, begin + 0.5 * np.eye(4)])
    found = minimize(
        lambda x: score(every, limits(x)),
        begin,
        method="Nelder-Mead",
        options={"initial_simplex": simplex, "xatol": 0.02},
    )
    return limits(found.x)


def score(every: list[Tried], limits: Location) -> float:
    """Mean of minus ln of the right part's share."""
    return float(np.mean([-np.log(max(t.shares(limits)[t.right], 1e-12)) for t in every]))


def lines_of(words: str, every: list[Tried], limits: Location) -> list[str]:
    shares = [t.shares(limits) for t in every]
    first = np.array([s.max() for s in shares])
    right = np.array([int(np.argmax(s)) == t.right for s, t in zip(shares, every, strict=True)])
    three = sum(int((s > s[t.right]).sum()) < 3 for s, t in zip(shares, every, strict=True))
    out = [
        f"{words}: first {percent(int(right.sum()), len(every))}, three {percent(three, len(every))}, log score {score(every, limits):.2f}"
    ]
    return [*out, *calibration(list(zip(first.tolist(), right.tolist(), strict=True)))]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("work", type=Path)
    parser.add_argument("--tables", type=Path, required=True)
    parser.add_argument("--luck", required=True)
    parser.add_argument("--drawings", type=int, default=1)
    given = parser.parse_args()
    cases = [c for p in LIMITS for c in cases_of(given.work, str(given.tables), p, given.luck)]
    rows = {row: [t for n in range(given.drawings) for t in tried(cases, row, n)] for row in ROWS}
    every = [t for row in rows.values() for t in row]
    best, shipped = set_by(every), Location()
    lines = [
        study.head(given.luck, "location"),
        f"{', '.join(LIMITS)}; {given.drawings} drawings of each casting; 95 % intervals as if cracks of one drawing were apart",
    ]
    for words, limits in (("of the largest likelihood", best), ("shipped", shipped)):
        lines.append(
            f"{words}: sharpness {limits.sharpness:.0f} at likeness {USUAL_LIKENESS} and fit {USUAL_FIT}, by likeness {limits.sharper_by_likeness:.1f}, "
            f"by fit {limits.sharper_by_fit:.1f}, doubt {limits.doubt:.3f}; log score {score(every, limits):.3f}"
        )
    lines += [x for row, t in rows.items() for x in lines_of(row.words, t, shipped)]
    lines += lines_of("all", every, shipped)
    print("\n".join(lines))
    RESULT.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
