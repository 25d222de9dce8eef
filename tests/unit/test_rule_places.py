"""Dead place and local ringing: the right place, and nothing on a plate of one iron."""

import numpy as np
import pytest
from msgspec.structs import replace

from tapscan.places import Layout, Station
from tapscan.records import RuleNotRun
from tapscan.screening.iron import Area, AreaScore
from tapscan.screening.rules import dead_place, local_ringing, long_decay, run_rules
from tapscan.settings import Settings
from tests.rule_scans import STATIONS, late, mode, scan

S = Settings()


def plate(seed: int, dull: int | None, times: float = 2.5):
    """60 modes, 10 % scatter; a mode loses up to `times` as much as its energy at place `dull` is large."""
    rng = np.random.default_rng(seed)
    modes = []
    for i, f in enumerate(np.sort(rng.uniform(100, 1400, 60))):
        energy = rng.exponential(size=len(STATIONS))
        loss = 0.004 * np.exp(0.10 * rng.standard_normal())
        if dull is not None:
            loss *= 1 + (times - 1) * min(1.0, energy[dull] / 3)
        db = dict(zip(STATIONS, 10 * np.log10(energy + 1e-6), strict=True))
        modes.append(mode(f"M{i}", float(f), loss=float(loss), db=db))
    return scan(modes)


@pytest.mark.parametrize("seed", range(8))
def test_the_dull_place_is_named(seed):
    (found,) = dead_place.run(plate(seed, dull=seed), S)
    assert found.stations[0] == STATIONS[seed]
    assert found.interpretation == "relevant"


def test_a_plate_of_one_iron_has_none():
    """The score passes its limit by chance on about 5 plates in 1000."""
    assert len([s for s in range(100) if dead_place.run(plate(s, None), S)]) <= 2


def test_the_dullest_place_comes_first_with_its_figure(monkeypatch):
    area = Area(("S3", "S2"), 1.6)
    monkeypatch.setattr(dead_place, "area_score", lambda modes, layout, settings: AreaScore(0.1, 4.0, area, area))
    (found,) = dead_place.run(plate(1, None), S)
    assert found.stations == ("S3", "S2")
    assert "60 % more energy" in found.sentence


def test_the_same_plate_is_not_called_ringing():
    called = [long_decay.run(plate(s, dull=s), S) for s in range(8)]
    assert all("D2" not in [i.id for i in one] for one in called)


@pytest.mark.parametrize("rule", [dead_place, long_decay])
def test_while_something_buzzes_decays_are_not_judged(rule):
    buzz = {"late_sounds": tuple(late(i) for i in range(12)), "late_sounds_reason": None}
    outcome = rule.run(replace(plate(1, 1), **buzz), S)
    assert isinstance(outcome, RuleNotRun)
    assert "die away" in outcome.reason
    assert not isinstance(rule.run(replace(plate(1, 1), **buzz, parts_held=True), S), RuleNotRun)


def test_hum_does_not_count_and_few_modes_do_not_run():
    given = plate(1, 1)
    away = replace(given, modes=tuple(replace(m, origin="hum") for m in given.modes))
    assert isinstance(dead_place.run(away, S), RuleNotRun)
    assert isinstance(dead_place.run(replace(given, modes=given.modes[:20]), S), RuleNotRun)


ON = S.but(local_ringing.LocalRingingLimits, on=1.0)


def ringing(names, others=None, **more):
    """One mode strong at `names` only, that stands out there."""
    db = {s: (0.0 if s in names else -25.0) for s in STATIONS} | (others or {})
    told = {"t60_s": 1.5, "stations_prominent": len(names), **more}
    return mode("L", 700.0, db=db, **told)


def test_a_part_that_rings_by_itself():
    (found,) = local_ringing.run(scan([ringing(["S3", "S4"]), mode("M", 300.0)]), ON)
    assert set(found.stations) == {"S3", "S4"}
    assert found.modes == ("L",)


@pytest.mark.parametrize(
    "one",
    [
        ringing(["S3", "S4", "S5", "S6"]),
        ringing(["S3"], stations_prominent=0),
        ringing(["S3"], t60_s=0.2),
        ringing(["S3"], origin="room"),
        ringing(
            ["S3"], others={"S4": -5.9, "S5": -5.9, "S6": -5.9}
        ),  # a fifth of the places by share, but four of them
        ringing(["S3"], others={s: -7.0 for s in STATIONS if s != "S3"}),  # one place strongest, all move
    ],
)
def test_what_is_no_local_ringing(one):
    assert local_ringing.run(scan([one]), ON) == []


def test_places_that_lie_apart_are_not_one_part():
    def layout(x: float) -> Layout:
        spots = {"S3": (0.1, 0.1), "S4": (x, 0.1)}
        made = [Station(n, "here", *at) for n, at in spots.items()]
        return Layout("mine", "grand", "", tuple(made))

    near = scan([ringing(["S3", "S4"])], map=layout(0.3))
    assert local_ringing.run(near, ON) != []
    assert local_ringing.run(replace(near, map=layout(0.8)), ON) == []


def test_it_is_off_by_default_and_says_so():
    _, not_run = run_rules(scan([ringing(["S3"])]), S)
    assert "off" in {r.rule: r.reason for r in not_run}["local-ringing"]
