"""Room, hum, handling: what stood before the tap and stays, and what every place excites alike."""

import numpy as np
import pytest
from msgspec.structs import replace

from tapscan.records import RuleNotRun
from tapscan.screening.mode_origins import with_origins
from tapscan.screening.room import mains, snr_limit_db, steady
from tapscan.screening.rules import prominent_ringing, room_hum
from tapscan.settings import Settings
from tapscan.signal.fit.noise import NoiseDensity
from tests.every import each
from tests.rule_scans import STATIONS, mode, scan, steady_tone

S = Settings()
LASTING = {"loss": None}


def heard(modes, tones=(), **more):
    return with_origins(scan(modes, steady_tones=tuple(tones), steady_tones_reason=None, **more), S)


def test_a_steady_tone_is_hum_or_room_and_never_the_plates():
    modes = [mode("M1", 300.1, **LASTING), mode("M2", 437.0, **LASTING), mode("M3", 610.0)]
    given = heard(modes, [steady_tone("M1"), steady_tone("M2"), steady_tone("M3", before_db=-40.0)])
    assert [m.origin for m in given.modes] == ["hum", "room", "plate"]
    found = room_hum.run(given, S)
    assert [(i.id, i.interpretation, i.modes) for i in found] == [
        ("H1", "nonrelevant", ("M1",)),
        ("H2", "nonrelevant", ("M2",)),
    ]
    assert "50 Hz" in found[0].sentence or "60 Hz" in found[0].sentence


@pytest.mark.parametrize(("tone", "t60_s"), [({"before_db": -7.0}, 20.0), ({"snr_db": 5.5}, 20.0), ({}, 8.0)])
def test_a_mode_that_dies_away_or_did_not_sound_before_is_the_plates(tone, t60_s):
    given = heard([mode("M1", 300.0, t60_s=t60_s)], [steady_tone("M1", **tone)])
    assert given.modes[0].origin == "plate"
    assert room_hum.run(given, S) == []


def test_origins_told_twice_are_told_anew():
    given = heard([mode("M1", 300.1, **LASTING), mode("M2", 437.0, origin="unknown")], [steady_tone("M1")])
    assert [m.origin for m in with_origins(given, S).modes] == ["hum", "unknown"]
    assert [m.origin for m in with_origins(replace(given, steady_tones=()), S).modes] == ["plate", "unknown"]


def test_a_hum_is_no_pitch_of_the_plate():
    loud = mode("M1", 300.0, t60_s=30.0, prominent=True, stations_prominent=12, tone_to_noise_db=20.0)
    assert prominent_ringing.run(heard([loud]), S) != []
    assert prominent_ringing.run(heard([loud], [steady_tone("M1")]), S) == []


def test_what_every_place_excites_alike_is_not_the_plate():
    rng = np.random.default_rng(3)
    same = {s: float(v) for s, v in zip(STATIONS, rng.normal(0, 0.4, 12), strict=True)}
    given = heard([mode("M1", 500.0, db=same), mode("M2", 600.0)])
    assert [m.origin for m in given.modes] == ["room", "plate"]
    assert [i.id for i in room_hum.run(given, S)] == ["H3"]
    few = replace(given, strikes=given.strikes[:14], modes=(mode("M1", 500.0, db=dict(list(same.items())[:7])),))
    assert with_origins(few, S).modes[0].origin == "plate"  # seven places may be alike by chance


@each(
    ("hz", "expected"),
    [(50.0, (50, 1)), (120.2, (60, 2)), (300.0, (50, 6)), (360.0, (60, 6)), (75.0, None), (437.0, None)],
)
def test_mains_and_their_multiples(hz, expected):
    assert mains(hz, S) == expected


def test_without_quiet_and_with_few_places_it_does_not_run():
    given = scan([mode("M1", 300.0)], strikes=scan([]).strikes[:6], steady_tones_reason="no quiet before the taps")
    outcome = room_hum.run(given, S)
    assert isinstance(outcome, RuleNotRun)
    assert "no quiet" in outcome.reason


@pytest.mark.parametrize("hz", [123.0, 437.0, 1000.3])
def test_the_line_of_a_tone_in_noise(hz):
    """Truth: a sine of amplitude 0.01 in white noise of rms 0.001; a Hann line loses up to 1.42 dB between two bins."""
    rate, seconds = 8000, 0.3
    time = np.arange(round(rate * seconds)) / rate
    rng = np.random.default_rng(4)
    noises = [0.01 * np.cos(2 * np.pi * hz * time + i) + 0.001 * rng.standard_normal(len(time)) for i in range(8)]
    amplitude, clear = NoiseDensity(noises, rate).line(hz)
    assert 0.84 * 0.01 < amplitude < 1.06 * 0.01
    assert clear > 30.0  # a^2 n / 6 over 1e-6: 46 dB, less scalloping and what the median of chi-square gives
    assert (
        NoiseDensity([0.001 * rng.standard_normal(len(time)) for _ in range(8)], rate).line(hz)[1]
        < S.origins.steady_snr_db
    )
    assert NoiseDensity([], rate).line(hz) is None


def test_a_second_tone_beside_it_does_not_hide_a_line():
    rate, length = 8000, 2400
    time = np.arange(length) / rate
    noise = 0.001 * np.random.default_rng(5).standard_normal(length)
    two = 0.01 * np.cos(2 * np.pi * 437.0 * time) + 0.01 * np.cos(2 * np.pi * 457.0 * time) + noise
    assert NoiseDensity([two], rate).line(437.0)[1] > 25.0


def test_a_fainter_line_is_enough_where_many_places_heard_it():
    """12 dB at one place; over n places the middle of their figures scatters by the root of n less about what noise shows."""
    assert snr_limit_db(1, S) == S.origins.steady_snr_db
    assert snr_limit_db(9, S) == pytest.approx(6.0)
    twenty = {f"S{k}": -20.0 - k for k in range(20)}
    faint = steady_tone("M1", -0.3, 8.4)
    many = scan([mode("M1", 180.0, db=twenty, **LASTING)], steady_tones=(faint,))
    few = scan([mode("M1", 180.0, db=dict(list(twenty.items())[:2]), **LASTING)], steady_tones=(faint,))
    assert steady(many, S) == [faint]
    assert steady(few, S) == []


@pytest.mark.parametrize("places", [1, 4, 9, 20])
def test_noise_alone_passes_the_limit_at_most_once_in_forty(places):
    """White noise of 0.1 s, as before a tap: the middle of so many places' figures against the limit, 400 draws."""
    rng = np.random.default_rng(places)
    figures = [NoiseDensity([rng.standard_normal(1600)], 16000).line(437.0)[1] for _ in range(400 * places)]
    middles = np.median(np.array(figures).reshape(400, places), axis=1)
    assert np.mean(middles > snr_limit_db(places, S)) <= 0.025
    assert np.median(middles) == pytest.approx(S.origins.steady_snr_noise_db, abs=0.7)
