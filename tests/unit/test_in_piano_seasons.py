"""Two scans of a plate in its piano at either visit, seasons apart. Mode lists by chance."""

import numpy as np
import pytest
from msgspec.structs import replace

from tapscan.screening.compare.compare_scans import compare_scans
from tapscan.screening.piano.compare import TWICE
from tapscan.screening.piano.twice import FEW_IN_BAND, changed_twice
from tapscan.screening.rules import change_in_piano as rule
from tests.compared import COUNT, SETTINGS, STRIPPED, named, scan
from tests.every import each
from tests.snapshots import same_as_before, without_figures

LIMITS = SETTINGS.piano
STRUNG = replace(STRIPPED, state="strung")
MARCH, SEPTEMBER = "2026-03-02", "2026-09-14"
LOW, MIDDLE, HIGH = (
    (50, LIMITS.twice_low_hz),
    (300, LIMITS.twice_high_hz),
    (LIMITS.twice_high_hz, 5000),
)
FALLEN = np.where(np.arange(COUNT) % 4, 0.0, -0.03)


def other(heard, db, bands=((0, 5000),), seed=9):
    """The same tones; those within `bands` with other strengths over the places."""
    rng = np.random.default_rng(seed)
    modes = []
    for m in heard.modes:
        by = db * rng.standard_normal(len(m.amplitudes)) * any(low < m.frequency_hz < high for low, high in bands)
        louder = zip(m.amplitudes, by, strict=True)
        modes.append(replace(m, amplitudes=tuple(replace(a, amplitude_db=a.amplitude_db + d) for a, d in louder)))
    return replace(heard, modes=tuple(modes))


def visit(day, names, change=0.0, parted=(), rough_db=0.0, **more):
    """Two scans of one visit. `parted` : bands in which strengths have moved since the other one. `rough_db` : how far each is hit otherwise."""
    found = []
    for name in names:
        heard = other(
            scan(change, seed=ord(name), scatter=3e-4, state="strung", **more), 6.0 if parted else 0.0, parted
        )
        found.append(replace(named(other(heard, rough_db, seed=90 + ord(name)), day, STRUNG), name=f"A1/{name}"))
    return found


def both(before, after):
    return compare_scans(after[1], before, SETTINGS, again=after[:1])


def mean_of(before, after):
    """Of the four figures that one scan of either visit has."""
    return np.mean([compare_scans(b, [a], SETTINGS).statistic for a in before for b in after])


BEFORE = visit(MARCH, "ab")


def test_two_scans_at_either_visit_count_together_across_seasons():
    told = both(BEFORE, visit(SEPTEMBER, "cd", parted=(LOW, HIGH)))
    assert told.around == "seasons" and told.twice and told.baselines == ("A1/b", "A1/a")
    assert told.statistic > told.statistic_limit == LIMITS.season_twice_limit
    assert TWICE["seasons"].format(before="A1/a and A1/b", after="A1/c and A1/d") in told.limitations
    (found,) = told.indications
    assert found.rule == rule.NAME and found.conditions[0].name == rule.BEYOND_SCREWS
    same_as_before("comparison", without_figures(found.sentence), part="in the piano, across seasons")


@each(("parted", "found"), [((), False), ((MIDDLE,), False), ((HIGH,), True), ((LOW, HIGH), True)])
def test_strengths_of_the_highest_tones_tell_and_those_of_the_middle_do_not(parted, found):
    told = both(BEFORE, visit(SEPTEMBER, "cd", parted=parted))
    assert told.twice and bool(told.indications) is found, told.statistic


def test_the_lowest_tones_count_with_the_mean_of_the_four_figures():
    """Tones that fell and are strong where they were, but for the lowest."""
    after = visit(SEPTEMBER, "cd", FALLEN, parted=(LOW,))
    told = both(BEFORE, after)
    mean = mean_of(BEFORE, after)
    assert mean + 0.5 < told.statistic < mean + 4
    as_before = both(BEFORE, visit(SEPTEMBER, "cd", FALLEN))
    assert as_before.statistic == pytest.approx(mean_of(BEFORE, visit(SEPTEMBER, "cd", FALLEN)), abs=0.3)


def test_the_highest_tones_count_beside_their_own_limit():
    figures = []
    for limit in (LIMITS.season_twice_high_limit, 2 * LIMITS.season_twice_high_limit):
        other_limit = replace(SETTINGS, piano=replace(LIMITS, season_twice_high_limit=limit))
        after = visit(SEPTEMBER, "cd", parted=(HIGH,))
        figures.append(compare_scans(after[1], BEFORE, other_limit, again=after[:1]).statistic)
    assert figures[0] == pytest.approx(2 * figures[1])


def test_how_far_scans_of_one_visit_differ_is_taken_out():
    """Places hit otherwise every time: one scan of each takes that for a change in part."""
    rough = visit(MARCH, "ab", rough_db=1.5), visit(SEPTEMBER, "cd", rough_db=1.5)
    exact = BEFORE, visit(SEPTEMBER, "cd")
    once = [compare_scans(after[1], before[1:], SETTINGS).statistic for before, after in (rough, exact)]
    assert once[0] > once[1] + 1.5 and not both(*rough).indications
    one = BEFORE[0].scan
    assert changed_twice((one, one), (one, one), "seasons", SETTINGS) == pytest.approx(0.0, abs=1e-9)


def test_with_hardly_a_low_tone_one_scan_of_each_counts():
    low = [n for n, m in enumerate(BEFORE[0].scan.modes) if m.frequency_hz < LIMITS.twice_low_hz][: 1 - FEW_IN_BAND]
    few = visit(SEPTEMBER, "cd", drop=low)
    assert not both(visit(MARCH, "ab", drop=low), few).twice
    assert both(visit(MARCH, "ab", drop=low[1:]), visit(SEPTEMBER, "cd", drop=low[1:])).twice
