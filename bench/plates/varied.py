"""Further invented patterns: a pattern stretched, thickened and re-strutted at random, so that limits are set on plates that no study counts.

``vary``         another pattern from a pattern and a seed
``pattern_of``   a pattern by name, varied where the name ends with a seed
"""

from __future__ import annotations

import numpy as np
from msgspec.structs import replace
from shapely.affinity import affine_transform

from bench.plates.layout import add_cracks, spots_for
from bench.plates.pattern import Pattern, Strut
from bench.plates.patterns import build

Way = tuple[float, float]
STRETCH, SKEW = (0.88, 1.14), 0.06  # of width and length; run in x per run in y
WEB, STRUT = (0.88, 1.16), (0.85, 1.20)  # of thickness of web and rim; of width and depth of each strut


def vary(pattern: Pattern, seed: int) -> Pattern:
    """Its places and crack lines are drawn anew from the changed drawing; at random one strut is left out."""
    rng = np.random.default_rng([seed, 7])
    a, d, b = rng.uniform(*STRETCH), rng.uniform(*STRETCH), rng.uniform(-SKEW, SKEW)
    gone = int(rng.integers(1, len(pattern.struts) - 1))

    def moved(point: Way) -> Way:
        return float(a * point[0] + b * point[1]), float(d * point[1])

    def strut(old: Strut) -> Strut:
        wide, deep = rng.uniform(*STRUT, 2)
        return replace(
            old,
            start=moved(old.start),
            end=moved(old.end),
            width_m=old.width_m * float(wide),
            depth_m=old.depth_m * float(deep),
        )

    def area(shape):  # type: ignore[no-untyped-def]
        return affine_transform(shape, [a, b, 0.0, d, 0.0, 0.0])

    web = float(rng.uniform(*WEB))
    drawn = replace(
        pattern,
        name=f"{pattern.name}-{seed}",
        title=f"{pattern.title}, varied",
        outline=area(pattern.outline),
        openings=[area(o) for o in pattern.openings],
        struts=[strut(s) for i, s in enumerate(pattern.struts) if i != gone],
        bars=[(name, area(shape), deep * float(rng.uniform(*STRUT))) for name, shape, deep in pattern.bars],
        pin_fields=[area(f) for f in pattern.pin_fields],
        bolts=[moved(p) for p in pattern.bolts],
        chill=None if pattern.chill is None else area(pattern.chill),
        web_m=pattern.web_m * web,
        rim_m=pattern.rim_m * float(rng.uniform(*STRUT)),
    )
    return add_cracks(spots_for(drawn))


def pattern_of(name: str) -> Pattern:
    """By name; "small-grand-31" is a varied one."""
    base, _, seed = name.rpartition("-")
    return vary(build(base), int(seed)) if seed.isdigit() else build(name)
