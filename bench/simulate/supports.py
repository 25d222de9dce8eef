"""What a bare plate lies on or hangs from, and how that differs from scan to scan: families of supports.

``FAMILIES``     pads, felt, slings, wedges, rails (limits may be set on these); foam, blocks, trestles, battens (they are counted on)
``SLINGS``       a plate that hangs from the table's two slings
``lay``          where the supports of one casting are meant to be, how stiff they are, and how careful the hand is
``visit``        the plate's state at one scan: the same supports put there again by that hand

A support is a spring (and its loss) between floor and iron, at a pad's place (moved by up to 30 mm along the edge) or near a station (moved by up to 15 mm). Between
two scans its stiffness changes by 2 to 50 %, half of that variance alike for all of them (damp felt, a softer sheet) and half each by itself. Hard edges touch an
uneven casting at a few points only, and at others after it was lifted. The iron is up to half a kelvin warmer at one end. A pickup of 0 to 5 g is put back within 10 mm. All sizes
are ours, of the order of what such things weigh and give; none was measured.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from tapscan.demo.plates import REFERENCE_TEMPERATURE_C, Contact, State, Support, Table

KELVIN = 8.0
STIFFNESS_SCATTER = (0.02, 0.5)  # of one support from scan to scan, ln; log-uniform over castings
PAD_MOVE_M, CONTACT_MOVE_M = (0.005, 0.030), (0.003, 0.015)
PICKUP_KG, PICKUP_MOVE_M = 0.005, 0.010
END_TO_END_K = 0.5
NEAR_EDGE_M = 0.09
SLINGS = (Support(4, 6e3, loss_factor=0.05), Support(5, 6e3, loss_factor=0.05))
Places = Callable[[Table, np.random.Generator], NDArray[np.intp]]


class Family(Struct, frozen=True):
    """One kind of support. ``stiffness_n_m`` : least and most of one support, drawn for each casting. ``places`` : stations, or None for the table's pads or slings.

    ``touching`` : share of the places that carry the plate at one time.
    """

    name: str
    stiffness_n_m: tuple[float, float]
    loss_factor: float
    pads: tuple[int, ...] = ()
    places: Places | None = None
    touching: float = 1.0
    sets: bool = False  # limits may be chosen on it


class Lay(Struct, frozen=True):
    """One casting on its supports."""

    family: Family
    places: tuple[int, ...]  # stations, empty where it lies on pads
    stiffness_n_m: tuple[float, ...]
    heights: tuple[
        float, ...
    ]  # how far each place stands out of true, in units of what changes when it is lifted; the highest touch
    scatter: float  # of ln stiffness from scan to scan
    careless: float  # 0..1 between the least and the most a support is moved
    pickup_kg: float
    pickup_station: int


def xy(table: Table) -> NDArray[np.float64]:
    """(stations, 2) in m."""
    return np.array([(s["x_m"], s["y_m"]) for s in table.meta["stations"]])


def by_edge(table: Table) -> NDArray[np.intp]:
    """Stations close to the outer edge."""
    edge = table.arrays["outline"]
    apart = np.hypot(*(xy(table)[:, None] - edge[None]).transpose(2, 0, 1)).min(axis=1)
    return np.nonzero(apart < NEAR_EDGE_M)[0]


def strips(table: Table, rng: np.random.Generator) -> NDArray[np.intp]:
    """Eight of the places by the edge."""
    around = by_edge(table)
    return np.sort(rng.choice(around, min(8, len(around)), replace=False))


def sheet(table: Table, rng: np.random.Generator) -> NDArray[np.intp]:
    """Everywhere."""
    return np.arange(len(xy(table)))


def corners(table: Table, rng: np.random.Generator) -> NDArray[np.intp]:
    """The station nearest to each corner of the plate's box, which lies near the edge."""
    at = xy(table)
    low, high = at.min(axis=0), at.max(axis=0)
    ends = [(x, y) for x in (low[0], high[0]) for y in (low[1], high[1])]
    return np.unique([int(np.argmin(np.hypot(*(at - e).T))) for e in ends])


def lines(shares: tuple[float, ...]) -> Places:
    """Stations nearest to straight lines across the plate, at these shares of its longer side, shifted by chance."""

    def places(table: Table, rng: np.random.Generator) -> NDArray[np.intp]:
        at = xy(table)
        along = at[:, int(np.argmax(np.ptp(at, axis=0)))]
        found: list[int] = []
        for share in shares:
            line = along.min() + (share + 0.05 * rng.uniform(-1, 1)) * np.ptp(along)
            found += [int(i) for i in np.argsort(np.abs(along - line))[:7]]
        return np.unique(found)

    return places


FAMILIES = (
    Family("pads", (3e4, 3e4), 0.1, pads=(0, 1, 2, 3), sets=True),
    Family("felt", (1e4, 3e4), 0.25, places=strips, sets=True),
    Family("slings", (4e3, 2e4), 0.05, pads=(4, 5), sets=True),
    Family("wedges", (5e4, 1.5e5), 0.08, pads=(0, 1, 2, 3), sets=True),
    Family("rails", (5e4, 2e5), 0.05, places=lines((0.3, 0.7)), touching=0.5, sets=True),
    Family("foam", (7e2, 3e3), 0.4, places=sheet),
    Family("blocks", (4e4, 1.2e5), 0.08, places=corners),
    Family("trestles", (5e4, 2e5), 0.04, places=lines((0.2, 0.8)), touching=0.4),
    Family("battens", (1.5e4, 5e4), 0.15, places=lines((0.15, 0.5, 0.85)), touching=0.8),
)


def family_named(name: str) -> Family:
    """Raises StopIteration where there is none."""
    return next(f for f in FAMILIES if f.name == name)


def lay(table: Table, family: Family, rng: np.random.Generator) -> Lay:
    """One casting's supports as they are meant to be."""
    places = tuple(int(i) for i in family.places(table, rng)) if family.places else ()
    middle = np.exp(rng.uniform(*np.log(family.stiffness_n_m)))
    each = middle * np.exp(0.2 * rng.standard_normal(len(places) or len(family.pads)))
    return Lay(
        family,
        places,
        tuple(float(k) for k in each),
        tuple(float(h) for h in rng.standard_normal(len(each))),
        float(np.exp(rng.uniform(*np.log(STIFFNESS_SCATTER)))),
        float(rng.uniform()),
        float(rng.uniform(0.0, PICKUP_KG)),
        int(rng.choice(by_edge(table))),
    )


def visit(table: Table, held: Lay, rng: np.random.Generator, **more: object) -> State:
    """The state at one scan; ``more`` : other fields of State (rubbing, masses_kg, ...)."""
    together = rng.standard_normal()
    alone = rng.standard_normal(len(held.stiffness_n_m))
    stiffness = np.asarray(held.stiffness_n_m) * np.exp(held.scatter * (together + alone) / np.sqrt(2))
    heights = np.asarray(held.heights) + held.careless * rng.standard_normal(len(stiffness))
    touches = np.argsort(np.argsort(-heights)) < max(3, round(held.family.touching * len(stiffness)))
    pads, contacts = _placed(held, stiffness, touches, rng)
    reach = PICKUP_MOVE_M * rng.uniform(-1, 1, 2) / np.sqrt(2)
    pickup = Contact(held.pickup_station, float(reach[0]), float(reach[1]), mass_kg=held.pickup_kg)
    return State(
        temperature_c=REFERENCE_TEMPERATURE_C + float(rng.uniform(-KELVIN, KELVIN)),
        supports=pads,
        contacts=(*contacts, pickup),
        warmer_k=gradient(table, float(rng.uniform(-END_TO_END_K, END_TO_END_K))),
        **more,  # type: ignore[arg-type]
    )


def _placed(
    held: Lay, stiffness: NDArray[np.float64], touches: NDArray[np.bool_], rng: np.random.Generator
) -> tuple[tuple[Support, ...], tuple[Contact, ...]]:
    """Pads and contacts where the hand put them."""
    low, high = PAD_MOVE_M if held.family.pads else CONTACT_MOVE_M
    move = low + held.careless * (high - low)
    loss = held.family.loss_factor
    if held.family.pads:
        shifts = rng.uniform(-move, move, len(stiffness))
        pads = tuple(
            Support(p, float(k), float(s), loss) for p, k, s in zip(held.family.pads, stiffness, shifts, strict=True)
        )
        return pads, ()
    shifts = rng.uniform(-move, move, (len(stiffness), 2)) / np.sqrt(2)
    rows = zip(held.places, stiffness, shifts, touches, strict=True)
    return (), tuple(Contact(p, float(x), float(y), float(k), loss) for p, k, (x, y), here in rows if here)


def gradient(table: Table, end_to_end_k: float) -> tuple[float, ...]:
    """(patches,) kelvin above the mean of bass and treble end, by where a patch lies across the plate."""
    wide = float(np.ptp(table.arrays["outline"][:, 0]))
    struts = {s["name"]: (s["start"][0] + s["end"][0]) / 2 / wide for s in table.meta["struts"]}
    sides = {"bass": 0.25, "treble": 0.75}
    share = [struts[n] if n in struts else next(v for k, v in sides.items() if k in n) for n in table.meta["patches"]]
    return tuple(float(end_to_end_k * (s - 0.5)) for s in share)
