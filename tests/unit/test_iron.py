"""The region score: nothing in a plate of one iron, the right place where part of it damps less.

Invented modes; the expected directions follow from the score's definition (closed form), its behaviour on
finite-element plates stands in docs/numbers.md.
"""

import numpy as np
import pytest

from tapscan.records import Mode, RuleNotRun, Scan, Strength
from tapscan.screening.iron import place_scores, spread_score
from tapscan.screening.rules import long_decay
from tapscan.settings import Settings

STATIONS = [f"S{i}" for i in range(1, 13)]


def mode(name: str, f: float, loss: float, strengths: np.ndarray) -> Mode:
    rate = np.pi * f * loss
    heard = tuple(Strength(s, float(v)) for s, v in zip(STATIONS, strengths, strict=True))
    return Mode(
        name, f, 0.001, rate, rate * 1e-3, 6.9078 / rate, 1 / loss, loss, -30.0, None, None, False, 0, 12, None, None,
        "plate", heard,
    )  # fmt: skip


def plate(seed: int, chilled: int | None, slope: float = 0.0, mean: float = 0.004) -> list[Mode]:
    """60 modes with 10 % scatter; where `chilled` is strong, a mode loses up to 35 % less."""
    rng = np.random.default_rng(seed)
    modes = []
    for i, f in enumerate(np.sort(rng.uniform(100, 1400, 60))):
        energy = rng.exponential(size=len(STATIONS))
        loss = mean * (f / 500) ** slope * np.exp(0.10 * rng.standard_normal())
        if chilled is not None:
            loss *= 1 - 0.35 * min(1.0, energy[chilled] / 3)
        modes.append(mode(f"M{i}", float(f), float(loss), 10 * np.log10(energy + 1e-6)))
    return modes


def test_one_iron_throughout_raises_nothing_whatever_its_damping() -> None:
    """By chance the spread score passes 3.0 on about one plate in 150 for each sign (a weighted chi-square of 12)."""
    found = [
        (seed, slope)
        for seed in range(20)
        for slope, mean in ((0.0, 0.002), (0.5, 0.01), (-0.5, 0.004))
        if long_decay.run(Scan((), (), tuple(plate(seed, None, slope, mean))), Settings())
    ]
    assert len({seed for seed, _ in found}) <= 1


@pytest.mark.parametrize("seed", range(20))
def test_a_region_that_damps_less_is_named(seed: int) -> None:
    modes = plate(seed, chilled=4)
    scores = place_scores(modes, Settings())
    assert scores[0].station == "S5"
    assert scores[0].loss_ratio < 1
    (indication,) = long_decay.run(Scan((), (), tuple(modes)), Settings())
    assert "S5" in indication.stations and "S5" in indication.sentence


def test_the_whole_plate_under_the_limit_is_named_once() -> None:
    found = long_decay.run(Scan((), (), tuple(plate(3, None, mean=0.0006))), Settings())
    assert not isinstance(found, RuleNotRun)
    assert [i.id for i in found] == ["D1"]


def test_too_few_modes_is_not_a_pass() -> None:
    outcome = long_decay.run(Scan((), (), tuple(plate(3, None)[:7])), Settings())
    assert isinstance(outcome, RuleNotRun) and "8 modes, has 7" in outcome.reason


def test_too_few_stations_give_no_score() -> None:
    few = [mode(m.id, m.frequency_hz, m.loss_factor or 1.0, np.zeros(12)) for m in plate(3, None)]
    cut = [
        Mode(**{**m.__dict__, "strengths": m.strengths[:5]})  # five stations: one under the limit
        for m in few
    ]
    assert place_scores(cut, Settings()) == []


def spread_plate(seed: int, region: tuple[int, ...], sign: float) -> list[Mode]:
    """60 modes with 10 % scatter; a tenth of them live in a region of several places, each a poor witness, and lose more or less."""
    rng = np.random.default_rng(seed)
    modes = []
    for i, f in enumerate(np.sort(rng.uniform(100, 1400, 60))):
        held = rng.exponential()
        energy = rng.exponential(size=len(STATIONS))
        energy[list(region)] *= held
        loss = 0.004 * np.exp(0.10 * rng.standard_normal() + sign * (0.1 * held if region else 0.0))
        modes.append(mode(f"M{i}", float(f), float(loss), 10 * np.log10(energy + 1e-6)))
    return modes


def test_chance_alone_gives_a_spread_score_of_mean_0_and_spread_1() -> None:
    scores = [spread_score(spread_plate(seed, (), 0.0), Settings()) for seed in range(200)]
    values = np.array([s.score for s in scores if s is not None])
    assert len(values) == 200
    assert abs(values.mean()) < 0.2 and values.std() == pytest.approx(1, abs=0.2)
    assert np.mean([s.lasting for s in scores if s is not None]) == pytest.approx(0.5, abs=0.15)


@pytest.mark.parametrize("sign", [-1.0, 1.0])
def test_a_region_under_several_places_is_found_where_no_single_place_tells(sign: float) -> None:
    """Four places in twelve, each a poor witness: the sum finds more than the best single place, and on the right side."""
    found = single = 0
    for seed in range(40):
        modes = spread_plate(seed, (1, 2, 3, 4), sign)
        spread = spread_score(modes, Settings())
        assert spread is not None
        places = place_scores(modes, Settings())
        single += (places[0].score <= -3.4) if sign < 0 else (places[-1].score >= 3.7)
        found += spread.score >= Settings().spread_score and spread.lasting == (sign < 0)
    assert found > single + 8


def test_a_spread_region_is_an_indication_of_the_rule() -> None:
    modes = next(
        m
        for m in (spread_plate(seed, (1, 2, 3, 4), -1.0) for seed in range(40))
        if place_scores(m, Settings())[0].score > -3.0
        and (s := spread_score(m, Settings())) is not None
        and s.lasting
        and s.score > 4
    )
    (indication,) = long_decay.run(Scan((), (), tuple(modes)), Settings())
    assert len(indication.stations) == 3
    assert any(c.name == "loss that goes with place" for c in indication.conditions)
