"""A tradesman's drawing of a simulated plate: its outline as a layout's, as wrong as is asked, and which part a flaw truly lies in.

drawn_layout(pattern, spots, error, places_m, rng)   Layout of the pattern, `error` wrong in thickness and outline, places drawn `places_m` off
true_part(pattern, line, model)                      the part of the model's candidates that a crack line belongs to
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
import shapely.affinity

from bench.plates.pattern import CrackLine, Pattern
from tapscan.model.rough import RoughModel
from tapscan.places import Layout, Member, Outline, Station

KINDS = {"strut": "strut", "corner": "corner", "rim": "rim", "bolt": "screw", "pin": "pin field"}
SIDES = {"grand": ("tail", "treble", "keyboard", "bass"), "upright": ("top", "treble", "bottom", "bass")}


def drawn_layout(
    pattern: Pattern, spots: Sequence[tuple[str, float, float]], error: float, places_m: float, rng: np.random.Generator
) -> Layout:
    """`spots`: name, x and y in m. Thickness and width of every member, the plate's proportions and the bays are each `error` off (sd)."""
    wide, high = pattern.outline.bounds[2:]

    def off(scale: float = 1.0) -> float:
        return float(np.exp(scale * error * rng.standard_normal()))

    def picture(points: object) -> tuple[tuple[float, float], ...]:
        xy = np.asarray(points, dtype=float) / [wide, high]
        return tuple((float(x), float(y)) for x, y in np.clip(np.column_stack([xy[:, 0], 1 - xy[:, 1]]), 0, 1))

    def moved(points: object) -> np.ndarray:
        return np.asarray(points) + 0.1 * error * rng.standard_normal(np.shape(points))

    bays = [_scaled(part, off(0.5)) for o in pattern.openings for part in shapely.get_parts(o)]
    members = [
        Member(s.name, picture(_reaching(s.start, s.end, moved)), 1e3 * s.depth_m * off(), 1e3 * s.width_m * off())
        for s in pattern.struts
    ]
    members += [Member(n, picture(a.simplify(2e-3).exterior.coords[:-1]), 1e3 * t * off()) for n, a, t in pattern.bars]
    sides = SIDES["upright" if "upright" in pattern.name else "grand"]
    outline = Outline(
        name=pattern.name,
        width_to_height=wide / high * off(0.5),
        edge=picture(pattern.outline.simplify(2e-3).exterior.coords[:-1]),
        openings=tuple(picture(b.simplify(3e-3).exterior.coords[:-1]) for b in bays),
        pin_fields=tuple(picture(f.simplify(2e-3).exterior.coords[:-1]) for f in pattern.pin_fields),
        members=tuple(members),
        screws=picture(pattern.bolts),
        sides=sides,
        width_m=wide * off(0.5),
        web_mm=1e3 * pattern.web_m * off(),
        rim_mm=1e3 * pattern.rim_m * off(),
    )
    at = np.array([[x, y] for _, x, y in spots]) + places_m / np.sqrt(2) * rng.standard_normal((len(spots), 2))
    stations = tuple(Station(n, n, *p) for (n, _, _), p in zip(spots, picture(at), strict=True))
    return Layout(pattern.name, pattern.name, "", stations, outline)


def _scaled(bay: shapely.Geometry, factor: float) -> shapely.Geometry:
    """A bay drawn too large or too small; kept within what is left of the iron about it."""
    root = min(max(float(np.sqrt(factor)), 0.94), 1.06)
    return shapely.affinity.scale(bay, root, root)


def _reaching(start: tuple[float, float], end: tuple[float, float], moved) -> np.ndarray:  # type: ignore[no-untyped-def]
    """Ends moved sideways, and 15 mm longer at both, so that a drawing that is off still reaches the iron."""
    a, b = moved(start), moved(end)
    along = (b - a) / np.hypot(*(b - a))
    return np.array([a - 0.015 * along, b + 0.015 * along])


def true_part(pattern: Pattern, line: CrackLine, model: RoughModel) -> str:
    """By the nearest candidate of the same kind, both in shares of the picture."""
    wide, high = pattern.outline.bounds[2:]
    if line.kind == "strut":
        return line.name.split(" at ")[0]
    at = np.array([line.start[0] / wide, 1 - line.start[1] / high])
    mine = [c for c in model.cuts if c.kind == KINDS[line.kind]]
    far = [np.hypot(*((np.array(c.start_m) / model.size_m - at) * [wide, high])) for c in mine]
    return mine[int(np.argmin(far))].part
