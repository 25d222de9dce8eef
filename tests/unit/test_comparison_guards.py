"""What keeps the comparison from a wrong call: one wild mode, modes that may be two in one, a room, a part that rattles."""

import numpy as np
import pytest
from msgspec.structs import replace

from tapscan.errors import BadRequest
from tapscan.records import Indication, RoomRing, Screening
from tapscan.screening.compare.compare_scans import compare_scans, with_comparison
from tapscan.screening.compare.condition_changes import ConditionChanges
from tapscan.screening.compare.limits_told import HEARD_LESS, MICROPHONE
from tapscan.screening.compare.measure import measure
from tapscan.screening.compare.trend import follow
from tapscan.screening.disposition import LOOK, NOTHING, STANDS, STANDS_ALONE, Outcome, dispose, not_compared
from tapscan.sensors import Sensor
from tapscan.settings.compare import Compare
from tapscan.settings.pairing import Pairing
from tapscan.settings.repeatability import Repeatability
from tests.compared import BASE, COUNT, SETTINGS, STRIPPED, crack, named, scan, words_held
from tests.rule_scans import late
from tests.snapshots import same_as_before, without_figures


def test_one_wild_mode_makes_no_call():
    lone = np.zeros(COUNT)
    lone[33] = -5e-3
    assert compare_scans(named(scan(lone, seed=43), "2026-05-01"), BASE, SETTINGS).indications == ()


def test_by_microphone_a_single_baseline_scan_allows_for_the_room():
    mic = replace(STRIPPED, sensor=Sensor("microphone"))
    base = [replace(b, conditions=mic) for b in BASE]
    moved = named(scan(crack(2e-3), seed=48), "2026-05-01", mic)
    assert compare_scans(moved, base, SETTINGS).indications != ()
    alone = compare_scans(moved, base[:1], SETTINGS)
    assert alone.indications == ()
    assert MICROPHONE in alone.limitations
    words_held(alone, "by microphone, one baseline scan")


def test_by_microphone_most_of_the_stated_error_is_the_rooms_and_repeats():
    """Simulated rooms: frequencies scatter from scan to scan by a third of what the fit states, for the room errs alike each time."""
    mic = replace(STRIPPED, sensor=Sensor("microphone"))

    def unsure(scan_):
        modes = tuple(replace(m, frequency_sd_hz=4e-4 * m.frequency_hz) for m in scan_.modes)
        return replace(scan_, modes=modes, room=RoomRing(-25.0, 0.7, 0.6, 0.8))

    base = [replace(b, scan=unsure(b.scan), conditions=mic) for b in BASE]
    moved = named(unsure(scan(crack(2.5e-3), seed=48)), "2026-05-01", mic)
    assert [i.id for i in compare_scans(moved, base, SETTINGS).indications] == ["C1"]
    as_stated = SETTINGS.but(Repeatability, fit_factor_room=SETTINGS.repeatability.fit_factor)
    assert compare_scans(moved, base, as_stated).indications == ()
    dry = [replace(b, scan=replace(b.scan, room=None)) for b in base]
    free = replace(moved, scan=replace(moved.scan, room=None))
    assert compare_scans(free, dry, SETTINGS).indications == (), (
        "told dry: the other fit, whose errors are stated too small"
    )


def test_by_microphone_the_odds_over_all_modes_decide_and_no_weight_is_named():
    """The drops that by pickup look like half a kilogram: a room blurs what tells it from a crack."""
    mic = replace(STRIPPED, sensor=Sensor("microphone"))
    base = [replace(b, conditions=mic) for b in BASE]
    rng = np.random.default_rng(11)
    drops = -4e-3 * rng.exponential(size=COUNT)
    drops[::4] = 0.0  # nodal lines
    by_pickup = compare_scans(named(scan(drops, seed=48), "2026-05-01"), BASE, SETTINGS)
    by_microphone = compare_scans(named(scan(drops, seed=48), "2026-05-01", mic), base, SETTINGS)
    assert by_pickup.explanation is not None and by_microphone.explanation is None
    assert (by_pickup.by_likelihood_ratio, by_microphone.by_likelihood_ratio) == (False, True)
    assert by_microphone.statistic_limit == pytest.approx(np.log(SETTINGS.compare.fall_likelihood_ratio))
    (told,) = by_microphone.indications
    assert told.conditions[0].unit == "to 1"
    assert told.conditions[0].limit == pytest.approx(SETTINGS.compare.fall_likelihood_ratio)
    assert told.stations and "ring strongest at" in told.sentence
    words_held(by_microphone, "by microphone, the odds decide")


def test_small_drops_of_several_modes_are_told_by_the_odds_where_no_mode_stands_out():
    mic = replace(STRIPPED, sensor=Sensor("microphone"))
    base = [replace(b, conditions=mic) for b in BASE]
    few = np.zeros(COUNT)
    few[8::5] = -1.1e-4
    found = compare_scans(named(scan(few, seed=48), "2026-05-01", mic), base, SETTINGS)
    largest = sorted(p.normalised_drop for p in found.pairs if p.judged)[-3:]
    assert np.mean(largest) < SETTINGS.compare.drop_limit_three, "the three largest would not have called it"
    assert [i.id for i in found.indications] == ["C1"]
    assert found.where and found.indications[0].stations, "a call by odds names places, too"
    still = compare_scans(named(scan(seed=48), "2026-05-01", mic), base, SETTINGS)
    assert still.by_likelihood_ratio and still.indications == () and still.statistic < 0


def with_neighbours(scan_, near, apart=1e-3):
    """The modes numbered `near`, each with a second one beside it, a fifth of a linewidth away and as strong."""
    twins = [replace(scan_.modes[k], id=f"N{k}", frequency_hz=scan_.modes[k].frequency_hz * (1 + apart)) for k in near]
    return replace(scan_, modes=(*scan_.modes, *twins))


def test_a_mode_that_may_be_two_in_one_is_not_judged():
    """An unchanged simulated plate was called because a later scan heard two close modes as one, with a small error stated."""
    near = (20, 31, 44)
    base = [replace(b, scan=with_neighbours(b.scan, near)) for b in BASE]
    merged = np.zeros(COUNT)
    merged[list(near)] = -2e-3
    later = named(scan(merged, seed=49), "2026-05-01")
    assert compare_scans(later, base, SETTINGS).indications == ()
    without = compare_scans(later, base, SETTINGS.but(Pairing, merged_reach=0.0))
    assert [i.id for i in without.indications] == ["C1"]
    parted = named(with_neighbours(scan(merged, seed=49), near), "2026-05-01")
    assert [i.id for i in compare_scans(parted, base, SETTINGS).indications] == ["C1"], "both heard again: judged"


def test_by_microphone_lost_modes_are_listed_and_make_no_indication():
    mic = replace(STRIPPED, sensor=Sensor("microphone"))
    base = [replace(b, conditions=mic) for b in BASE]
    gone = (12, 18, 25, 36, 41, 47)
    result = compare_scans(named(scan(seed=46, drop=gone), "2026-05-01", mic), base, SETTINGS)
    assert result.indications == ()
    assert sum(u.counts for u in result.lost) == len(gone)
    assert MICROPHONE in result.limitations


def test_by_microphone_large_rises_raise_the_limit_of_a_single_baseline():
    """A room moves modes up as well as down; a crack moves none up."""
    mic = replace(STRIPPED, sensor=Sensor("microphone"))
    base = [replace(BASE[0], conditions=mic)]
    moved = 2e-2 * np.random.default_rng(3).standard_normal(COUNT) * (np.arange(COUNT) % 4 == 0)
    result = compare_scans(named(scan(moved, seed=50), "2026-05-01", mic), base, SETTINGS)
    assert result.indications == ()
    assert result.statistic_limit > SETTINGS.compare.drop_limit_one
    blind = compare_scans(named(scan(moved, seed=50), "2026-05-01", mic), base, SETTINGS.but(Compare, rises_free=100.0))
    assert [i.id for i in blind.indications] == ["C1"]


@pytest.mark.parametrize(("which", "words"), [("later", "were held still"), ("baseline", "make that the baseline")])
def test_while_a_part_rattles_nothing_is_concluded_until_it_was_held(which, words):
    """A rattling screw moves, adds and hides modes as much as a crack does (docs/comparison.md)."""
    rattle = tuple(late(i) for i in range(12))
    cracked = named(scan(crack(2e-2), seed=50), "2026-05-01")
    buzzing = {"late_sounds": rattle, "late_sounds_reason": None}
    held = {**buzzing, "parts_held": True}

    def compared(facts):
        if which == "later":
            return compare_scans(replace(cracked, scan=replace(cracked.scan, **facts)), BASE, SETTINGS)
        return compare_scans(cracked, [replace(b, scan=replace(b.scan, **facts)) for b in BASE], SETTINGS)

    result = compared(buzzing)
    assert result.indications == () and "Nothing is concluded" in result.summary
    assert "buzzed" in result.rules_not_run[0].reason and words in result.rules_not_run[0].reason
    assert compared(held).indications != ()


def test_a_baseline_scan_that_rattled_is_left_out_while_others_are_quiet():
    """Its modes would widen the plate's own scatter; its indications still tell what is old."""
    noisy = {"late_sounds": tuple(late(i) for i in range(12)), "late_sounds_reason": None}
    first, *others = BASE
    rattled = replace(first, scan=replace(first.scan, **noisy))
    cracked = named(scan(crack(2e-2), seed=50), "2026-05-01")
    long = Indication("D1", "long-decay", "relevant", None, ("S1",), (), "Rings on.", (), ())
    cracked, rattled = (replace(s, indications=(long,)) for s in (cracked, rattled))
    found = compare_scans(cracked, [rattled, *others], SETTINGS)
    assert found.baselines == tuple(b.name for b in others)
    assert any(first.name in words and "left out" in words for words in found.limitations)
    assert found.statistic == compare_scans(cracked, others, SETTINGS).statistic
    assert [i.id for i in found.indications] == ["C1"]
    assert [i.status for i in found.carried] == ["unchanged"]
    tone = Indication("R1", "prominent-ringing", "relevant", None, ("S1",), ("M10",), "Rings.", (), ())
    with_modes, before = (replace(s, indications=(tone,)) for s in (cracked, rattled))
    assert compare_scans(with_modes, [before, *others], SETTINGS).carried[0].status == "unchanged"
    other = replace(before, indications=(replace(tone, modes=("M30",)),))
    assert compare_scans(with_modes, [other, *others], SETTINGS).carried[0].status == "new"
    assert not any("left out" in words for words in compare_scans(cracked, BASE, SETTINGS).limitations)


def test_a_comparison_without_an_answer_is_no_nothing_found():
    """A reader of the headline took "nothing found" for the answer of the comparison he had asked for."""
    rattling = replace(
        BASE[0], scan=replace(BASE[0].scan, late_sounds=tuple(late(i) for i in range(12)), late_sounds_reason=None)
    )
    now = scan(seed=51)
    told = dispose(now, [], [], SETTINGS)
    alone = Screening(now, told.disposition, told.headline, told.summary, told.next_steps, (), (), (), "")
    compared = with_comparison(alone, compare_scans(named(now, "2026-05-01"), [rattling], SETTINGS), SETTINGS)
    assert alone.headline == NOTHING != compared.headline
    assert "could not be compared" in compared.headline
    assert ".." not in compared.summary
    same_as_before("comparison", without_figures(compared.summary), part="no answer")
    assert not_compared(Outcome(told.disposition, STANDS, "", ()), "why").headline == STANDS_ALONE
    assert "gave no answer" in not_compared(Outcome(told.disposition, LOOK, "A finding.", ()), "why").summary
    clean = with_comparison(alone, compare_scans(named(now, "2026-05-01"), BASE, SETTINGS), SETTINGS)
    assert clean.headline == NOTHING


@pytest.mark.parametrize("less", ["later", "baseline"])
def test_many_modes_heard_on_one_side_only_are_a_matter_of_hearing(less):
    """A cut leaves as many modes as there were (Weyl); beside an unheard rattle a simulated scan had missed 30 of 130."""
    gone = (12, 18, 25, 36, 41, 47)
    few = [f"M{k}" for k in gone]
    if less == "later":
        result = compare_scans(named(scan(seed=46, drop=gone), "2026-05-01"), BASE, SETTINGS)
    else:
        base = [replace(b, scan=replace(b.scan, modes=tuple(m for m in b.scan.modes if m.id not in few))) for b in BASE]
        result = compare_scans(named(scan(seed=46), "2026-05-01"), base, SETTINGS)
    assert sum(u.counts for u in (*result.lost, *result.gained)) == len(gone)
    assert result.indications == ()
    assert HEARD_LESS in result.limitations
    words_held(result, f"the {less} scan heard less")


ANY_SIDE = SETTINGS.but(Compare, lost_and_new=0.0)  # the guards below, without the one above


def with_hum(scan_, frequencies, origin="hum"):
    """The scan with steady tones among its modes, heard everywhere and as strong as any."""
    like = max(scan_.modes, key=lambda m: sum(s.amplitude_db for s in m.amplitudes))
    tones = [replace(like, id=f"H{k}", frequency_hz=f, origin=origin) for k, f in enumerate(frequencies)]
    return replace(scan_, modes=(*scan_.modes, *tones))


def test_hum_that_came_or_went_is_no_change_of_the_plate():
    """Simulated plates scanned beside 50 Hz mains and later beside 60 Hz were called for their harmonics."""
    base = [replace(b, scan=with_hum(b.scan, (100.0, 150.0, 200.0, 300.0))) for b in BASE]
    later = with_hum(scan(seed=61), (120.0, 180.0, 240.0, 360.0))
    result = compare_scans(named(later, "2026-05-01"), base, SETTINGS)
    assert result.indications == ()
    assert not [u for u in (*result.lost, *result.gained) if u.counts]
    taken = [replace(b, scan=with_hum(b.scan, (100.0, 150.0, 200.0, 300.0), "plate")) for b in BASE]
    found = compare_scans(
        named(with_hum(scan(seed=61), (120.0, 180.0, 240.0, 360.0), "plate"), "2026-05-01"), taken, ANY_SIDE
    )
    assert [i.id for i in found.indications] == ["C3"], "were they the plate's, they would count"


def test_a_steady_tone_that_may_hide_a_mode_makes_it_no_lost_one():
    gone = (12, 18, 25, 36, 41, 47)
    later = scan(seed=46, drop=gone)
    hidden = [BASE[0].scan.modes[k].frequency_hz for k in gone]
    result = compare_scans(named(with_hum(later, hidden, "room"), "2026-05-01"), BASE, ANY_SIDE)
    assert result.indications == ()
    assert compare_scans(named(later, "2026-05-01"), BASE, ANY_SIDE).indications != ()


def test_a_mode_that_a_tone_beside_it_may_have_pulled_is_not_judged():
    near = (20, 31, 44)
    pulled = np.zeros(COUNT)
    pulled[list(near)] = -2e-3
    later = scan(pulled, seed=49)
    assert [i.id for i in compare_scans(named(later, "2026-05-01"), BASE, SETTINGS).indications] == ["C1"]
    beside = [scan(seed=49).modes[k].frequency_hz * 1.001 for k in near]
    assert compare_scans(named(with_hum(later, beside), "2026-05-01"), BASE, SETTINGS).indications == ()


def test_hum_is_no_mode_that_is_followed_through_time():
    trend = follow([replace(b, scan=with_hum(b.scan, (100.0, 150.0))) for b in BASE], True, SETTINGS)
    assert len(trend.modes) == COUNT
    assert not {"H0", "H1"} & {m.mode for m in trend.modes}


def test_a_tone_of_the_room_is_paired_with_no_mode():
    """A fan's tone near a mode was taken for that mode, 1.3 % lower."""
    lowered = scan(seed=62).modes[40].frequency_hz * 0.99
    later = with_hum(scan(seed=62, drop=(40,)), (lowered,), "room")
    result = compare_scans(named(later, "2026-05-01"), BASE, SETTINGS)
    assert "H0" not in {p.later_mode for p in result.pairs}


def test_a_scan_named_twice_is_no_second_baseline_scan():
    """It would show a plate without scatter."""
    with pytest.raises(BadRequest, match="named twice"):
        compare_scans(named(scan(seed=50), "2026-05-01"), [BASE[0], BASE[0]], SETTINGS)


def test_tones_that_rose_weigh_nothing_where_places_are_named():
    few = np.zeros(COUNT)
    few[8::5], few[10::5] = -2e-4, 1e-4
    found = measure(scan(few, seed=48), [b.scan for b in BASE], False, ConditionChanges(), SETTINGS).frequency
    assert found.by_likelihood_ratio and found.statistic > found.limit
    assert (found.weight[found.judged & (found.score > 0)] > 0).all()
    assert (found.weight[found.score < 0] == 0).all() and (found.score < 0).sum() > 10


def test_a_plate_warmer_at_one_end_is_not_judged_by_its_frequencies():
    even, warm = replace(STRIPPED, iron_end_c=20.9), replace(STRIPPED, iron_end_c=21.0)
    cracked, other_end = scan(crack(3e-3), seed=48), replace(STRIPPED, iron_end_c=18.5)
    assert compare_scans(named(cracked, "2026-05-01", even), BASE, SETTINGS).indications != ()
    for later, base in (
        (warm, BASE),
        (other_end, BASE),
        (STRIPPED, [replace(BASE[0], conditions=warm), *BASE[1:]]),
    ):
        told = compare_scans(named(cracked, "2026-05-01", later), base, SETTINGS)
        assert [i for i in told.indications if i.id == "C1"] == []
        assert (told.statistic, told.good_news) == (None, None)
        assert told.reason in told.unlike
        assert "warmer at one end" in told.reason


def test_two_readings_of_the_iron_give_their_middle():
    both = replace(STRIPPED, iron_c=20.0, iron_end_c=20.8)
    told = compare_scans(named(scan(0.0, seed=41), "2026-05-01", both), BASE, SETTINGS)
    assert told.common.thermometer_k == pytest.approx(0.4)
