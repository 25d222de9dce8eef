"""What two scans of a plate in its piano are measured by. Mode lists by chance; expected values by hand."""

import numpy as np
import pytest
from msgspec.structs import replace

from tapscan.screening.compare.pairing import pair_modes
from tapscan.screening.piano.measure import WELL_KNOWN, measure
from tests.compared import COUNT, SETTINGS, STATIONS, drawn, scan

LIMITS = SETTINGS.piano
HZ = drawn()[0]
INSIDE = (LIMITS.lowest_hz < HZ) & (LIMITS.highest_hz > HZ)
JOB, SEASONS = "one job", "seasons"


def strung(change=0.0, seed=2, scatter=1e-5):
    return scan(change, seed=seed, scatter=scatter, state="strung")


def some(of, fall):
    out = np.zeros(COUNT)
    out[of] = -fall
    return out


def with_modes(scan_, chosen, make):
    return replace(scan_, modes=tuple(make(m) if i in chosen else m for i, m in enumerate(scan_.modes)))


BEFORE = strung(seed=1)
SAME = measure(BEFORE, strung(), JOB, SETTINGS)


def test_what_all_tones_share_is_no_drop():
    moved = measure(BEFORE, strung(-5e-4 * np.ones(COUNT)), JOB, SETTINGS)
    assert moved.pairing.shift == pytest.approx(-5e-4, abs=2e-5)
    assert np.abs(moved.change).max() < 1e-4 and moved.statistic == pytest.approx(SAME.statistic, abs=0.1)


def test_only_tones_of_the_band_count():
    assert len(SAME.pairing.pairs) > INSIDE.sum()
    high = measure(BEFORE, strung(some(np.flatnonzero(~INSIDE)[::4], 6e-4)), JOB, SETTINGS)
    low = measure(BEFORE, strung(some(np.flatnonzero(INSIDE)[::3], 6e-4)), JOB, SETTINGS)
    assert high.statistic < SAME.statistic + 0.1 and low.statistic > SAME.statistic + 0.5
    assert not high.judged[HZ[high.pairing.pairs[:, 0]] > LIMITS.highest_hz].any()


def test_a_tone_that_is_strong_at_other_places_tells_no_drop():
    """Its unlikeness counts, its fall does not."""
    chosen = np.flatnonzero(INSIDE)[::4]

    def turned(mode):
        levels = [a.amplitude_db for a in mode.amplitudes]
        return replace(
            mode, amplitudes=tuple(replace(a, amplitude_db=d) for a, d in zip(mode.amplitudes, levels[::-1], strict=True))
        )  # fmt: skip

    found = measure(BEFORE, with_modes(strung(some(chosen, 3e-4)), set(chosen), turned), JOB, SETTINGS)
    turned_ones = found.pairing.shape_correlation < LIMITS.alike
    assert turned_ones.any() and not found.judged[turned_ones].any()
    assert found.unlike > SAME.unlike and found.drops < SAME.drops + 0.3


def test_tones_of_strings_are_not_the_plates():
    chosen = set(range(0, COUNT, 2))
    heard = with_modes(strung(), chosen, lambda m: replace(m, origin="string"))
    kept = {int(i) for i in measure(BEFORE, heard, JOB, SETTINGS).pairing.pairs[:, 0]}
    assert kept and not kept & chosen


@pytest.mark.parametrize(("around", "least"), [(JOB, LIMITS.job_ppm), (SEASONS, LIMITS.season_ppm)])
def test_a_drop_is_told_in_what_screws_do_and_the_fits_do_not_know(around, least):
    sharp = measure(BEFORE, strung(), around, SETTINGS)
    assert sharp.sd.min() >= 1e-6 * least and np.median(sharp.sd) == pytest.approx(1e-6 * least, rel=0.01)
    sd_hz = 1e-3
    vague = with_modes(strung(), range(COUNT), lambda m: replace(m, frequency_sd_hz=sd_hz * m.frequency_hz))
    found = measure(BEFORE, vague, around, SETTINGS)
    assert found.sd.min() == pytest.approx(np.hypot(1e-6 * least, LIMITS.fit_factor * sd_hz), rel=0.01)


def test_across_seasons_a_pair_that_scatters_more_is_judged_by_its_own_scatter():
    wild = strung(scatter=3e-3)
    found = measure(BEFORE, wild, SEASONS, SETTINGS)
    assert np.median(found.sd) > 1.1e-6 * LIMITS.season_ppm
    assert np.median(measure(BEFORE, wild, JOB, SETTINGS).sd) == pytest.approx(1e-6 * LIMITS.job_ppm, rel=0.01)


def test_tones_that_are_hardly_known_tell_no_scatter():
    astray = np.zeros(COUNT)
    astray[::4], astray[2::4] = 6e-3, -6e-3
    vague = with_modes(
        strung(astray), range(0, COUNT, 2), lambda m: replace(m, frequency_sd_hz=WELL_KNOWN * m.frequency_hz)
    )
    assert measure(BEFORE, vague, SEASONS, SETTINGS).sd.min() == pytest.approx(1e-6 * LIMITS.season_ppm, rel=0.01)


def test_tones_that_rose_are_no_drops():
    """Tightened screws."""
    chosen = np.flatnonzero(INSIDE)[::4]
    rose, fell = (measure(BEFORE, strung(some(chosen, s * 6e-4)), JOB, SETTINGS) for s in (-1, 1))
    assert rose.drops < SAME.drops + 0.3 < fell.drops


def test_no_tone_counts_for_more_than_the_cap():
    few = np.flatnonzero(INSIDE)[::9]
    found = measure(BEFORE, strung(some(few, 0.02)), JOB, SETTINGS)
    assert found.score.max() > LIMITS.score_cap >= found.drops


@pytest.mark.parametrize("around", [JOB, SEASONS])
@pytest.mark.parametrize("places", [4, 5])
def test_the_limit_follows_the_places_struck_in_both(around, places):
    few = replace(strung(), strikes=tuple(s for s in strung().strikes if s.station in STATIONS[:places]))
    found = measure(BEFORE, few, around, SETTINGS)
    which = f"{'job' if around == JOB else 'season'}_limit_{'few' if places == 4 else 'many'}"
    assert found.limit == getattr(LIMITS, which) and found.statistic is not None
    assert len(found.earlier.stations) == places


@pytest.mark.parametrize(("tones", "places", "answered"), [(16, 4, True), (15, 4, False), (16, 3, False)])
def test_too_few_tones_or_places_give_no_figure(tones, places, answered):
    first = np.flatnonzero(INSIDE)[:tones]
    few = replace(
        strung(),
        modes=tuple(m for i, m in enumerate(strung().modes) if i in first),
        strikes=tuple(s for s in strung().strikes if s.station in STATIONS[:places]),
    )
    found = measure(BEFORE, few, JOB, SETTINGS)
    assert (found.statistic is not None) == answered == (found.drops is not None) == (found.unlike is not None)


def test_what_lies_between_tells_how_far_a_tone_is_looked_for(monkeypatch):
    asked = []

    def spied(earlier, later, scatter, settings):
        asked.append(set(scatter))
        return pair_modes(earlier, later, scatter, settings)

    monkeypatch.setattr("tapscan.screening.piano.measure.pair_modes", spied)
    for around in (JOB, SEASONS):
        measure(BEFORE, strung(), around, SETTINGS)
    assert asked == [{1e-6 * LIMITS.pair_job_ppm}, {1e-6 * LIMITS.pair_season_ppm}]
