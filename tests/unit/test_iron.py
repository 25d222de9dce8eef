"""Areas of other iron: nothing in a plate of one iron, the right area where part of it damps less or more.

Invented modes; the expected directions follow from the score's definition (closed form), its behaviour on
finite-element plates stands in docs/rules.md.
"""

import numpy as np
import pytest
from msgspec.structs import replace

from tapscan.places import Layout, Outline, Station
from tapscan.records import ModalAmplitude, Mode, RuleNotRun, Scan
from tapscan.screening.iron import TREND, area_score
from tapscan.screening.regions import DIRECTIONS, SHARES, areas_of, positions_of
from tapscan.screening.rules import dead_place, long_decay
from tapscan.settings import Settings
from tests.every import each
from tests.snapshots import same_as_before, without_figures

STATIONS = [f"S{i}" for i in range(1, 13)]
# Three rows of four; S1 to S4 lie at one end.
LAYOUT = Layout(
    "grid",
    "grand",
    "",
    tuple(Station(s, "", (k % 4) / 3, (k // 4) / 2) for k, s in enumerate(STATIONS)),
    Outline("grid", 1.5, ()),
)
END = (0, 1, 2, 3)
AMID = (1, 4, 5, 6)
S = Settings()


def mode(name: str, f: float, loss: float, amplitudes: np.ndarray) -> Mode:
    rate = np.pi * f * loss
    heard = tuple(ModalAmplitude(s, float(v)) for s, v in zip(STATIONS, amplitudes, strict=True))
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


def regional(seed: int, region: tuple[int, ...], sign: float) -> list[Mode]:
    """60 modes with 10 % scatter; how much of a mode lies in the region is told by each of its places poorly."""
    rng = np.random.default_rng(seed)
    modes = []
    for i, f in enumerate(np.sort(rng.uniform(100, 1400, 60))):
        held = rng.exponential()
        energy = rng.exponential(size=len(STATIONS))
        energy[list(region)] *= held
        loss = 0.004 * np.exp(0.10 * rng.standard_normal() + sign * (0.08 * held if region else 0.0))
        modes.append(mode(f"M{i}", float(f), float(loss), 10 * np.log10(energy + 1e-6)))
    return modes


def scanned(modes: list[Mode], layout: Layout | None = LAYOUT) -> Scan:
    return Scan((), (), tuple(modes), map=layout)


def test_one_iron_throughout_raises_nothing_whatever_its_damping() -> None:
    """By chance either score passes on about one plate in 200."""
    found = [
        seed
        for seed in range(40)
        for slope, mean in ((0.0, 0.002), (0.5, 0.01), (-0.5, 0.004))
        for rule in (long_decay, dead_place)
        if rule.run(scanned(plate(seed, None, slope, mean)), S)
    ]
    assert len(set(found)) <= 1


def test_chance_alone_passes_the_limit_about_as_often_as_it_says() -> None:
    """5 of 1000 shuffled plates each way (settings.py); of 300, at most 5 with a chance of one in a hundred (binomial)."""
    told = [area_score(regional(seed, (), 0.0), LAYOUT, S) for seed in range(300)]
    for found in ([t.lasting for t in told if t], [t.dull for t in told if t]):
        assert len(found) == 300
        assert sum(s >= S.iron.area_score for s in found) <= 5
        assert (
            np.mean([s >= 1.15 for s in found]) > 0.01
        )  # the score is alive, though less scatter than smooth iron makes counts for less


@pytest.mark.parametrize("layout", [None, LAYOUT])
@pytest.mark.parametrize("seed", range(10))
def test_a_place_that_damps_less_is_named_first(seed: int, layout: Layout | None) -> None:
    modes = plate(seed, chilled=4)
    found = area_score(modes, layout, S)
    assert found is not None and found.lasting > found.dull
    assert found.lasting_area.stations[0] == "S5" and found.lasting_area.loss_ratio < 1
    (indication,) = long_decay.run(scanned(modes, layout), S)
    assert "S5" in indication.stations and "S5" in indication.sentence


def test_an_area_is_found_where_no_single_place_tells() -> None:
    """Four places in twelve, each a poor witness: judged together they are found far more often, and on the right side."""
    together = apart = wrong = 0
    for seed in range(60):
        modes = regional(seed, END, -1.0)
        together += bool(long_decay.run(scanned(modes), S))
        apart += bool(long_decay.run(scanned(modes, None), S))
        wrong += bool(dead_place.run(scanned(modes), S))
    assert together > apart + 10 and wrong <= 4


def test_a_dull_area_away_from_the_ends_is_found() -> None:
    lists = [regional(seed, AMID, 1.4) for seed in range(60)]
    dull, lasting = (sum(bool(rule.run(scanned(m), S)) for m in lists) for rule in (dead_place, long_decay))
    assert dull > 10 and lasting < dull / 2


def test_an_end_that_damps_more_is_what_sound_iron_does_too() -> None:
    """Losses that rise evenly along a plate were seen in sound iron (doi 10.1007/s11661-016-3580-x): no dead place."""
    assert sum(bool(dead_place.run(scanned(regional(seed, END, 1.0)), S)) for seed in range(60)) <= 2


def test_the_area_named_is_the_one_with_the_other_iron() -> None:
    right = 0
    for seed in range(40):
        found = long_decay.run(scanned(regional(seed, END, -1.0)), S)
        if found:
            right += len(set(found[0].stations) & {STATIONS[k] for k in END}) / len(found[0].stations) > 0.6
    assert right > 15


def test_only_the_likelier_of_a_lasting_and_a_dull_area_speaks() -> None:
    for seed in range(40):
        modes = regional(seed, END, -1.0)
        assert not (long_decay.run(scanned(modes), S) and dead_place.run(scanned(modes), S))


def test_areas_hold_neighbours_and_ends_and_each_place() -> None:
    positions = positions_of(LAYOUT, STATIONS)
    assert positions[4].tolist() == [0.0, 0.5] and positions[3].tolist() == [1.5, 0.0]
    areas = areas_of(positions)
    rows = {tuple(np.nonzero(a)[0].tolist()) for a in areas}
    assert {(k,) for k in range(12)} <= rows and END in rows and (0, 4, 8) in rows
    assert (0, 11) not in rows and all(1 <= len(r) <= round(max(SHARES) * 12) for r in rows)
    assert len(rows) == len(areas) <= 12 + len(SHARES) * (12 + DIRECTIONS)


def test_a_station_that_is_not_on_the_layout_has_no_neighbours_and_takes_none_away() -> None:
    whole = areas_of(positions_of(LAYOUT, STATIONS))
    more = areas_of(positions_of(LAYOUT, [*STATIONS, "X"]))
    assert len(more) == len(whole) + 1
    assert [np.nonzero(a)[0].tolist() for a in more if a[12]] == [[12]]
    for positions in (
        positions_of(None, STATIONS),
        positions_of(LAYOUT, ["X", "Y"]),
        positions_of(LAYOUT, ["S1", "X"]),
    ):
        assert areas_of(positions).sum(axis=1).tolist() == [1] * len(positions)


def test_the_loss_told_is_that_of_the_tones_strongest_there_beside_the_others() -> None:
    """A mode in five lives at S1 to S4 and loses 30 % less; the others lose alike: exp(ln 0.7) whatever the trend."""
    modes = []
    for i, f in enumerate(np.linspace(100, 1400, 60)):
        inside = i % 4 == 0
        energy = np.where(np.isin(np.arange(12), END), 1.0, 0.01) if inside else np.where(np.arange(12) > 3, 1.0, 0.01)
        modes.append(
            mode(f"M{i}", float(f), 0.004 * (0.7 if inside else 1.0) * (1 + 1e-3 * (i % 3)), 10 * np.log10(energy))
        )
    found = area_score(modes, LAYOUT, S)
    assert found is not None and set(found.lasting_area.stations) <= {STATIONS[k] for k in END}
    assert found.lasting_area.loss_ratio == pytest.approx(0.7, abs=0.02)


def test_modes_without_strengths_or_without_scatter_raise_nothing() -> None:
    bare = [replace(m, amplitudes=()) if k < 3 else m for k, m in enumerate(plate(3, None))]
    found = area_score(bare, LAYOUT, S)
    assert found is not None and np.isfinite([found.lasting, found.dull, found.lasting_area.loss_ratio]).all()
    even = [mode(m.id, m.frequency_hz, 0.004, np.array([s.amplitude_db for s in m.amplitudes])) for m in plate(3, None)]
    for rule in (long_decay, dead_place):
        assert rule.run(scanned(even), S) == []


def test_the_whole_plate_under_the_limit_is_named_once() -> None:
    found = long_decay.run(scanned(plate(3, None, mean=0.0004)), S)
    assert not isinstance(found, RuleNotRun)
    assert [(i.id, i.interpretation) for i in found] == [("D1", "relevant")]
    assert long_decay.HARD in found[0].sentence and long_decay.BRITTLE not in found[0].sentence


@each("mean", [0.0009, 0.0013])
def test_iron_as_lightly_damped_as_fine_flake_is_told_and_no_finding(mean: float) -> None:
    """Fine flake .0006 to .003 (ASM handbook, from memory): a loss factor of .001 is common and no flaw by itself."""
    found = long_decay.run(scanned(plate(3, None, mean=mean)), S)
    assert not isinstance(found, RuleNotRun)
    assert [(i.id, i.interpretation) for i in found] == [("D1", "nonrelevant")]


def test_too_few_modes_is_not_a_pass() -> None:
    outcome = long_decay.run(scanned(plate(3, None)[:7]), S)
    assert isinstance(outcome, RuleNotRun) and "8 modes, has 7" in outcome.reason


def test_too_few_stations_give_no_score() -> None:
    few = [mode(m.id, m.frequency_hz, m.loss_factor or 1.0, np.zeros(12)) for m in plate(3, None)]
    cut = [
        replace(m, amplitudes=m.amplitudes[:5])  # five stations: one under the limit
        for m in few
    ]
    assert area_score(cut, LAYOUT, S) is None


def test_many_places_are_told_in_a_few_words() -> None:
    (found,) = next(f for f in (long_decay.run(scanned(regional(s, END, -1.0)), S) for s in range(60)) if f)
    more = len(found.stations) - 3
    assert (f"and {more} more place" in found.sentence) == (more > 0)
    names = [c.name for c in found.conditions]
    assert TREND in names
    same_as_before("long-decay", "\n".join([without_figures(found.sentence), *names]))
