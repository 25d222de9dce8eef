"""A small drop beside one earlier scan, or beside scans of one day: neither a finding nor good news, until the plate was seen to repeat on two days."""

import numpy as np
import pytest
from msgspec.structs import replace

from tapscan.places import STATES
from tapscan.screening.compare.compare_scans import compare_scans
from tapscan.screening.compare.measure import more_modes
from tapscan.screening.compare.repeatability import any_supports_sd, prior_frequency_sd, risen_level
from tapscan.screening.conclude import concluded
from tapscan.screening.disposition import LOOK, NOTHING, SMALL
from tapscan.screening.next_steps import LOOK as LOOK_STEP
from tapscan.screening.next_steps import SETTLE, STOP, may_tap, settling
from tapscan.screening.step import COATED, NEVER, NEVER_TAPPED
from tapscan.settings.compare import Compare
from tests.compared import BASE, COUNT, SETTINGS, crack, drawn, named, scan
from tests.every import each
from tests.register import built

SMALL_CRACK = crack(4e-4)
CRACK = crack(1.2e-3)
LARGE_CRACK = crack(2e-2)
ONE_DAY = [replace(b, date="2026-01-01") for b in BASE]


def beside(change, baseline, again=(), **more):
    return compare_scans(named(scan(change, seed=60, **more), "2026-05-03"), baseline, SETTINGS, again=again)


def said(comparison, state="stripped"):
    """Disposition, headline and steps of a scan that shows nothing by itself."""
    now = replace(scan(seed=60), state=state)
    alone = replace(built.screening(("ff" * 32,)), scan=now, indications=(), rules_not_run=())
    return concluded(replace(alone, comparison=comparison), SETTINGS)


@each("baseline", [BASE[:1], ONE_DAY])
def test_a_small_drop_is_left_open_and_a_large_one_is_a_finding(baseline):
    small, large, none = (beside(c, baseline) for c in (SMALL_CRACK, LARGE_CRACK, 0.0))
    assert small.indications == () and small.undecided and small.good_news is None
    assert [i.id for i in large.indications] == ["C1"] and large.undecided is None
    assert none.indications == () and none.undecided is None and none.good_news
    found = said(small)
    assert (found.disposition, found.headline) == ("inconclusive", SMALL)
    assert SETTLE.line in found.next_steps and LOOK_STEP.line in found.next_steps
    assert said(none).headline == NOTHING


def test_three_scans_over_two_days_decide():
    found = beside(SMALL_CRACK, BASE)
    assert [i.id for i in found.indications] == ["C1"] and found.undecided is None


def test_a_finding_of_its_own_keeps_the_disposition():
    flawed = replace(built.screening(("ff" * 32,)), scan=scan(seed=60), comparison=beside(SMALL_CRACK, BASE[:1]))
    found = concluded(flawed, SETTINGS)
    assert (found.disposition, found.headline) == ("relevant indication", LOOK)
    assert flawed.comparison.undecided in found.summary


def test_a_plate_that_may_carry_strings_is_not_lifted():
    assert [s.code for s in settling("strung", (STOP,))] == ["stop", "look"]
    assert "settle" not in [s.code for s in settling(None, ())]
    assert [s.code for s in settling("stripped", ())] == ["look", "settle"]
    for state in (None, *STATES):
        for step in settling(state, ()):
            assert not step.acts & (NEVER if may_tap(state) else NEVER_TAPPED)
            assert state not in COATED or "no finish" not in step.text.lower()


def now_scans(change, days, scatter=2e-5):
    return [named(scan(change, seed=70 + k, scatter=scatter), day) for k, day in enumerate(days)]


def test_scanned_twice_more_on_another_day_the_plate_answers():
    two_days, one_day = ("2026-05-01", "2026-05-02"), ("2026-05-03", "2026-05-03")
    assert beside(CRACK, BASE[:1]).undecided
    narrowed = beside(CRACK, BASE[:1], now_scans(CRACK, two_days))
    assert [i.id for i in narrowed.indications] == ["C1"], "its own scatter is small, so the drop is one"
    assert beside(CRACK, BASE[:1], now_scans(CRACK, one_day)).undecided, "one day shows no other day"
    assert beside(CRACK, BASE[:1], now_scans(CRACK, two_days[:1])).undecided, "one more is not two"
    loose = beside(CRACK, BASE[:1], now_scans(CRACK, two_days, scatter=1e-3))
    assert loose.indications == (), "a plate that moves so far by itself"


def test_a_crack_that_came_between_two_scans_does_not_pass_for_scatter():
    """Supports raise as many modes as they lower; a crack raises none."""
    frequency, _ = drawn()
    change = crack(5e-3) - 2e-3 * (np.arange(COUNT) % 3 == 0)
    cracked, sound = (risen_level(scan(seed=80), scan(c, seed=81), frequency, SETTINGS) for c in (change, 0.0))
    assert (cracked < 1.5 * sound).all()
    loose = risen_level(scan(seed=80, scatter=5e-4), scan(seed=81, scatter=5e-4), frequency, SETTINGS)
    assert np.median(loose) > 20


def test_until_seen_to_repeat_the_scatter_of_any_supports_counts():
    f = np.array([120.0, 400.0, 1200.0])
    assert (any_supports_sd(f, SETTINGS) > 3 * prior_frequency_sd(f, True, SETTINGS)).all()
    (one,) = (p.change_sd_ppm for p in beside(0.0, BASE[:1]).pairs if p.later_mode == "M20")
    (three,) = (p.change_sd_ppm for p in beside(0.0, BASE).pairs if p.later_mode == "M20")
    assert one > 2 * three


def test_the_limit_rises_with_the_number_of_modes():
    """The largest of n Student t of 4 degrees of freedom grow as the fourth root of n."""
    usual = SETTINGS.compare.usual_modes
    assert more_modes(int(usual / 2), SETTINGS) == 1.0
    assert more_modes(int(16 * usual), SETTINGS) == pytest.approx(2.0)
    found = compare_scans(named(scan(seed=60), "2026-05-03"), BASE, SETTINGS.but(Compare, usual_modes=10.0))
    assert found.statistic_limit > 1.3 * SETTINGS.compare.drop_limit_three


def test_the_largest_drops_are_told_uncapped():
    found = beside(LARGE_CRACK, BASE)
    assert found.statistic <= SETTINGS.compare.score_cap < found.largest_drops[0].normalised_drop
    assert {p.later_mode for p in found.largest_drops} == {"M20", "M44", "M31"}


def test_a_common_change_asks_for_twelve_modes_that_hold_most_of_the_sound():
    shifted = beside(-1e-3, BASE)
    assert shifted.common is not None and shifted.common_reason is None
    apart = np.linspace(-0.02, 0.0, COUNT) * (np.arange(COUNT) % 6 > 0)
    few = beside(apart - 1e-3, BASE)
    assert few.common is None and "are needed" in few.common_reason
    strong = scan(-1e-3 - 4e-3 * (np.arange(COUNT) % 4 == 0), seed=60)
    loud = [
        replace(m, amplitudes=tuple(replace(a, amplitude_db=a.amplitude_db + 20) for a in m.amplitudes)) if k % 4 == 0 else m
        for k, m in enumerate(strong.modes)
    ]  # fmt: skip
    faint = compare_scans(named(replace(strong, modes=tuple(loud)), "2026-05-03"), BASE, SETTINGS)
    assert faint.common is None and "% of the sound" in faint.common_reason
