"""Cracks in a pin field run from pin hole to pin hole (common practice): the iron torn, and how long that is to the plate.

The drawings smear the holes of a pin field into softer, lighter iron. To the plate a crack through a row of holes reaches from
end to end, holes counted; its size here is the iron torn, as at a bolt hole.

``end_to_end_m``   reach of a crack that begins in a pin hole, from the iron torn
``drill_row``      the same row with its holes really drilled, to check the smeared row against
"""

from __future__ import annotations

from math import ceil, floor

import numpy as np
from msgspec.structs import replace
from shapely.geometry import LineString

from bench.plates.pattern import PIN_HOLE_M, PIN_PITCH_M, CrackLine, Pattern

BRIDGE_M = PIN_PITCH_M - PIN_HOLE_M
ROUNDING = 1e-6


def end_to_end_m(torn_m: float) -> float:
    """Length in m of a crack from a pin hole along a row, ``torn_m`` (over 0) of iron torn; ends in a hole or in iron."""
    holes = 1 + floor(torn_m / BRIDGE_M + ROUNDING)
    return torn_m + holes * PIN_HOLE_M


def drill_row(pattern: Pattern, line: CrackLine, torn_m: float) -> Pattern:
    """The pattern with one row of round holes along ``line`` instead of smeared ones, and the line from bridge to bridge.

    A strip one pitch wide has the iron's full stiffness and mass. Opening the whole new line tears the bridges,
    ``torn_m`` rounded up to whole ones.
    """
    start, end = np.array(line.start), np.array(line.end)
    way = (end - start) / np.hypot(*(end - start))
    first = start + PIN_HOLE_M / 2 * way
    bridges = ceil(torn_m / BRIDGE_M - ROUNDING)
    centres = [first + i * PIN_PITCH_M * way for i in range(bridges + 1)]
    reach = PIN_PITCH_M / 2 * way
    strip = LineString([centres[0] - reach, centres[-1] + reach]).buffer(PIN_PITCH_M / 2, cap_style="flat")
    row = CrackLine(line.name, line.kind, _pair(centres[0]), _pair(centres[-1]), BRIDGE_M / 3)
    return replace(
        pattern,
        bars=[*pattern.bars, ("pin row", strip, pattern.web_m + pattern.pin_boss_m)],
        pin_holes=[_pair(c) for c in centres],
        lines=[row if k.name == line.name else k for k in pattern.lines],
    )


def _pair(point: np.ndarray) -> tuple[float, float]:
    return float(point[0]), float(point[1])
