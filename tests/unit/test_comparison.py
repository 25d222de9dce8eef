"""The comparison piece by piece: scatter, limits, unlike scans, temperature, lost modes, weight, status, course."""

import numpy as np
import pytest
from msgspec.structs import replace

from tapscan.errors import BadRequest
from tapscan.records import Indication
from tapscan.screening.compare.change import largest_mean
from tapscan.screening.compare.compare_scans import compare_scans
from tapscan.screening.compare.condition_changes import changed_conditions
from tapscan.screening.compare.measure import false_discoveries
from tapscan.screening.compare.repeatability import join, scatter_level
from tapscan.screening.compare.shared_shift import densest
from tapscan.screening.compare.thermal_shift import common_shift
from tapscan.screening.compare.trend import follow, judge_course
from tapscan.screening.compare.unpaired_modes import miss_chance
from tapscan.screening.rules.change_since_baseline import COAT
from tapscan.sensors import Sensor
from tests.compared import BASE, COUNT, SETTINGS, STATIONS, STRIPPED, crack, drawn, named, scan, words_held
from tests.snapshots import same_as_before, without_figures


def test_nothing_is_found_where_nothing_changed():
    for seed in range(20, 40):
        result = compare_scans(named(scan(seed=seed), "2026-05-01"), BASE, SETTINGS)
        assert result.indications == ()
        assert not any(p.fell or p.loss_rose for p in result.pairs)
        assert "does not show that the plate is free of flaws" in result.summary


def test_a_sparse_set_of_drops_is_found_and_the_modes_named():
    result = compare_scans(named(scan(crack(), seed=40), "2026-05-01"), BASE, SETTINGS)
    assert [i.id for i in result.indications] == ["C1"]
    assert set(result.indications[0].modes) == {"M20", "M31", "M44", "M50"}
    worst = min(result.pairs, key=lambda p: p.change_ppm)
    assert worst.later_mode == "M20"
    assert worst.change_ppm == pytest.approx(-3000, abs=4 * worst.change_sd_ppm)
    assert result.indications[0].status == "new"
    told = result.indications[0].sentence
    clearest = max((p for p in result.pairs if p.fell), key=lambda p: p.normalised_drop)
    assert f"{-1e-4 * clearest.change_ppm:.3f} % (± {2e-4 * clearest.change_sd_ppm:.3f} %" in told
    assert "5.9 %" in told and result.indications[0].stations
    words_held(result, "some tones fell")


def test_warmth_alone_is_no_indication_and_is_read_as_temperature():
    warm = replace(STRIPPED, iron_c=30.0)
    result = compare_scans(named(scan(-1.6e-3, seed=41), "2026-05-01", warm), BASE, SETTINGS)
    assert result.indications == ()
    assert result.common.apparent_low_k < 10 < result.common.apparent_k == pytest.approx(16, abs=0.5)
    assert result.common.agrees is True
    cold = replace(STRIPPED, iron_c=10.0)
    wrong = compare_scans(named(scan(-1.6e-3, seed=41), "2026-05-01", cold), BASE, SETTINGS)
    assert wrong.common.agrees is False and "does not agree" in wrong.common.sentence


def test_modes_that_rise_are_no_crack():
    result = compare_scans(named(scan(-crack(), seed=42), "2026-05-01"), BASE, SETTINGS)
    assert result.indications == ()
    assert any("rose" in s for s in result.limitations)


def test_more_loss_in_some_modes_is_found_and_more_in_all_is_not():
    some = np.ones(COUNT)
    some[10:22] = 1.7
    result = compare_scans(named(scan(loss=some, seed=44), "2026-05-01"), BASE, SETTINGS)
    assert [i.id for i in result.indications] == ["C2"]
    assert set(result.indications[0].modes) <= {f"M{i}" for i in range(10, 22)}
    assert len(result.indications[0].modes) >= 10
    assert result.indications[0].stations and "fell" not in result.indications[0].sentence
    words_held(result, "some tones are damped more")
    everywhere = compare_scans(named(scan(loss=1.7 * np.ones(COUNT), seed=45), "2026-05-01"), BASE, SETTINGS)
    assert everywhere.indications == ()


def test_many_strong_modes_lost_are_an_indication():
    gone, fresh = (12, 18, 25, 36), (15, 30)
    base = [
        replace(b, scan=replace(b.scan, modes=tuple(m for m in b.scan.modes if m.id not in ("M15", "M30"))))
        for b in BASE
    ]
    result = compare_scans(named(scan(seed=46, drop=gone), "2026-05-01"), base, SETTINGS)
    assert [i.id for i in result.indications] == ["C3"]
    assert set(result.indications[0].modes) == {"M15", "M30"}, "of the later scan: the new ones"
    assert (sum(u.counts for u in result.lost), sum(u.counts for u in result.gained)) == (len(gone), len(fresh))
    one = compare_scans(named(scan(seed=46, drop=(12,)), "2026-05-01"), BASE, SETTINGS)
    assert one.indications == () and len(one.lost) == 1


def test_a_single_baseline_scan_has_a_higher_limit_and_says_so():
    one = compare_scans(named(scan(seed=47), "2026-05-01"), BASE[:1], SETTINGS)
    three = compare_scans(named(scan(seed=47), "2026-05-01"), BASE, SETTINGS)
    assert one.statistic_limit > three.statistic_limit
    assert any("only one earlier scan" in s for s in one.limitations)


def test_a_restless_plate_needs_larger_drops():
    restless = [named(scan(seed=60 + k, scatter=6e-4), f"2026-01-0{k + 1}") for k in range(3)]
    moved = named(scan(crack(1.5e-3), seed=48, scatter=6e-4), "2026-05-01")
    assert compare_scans(moved, restless, SETTINGS).indications == ()
    quiet = named(scan(crack(1.5e-3), seed=48), "2026-05-01")
    assert compare_scans(quiet, BASE, SETTINGS).indications != ()


def test_too_few_modes_conclude_nothing():
    few = tuple(range(8, COUNT))
    result = compare_scans(named(scan(seed=49, drop=few), "2026-05-01"), BASE, SETTINGS)
    assert result.statistic is None and result.reason
    assert [r.rule for r in result.rules_not_run] == ["change-since-baseline"]


def test_a_request_that_cannot_be_met_is_one_line():
    with pytest.raises(BadRequest, match="no baseline scan"):
        compare_scans(named(scan(), "2026-05-01"), [], SETTINGS)
    with pytest.raises(BadRequest, match="itself a baseline"):
        compare_scans(BASE[0], BASE, SETTINGS)


@pytest.mark.parametrize(
    ("change", "refused", "words"),
    [
        ({"state": "strung"}, True, "same state"),
        ({"state": "fitted-out"}, True, "parts fitted"),
        ({"state": "finished"}, False, "coat of finish"),
        ({"fittings": ("hitch pins",)}, True, "hitch pins"),
        ({"sensor": Sensor("microphone", place="treble corner")}, True, "Another kind of sensor"),
        ({"sensor": Sensor("contact", place="bass corner")}, False, "elsewhere"),
        ({"sensor": Sensor(place="treble corner")}, False, "not known for every scan"),
        ({"supports": "slings"}, False, "held differently"),
        ({"hours_in_room": 1.0}, False, "overnight"),
        ({"state": None}, False, "not known"),
    ],
)
def test_unlike_scans_are_said_to_be_unlike(change, refused, words):
    before = replace(STRIPPED, supports="four pads", sensor=Sensor("contact", place="treble corner"))
    told = changed_conditions(replace(before, **change), [before], 10, SETTINGS)
    assert any(words in s for s in told.sentences)
    assert (told.refused is not None) is refused
    assert changed_conditions(before, [before], 10, SETTINGS).sentences == ()


def test_what_is_refused_is_not_concluded_whatever_the_figures_say():
    other = replace(STRIPPED, fittings=("clamp",))
    result = compare_scans(named(scan(crack(2e-2), seed=50), "2026-05-01", other), BASE, SETTINGS)
    assert result.indications == ()
    assert "Nothing is concluded" in result.summary
    assert "clamp" in result.rules_not_run[0].reason


def test_finish_between_the_scans_hides_small_changes_and_not_large_ones():
    after = replace(STRIPPED, state="finished")
    small = named(scan(crack(8e-4), seed=51), "2026-05-01", after)
    assert compare_scans(small, BASE, SETTINGS).indications == ()
    assert compare_scans(replace(small, conditions=STRIPPED), BASE, SETTINGS).indications != ()
    large = np.zeros(COUNT)
    large[[20, 25, 31, 38, 44]] = -8e-3
    damped = np.where(np.arange(COUNT) % 4 == 0, 2.0, 1.0)
    result = compare_scans(named(scan(large, loss=damped, seed=51), "2026-05-01", after), BASE, SETTINGS)
    assert [i.id for i in result.indications] == ["C1"]
    assert result.indications[0].other_explanations[0] == COAT, "tried by a rebuilder: the coat was not among them"
    bare = compare_scans(replace(small, conditions=STRIPPED), BASE, SETTINGS)
    assert COAT not in bare.indications[0].other_explanations
    assert result.loss_statistic is None and all(p.loss_ratio is None and p.reason for p in result.pairs)


def test_old_indications_are_unchanged_and_others_new():
    old = Indication("R1", "prominent-ringing", "relevant", None, ("S1",), ("M7",), "rings", (), ())
    base = [replace(BASE[0], indications=(old,)), *BASE[1:]]
    fresh = replace(old, id="R2", modes=("M30",))
    later = named(scan(seed=52), "2026-05-01", indications=(old, fresh))
    assert [i.status for i in compare_scans(later, base, SETTINGS).carried] == ["unchanged", "new"]


def test_places_of_change_are_where_the_changed_modes_are_strong():
    _, shape = drawn()
    result = compare_scans(named(scan(crack(), seed=53), "2026-05-01"), BASE, SETTINGS)
    energy = shape**2 / np.sum(shape**2, axis=1, keepdims=True)
    size = np.abs(crack())
    expected = (size @ energy) / energy.mean(axis=0)
    assert result.where[0].weight == 1.0
    assert result.where[0].station in {STATIONS[k] for k in np.argsort(-expected)[:2]}


def test_a_place_where_every_mode_is_loud_is_not_named_for_that():
    def loud(s):
        at = lambda m: tuple(replace(x, amplitude_db=x.amplitude_db + 15 * (x.station == "S1")) for x in m.amplitudes)  # noqa: E731
        return replace(s, modes=tuple(replace(m, amplitudes=at(m)) for m in s.modes))

    base = [replace(b, scan=loud(b.scan)) for b in BASE]
    result = compare_scans(named(loud(scan(crack(), seed=53)), "2026-05-01"), base, SETTINGS)
    assert result.where[0].station != "S1"


def test_scatter_is_taken_from_the_neighbourhood_and_held_to_the_prior():
    rng = np.random.default_rng(3)
    f, given = np.linspace(100, 1500, 200), np.full((200, 3), 1e-5)
    same = scatter_level(f, 1e-5 * rng.standard_normal((200, 3)), given, SETTINGS)
    triple = scatter_level(f, 3e-5 * rng.standard_normal((200, 3)), given, SETTINGS)
    assert np.median(same) == pytest.approx(1.0, abs=0.2)
    assert np.median(triple) == pytest.approx(9.0, rel=0.2)
    alone = scatter_level(f, np.full((200, 1), 0.3), given[:, :1], SETTINGS)
    assert alone == pytest.approx(np.ones(200))


def test_a_wild_mode_speaks_for_itself_only():
    rng = np.random.default_rng(4)
    values = 1e-5 * rng.standard_normal((100, 3))
    values[50, 0] += 5e-3
    level = scatter_level(np.linspace(100, 1500, 100), values, np.full((100, 3), 1e-5), SETTINGS)
    assert level[50] > 100
    assert np.median(level) < 2.5


def test_baseline_frequencies_are_free_of_the_scans_temperatures():
    warm = join([scan(seed=1), scan(-1e-3, seed=2), scan(2e-3, seed=3)], True, SETTINGS)
    like = join([scan(seed=1), scan(seed=2), scan(seed=3)], True, SETTINGS)
    assert warm.log_frequency.mean == pytest.approx(like.log_frequency.mean, abs=2e-5)
    assert warm.shifts[1] == pytest.approx(np.log1p(-1e-3), abs=2e-5)
    with pytest.raises(ValueError, match="at least one scan"):
        join([], True, SETTINGS)


def test_false_discoveries_by_hand():
    chance = np.array([0.001, 0.2, 0.008, 0.039, 0.041, 0.6])  # Benjamini and Hochberg's steps: .0083 .0167 .025 ...
    assert false_discoveries(chance, 0.05).tolist() == [True, False, True, False, False, False]
    assert not false_discoveries(np.full(5, 0.5), 0.05).any()


def test_small_helpers():
    assert largest_mean(np.array([1.0, 9, 5, 7]), 3) == 7
    value, share = densest(np.array([0, 1e-5, 2e-5, -5e-3, -9e-3]), np.full(5, 1e-5))
    assert value == pytest.approx(1e-5, abs=1e-5) and share == pytest.approx(0.6)


def test_the_chance_of_a_miss_is_the_binomial_one():
    draws = np.random.default_rng(5).random((200_000, 10)) < (4 + 0.5) / 11
    assert miss_chance(4, 10, 10) == pytest.approx(np.mean(draws.sum(axis=1) < 2), abs=0.002)
    assert miss_chance(10, 10, 10) < 1e-6 < miss_chance(2, 10, 10)


def test_temperature_coefficient_and_its_range():
    """ASME B31.1, gray iron: 13.4 and 13.2 million psi at 70 and 200 F (second-hand; first column from memory), expansion 10.8e-6 per kelvin."""
    slope = (np.log(13.2 / 13.4) / ((200 - 70) / 1.8) + 10.8e-6) / 2
    shift = common_shift(-1.6e-3, 0.0, None, 20.0, SETTINGS)
    assert shift.apparent_k == pytest.approx(-1.6e-3 / slope, rel=0.02)
    assert shift.apparent_low_k == pytest.approx(1.6e-3 / 2.15e-4)
    assert shift.apparent_high_k == pytest.approx(1.6e-3 / 0.5e-4)
    assert shift.agrees is None and shift.reason
    unexplained = common_shift(-6e-3, 0.0, 20.0, 20.0, SETTINGS)
    assert unexplained.agrees is False
    same_as_before("comparison", without_figures(unexplained.sentence), part="more than warmth explains")


DAYS = np.array([0.0, 100, 200, 300, 400, 500])


@pytest.mark.parametrize(
    ("values", "course", "place"),
    [
        (np.zeros(6), "steady", None),
        (-4e-4 * DAYS / 500, "drift", None),
        (np.array([0, 0, 0, -4e-4, -4e-4, -4e-4]), "step", 3),
        (np.array([0, -4e-4, -4e-4, -4e-4, -4e-4, -4e-4]), "step", 1),
    ],
)
def test_drift_and_step_are_told_apart(values, course, place):
    for seed in range(20):
        noisy = values + 2e-5 * np.random.default_rng(seed).standard_normal(6)
        got, at, size = judge_course(DAYS, noisy, np.full(6, 2e-5))
        assert (got, at) == (course, place)
        assert size is None if course == "steady" else size == pytest.approx(-4e-4, abs=1e-4)


def test_modes_are_followed_through_time():
    steps = [0, 0, 0, 1, 1]
    scans = [named(scan(s * crack() - 1e-4 * k, seed=70 + k), f"2026-0{k + 1}-01") for k, s in enumerate(steps)]
    trend = follow(scans[::-1], True, SETTINGS)
    course = {m.mode: m for m in trend.modes}
    assert trend.dates == tuple(sorted(trend.dates))
    assert course["M20"].course == "step" and course["M20"].step_before == 3
    assert course["M20"].size_ppm == pytest.approx(-3000, rel=0.05)
    assert sum(m.course == "steady" for m in trend.modes) >= COUNT - 6
    short = follow(scans[:3], True, SETTINGS)
    assert all(m.course is None and m.reason for m in short.modes)


def test_trend_and_comparison_take_out_the_same_shared_change():
    """A reader sees both on one page; in a first version they parted by a tenth, with many modes fallen."""
    before = named(scan(), "2026-01-01")
    fallen = -7e-4 - 1e-3 * (np.arange(COUNT) % 3 == 0) * np.linspace(0.2, 1, COUNT)  # every third mode, each by more
    later = named(scan(change=fallen, seed=2), "2026-02-01")
    compared = compare_scans(later, [before], SETTINGS)
    trend = follow([before, later], True, SETTINGS)
    assert trend.shared_ppm[1] == pytest.approx(compared.common.shift_ppm, abs=5)
    told = {p.baseline_modes[0]: p.change_ppm for p in compared.pairs}
    both = [(m.change_ppm[1], told[m.mode]) for m in trend.modes if m.mode in told and m.change_ppm[1]]
    assert len(both) > 50
    assert np.allclose(*zip(*both, strict=True), atol=10)


def test_empty_and_tiny_scans_conclude_nothing_and_do_not_fail():
    nothing = replace(scan(), modes=())
    no_taps = replace(nothing, strikes=())
    for later, earlier in [
        (nothing, scan()),
        (scan(), nothing),
        (nothing, nothing),
        (no_taps, scan()),
        (scan(), no_taps),
    ]:
        result = compare_scans(named(later, "2026-05-01"), [named(earlier, "2026-01-01")], SETTINGS)
        assert result.indications == () and result.summary
        assert (result.statistic is None) is (not later.modes or not earlier.modes)
    lone = replace(scan(), strikes=scan().strikes[:1])
    found = compare_scans(named(lone, "2026-05-01"), BASE, SETTINGS)
    assert found.indications == () and found.unlike
    words_held(found, "one place in common")
