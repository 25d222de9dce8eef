"""Supports, masses and warmth put on a simulated plate, against first-order theory (Rayleigh's principle, textbook), and the families that bench.supports lays plates on."""

import numpy as np
import pytest
from msgspec.structs import replace

from bench.loss_families import AIMS, LOSSES, SMOOTH, leaning, over_the_plate
from bench.simulate.supports import FAMILIES, gradient, lay, visit
from bench.supports_castings import Casting
from bench.supports_table import Told, by_casting
from tapscan.demo.plates import Contact, State, draw_iron, load_table, plate_modes
from tests.every import each

TABLE = load_table("parlour-grand")
IRON = draw_iron(TABLE, np.random.default_rng(1))
FREE = State(supports=())
SPAN = slice(3, 40)


def modes(**more):
    return plate_modes(TABLE, "sound", IRON, replace(FREE, **more)).frequency_hz[SPAN]


def test_a_mass_and_a_spring_at_a_station_shift_modes_by_rayleigh():
    free = modes()
    shape = TABLE.arrays["station_shape"][0][3:, :, 4] @ (1.0, 0.005, -0.003)
    at = {"station": 4, "dx_m": 0.005, "dy_m": -0.003}
    heavier = modes(contacts=(Contact(**at, mass_kg=0.005),))
    assert np.log(heavier / free) == pytest.approx(-0.5 * 0.005 * shape[SPAN] ** 2, abs=3e-6)
    stiffer = modes(contacts=(Contact(**at, stiffness_n_m=100.0),))
    omega2 = (2 * np.pi * free) ** 2
    assert np.log(stiffer / free) == pytest.approx(0.5 * 100.0 * shape[SPAN] ** 2 / omega2, abs=2e-6)


def test_iron_warm_all_over_is_iron_of_that_temperature():
    everywhere = tuple(5.0 for _ in TABLE.meta["patches"])
    assert modes(warmer_k=everywhere) == pytest.approx(modes(temperature_c=25.0), rel=2e-5)
    ends = gradient(TABLE, 2.0)
    assert 1.0 < max(ends) - min(ends) <= 2.0
    apart = np.log(modes(warmer_k=ends) / modes())
    assert abs(apart.mean()) < 0.3 * np.ptp(apart), "some modes fall, some rise"


@each("family", FAMILIES)
def test_a_visit_is_drawn_anew_and_alike_from_one_seed(family):
    held = lay(TABLE, family, np.random.default_rng(2))
    first, again, other = (visit(TABLE, held, np.random.default_rng(s)) for s in (5, 5, 6))
    assert first == again != other
    touching = first.supports or first.contacts[:-1]
    assert len(touching) >= min(3, len(held.stiffness_n_m)) and first.contacts[-1].mass_kg <= 0.005
    assert 0.02 <= held.scatter <= 0.5


def test_some_families_set_limits_and_others_are_counted():
    assert {f.name for f in FAMILIES if f.sets} & {f.name for f in FAMILIES if not f.sets} == set()
    assert sum(not f.sets for f in FAMILIES) >= 4


@each("place", list(AIMS))
def test_losses_follow_the_place_as_told(place):
    over = over_the_plate(TABLE, place)
    family = next(f for f in SMOOTH if f.place == place)
    leaned = leaning(TABLE, "sound", IRON, family).loss_factor / IRON.loss_factor
    assert (
        np.median(leaned[3:]) == pytest.approx(1.0)
        and 1.02 < leaned[3:].max() / leaned[3:].min() <= over.max() / over.min()
    )


def test_losses_that_rise_with_frequency_do():
    rising = next(f for f in LOSSES if f.power > 0)
    leaned = leaning(TABLE, "sound", IRON, rising).loss_factor / IRON.loss_factor
    assert (np.diff(leaned[3:]) >= 0).all() and leaned[-1] > 1.3 * leaned[10]


def told(number, relevant):
    return Told(Casting("p", "pads", number), 1.0, "unchanged", 1, relevant, False, (), None, True, None)


def test_castings_are_the_unit_of_an_interval():
    """Ten calls of one casting in twenty are less sure than ten calls spread over ten castings."""
    pairs = (
        [(n, n == 0) for n in range(20) for _ in range(10)],
        [(n, k == 0 and n < 10) for n in range(20) for k in range(10)],
    )
    (low, high), (low2, high2) = (by_casting([told(n, h) for n, h in p], [h for _, h in p]) for p in pairs)
    assert high - low > 2 * (high2 - low2)
    none = [told(n, False) for n in range(20) for _ in range(10)]
    assert by_casting(none, [False] * 200) == pytest.approx(
        (0.0, 0.1684), abs=1e-4
    )  # 0 of 20 (Newcombe 1998), not of 200
