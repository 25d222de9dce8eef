"""Where a room hides the plate.

The iron is a sum of damped sines, one in 15 Hz; the room is Polack's: the direct sound and Gaussian noise that dies away exponentially (J.-D. Polack,
thesis, Le Mans 1988, from memory), no image sources as in the bench that the limits were set with. Simulated.
"""

from functools import cache
from pathlib import Path

import numpy as np
import pytest
from msgspec.structs import replace
from scipy.signal import fftconvolve

from tapscan.records import RoomLimit, Segment, Strike
from tapscan.screening.limitations import limitations
from tapscan.screening.rules import long_decay
from tapscan.screening.scan import scan_of
from tapscan.settings import Settings
from tapscan.settings.fit import Fit
from tapscan.signal.plate.room_limit import HOP_S, LateSlope, hidden_above, late_slopes, limit_of
from tapscan.signal.plate.station_analysis import analyse_station
from tapscan.workflow.check import Request, check
from tests.rule_scans import mode, scan
from tests.sounds import rings

RATE, SECONDS, LOSS = 32000, 1.0, 0.005
T60_NEPER = 6.907755278982137  # 3 ln 10
S = Settings()


@cache
def iron(seed: int, power: float = 0.0) -> np.ndarray:
    """(n,) a tap; the loss factor goes with the frequency to a power above 500 Hz."""
    rng = np.random.default_rng(seed)
    f = np.cumsum(rng.uniform(5, 25, 800))
    f = f[(f > 100) & (f < 0.45 * RATE)]
    decay = np.pi * f * LOSS * np.maximum(f / 500, 1) ** power
    strength, phase = rng.standard_normal(len(f)) / (1 + (f / 3000) ** 2), rng.uniform(0, 2 * np.pi, len(f))
    return rings(f, decay, strength, phase, RATE, round(SECONDS * RATE))


def in_room(samples: np.ndarray, t60_s: float, direct_db: float, seed: int) -> np.ndarray:
    """The direct sound stands `direct_db` over all that the walls send back."""
    t = np.arange(round(t60_s * RATE)) / RATE
    walls = np.random.default_rng(seed).standard_normal(len(t)) * np.exp(-T60_NEPER / t60_s * t)
    walls *= 10 ** (-direct_db / 20) / np.sqrt(np.sum(walls**2))
    walls[0] += 1.0
    return fftconvolve(samples, walls)[: len(samples)]


def quiet(samples: np.ndarray, seed: int, below_db: float = 55.0) -> tuple[np.ndarray, np.ndarray]:
    """With noise under the rms of the first half second, and a stretch of that noise."""
    rng = np.random.default_rng(seed)
    rms = np.sqrt(np.mean(samples[: RATE // 2] ** 2)) * 10 ** (-below_db / 20)
    return samples + rms * rng.standard_normal(len(samples)), rms * rng.standard_normal(RATE // 10)


def slopes(seed: int, room: tuple[float, float] | None = None, power: float = 0.0) -> list[LateSlope]:
    """Of three taps at one place."""
    taps = [iron(10 * seed, power) * a for a in (0.1, 1.0, 0.7)]
    if room:
        taps = [in_room(t, *room, seed) for t in taps]
    heard = [quiet(t, 100 * seed + i) for i, t in enumerate(taps)]
    return late_slopes([h for h, _ in heard], [n for _, n in heard], RATE)


@pytest.mark.parametrize(("t60_s", "direct_db"), [(0.6, 16.0), (1.0, 16.0), (0.6, 5.0), (0.4, 16.0)])
def test_the_room_is_told_with_its_decay_and_not_far_above_where_it_outlasts_the_iron(t60_s, direct_db):
    """The iron falls as fast as the room where pi f loss = 6.91 / T60."""
    alike_hz = T60_NEPER / t60_s / (np.pi * LOSS)
    limit = limit_of([slopes(seed, (t60_s, direct_db)) for seed in range(1, 6)])
    assert limit is not None
    assert limit.t60_s == pytest.approx(t60_s, rel=0.2)
    assert 0.8 * alike_hz < limit.hidden_above_hz < 4 * alike_hz
    assert limit.of_stations == 5
    assert limit.stations >= 3


@pytest.mark.parametrize("power", [0.0, -0.3, -0.5, -1.0])
def test_iron_alone_hides_nothing_though_its_losses_fall_with_frequency(power):
    """At -1 all tones die away alike, as in a room, but from the blow on."""
    told = [slopes(seed, power=power) for seed in range(1, 9)]
    assert all(len(s) >= 6 for s in told), "heard long enough to judge"
    assert [hidden_above(s) for s in told] == [None] * 8
    assert limit_of(told) is None


def bands(starts_db, t60_s):
    edges = 1000 * 2 ** (np.arange(len(starts_db) + 1) / 3)
    return [LateSlope(*e) for e in zip(edges[:-1], edges[1:], t60_s, starts_db, strict=True)]


@pytest.mark.parametrize(
    ("starts_db", "t60_s", "first"),
    [
        ([0, -10, -10, -10, -10], [0.5] * 5, 1),
        ([-10] * 3, [0.5] * 3, None),  # three bands are too few
        ([-10] * 6, [0.9, 0.7, 0.57, 0.45, 0.36, 0.28], None),  # falls as iron does
        ([-10, 0, -10, -10, -10], [0.5] * 5, 0),  # one uneven band
        ([-10, 0, 0, -10, -10], [0.5] * 5, None),
        ([-10, -10, -10, -10, 0, 0, 0], [0.5] * 7, None),  # the iron is heard at the top
        ([-30] * 6, [5.0] * 6, None),  # no room rings so long
        ([-10] * 6, [1.2, 0.5, 0.5, 0.5, 0.5, 0.5], 1),  # below, the iron outlasts the room
    ],
)
def test_bands_on_end_up_to_the_highest(starts_db, t60_s, first):
    told = bands(starts_db, t60_s)
    hidden = hidden_above(told)
    assert (hidden.above_hz if hidden else None) == (None if first is None else told[first].low_hz)


def test_most_stations_outvote_one():
    room, dry = bands([-12] * 5, [0.6] * 5), bands([0] * 5, [0.6] * 5)
    assert limit_of([room, dry, dry]) is None
    limit = limit_of([room, room, dry])
    assert limit is not None
    assert (limit.stations, limit.of_stations) == (2, 3)


def heard(room: tuple[float, float] | None, places: int = 4, settings: Settings = S):
    results = []
    for place in range(places):
        cut = []
        for i, a in enumerate((0.1, 1.0)):
            sound = iron(10 * (place + 1)) * a
            sound, noise = quiet(in_room(sound, *room, 3) if room else sound, 7 * place + i)
            strike = Strike(f"T{i}", "F1", f"S{place}", None, 0.0, SECONDS, 1.0, -20.0, 55.0)
            cut.append(Segment(strike, sound / 100, noise / 100, RATE))
        results.append(analyse_station(f"S{place}", cut, settings, rough=places > 1))
    return scan_of(results, settings)


def test_no_mode_is_given_above_and_none_is_fitted_there():
    found = heard((0.8, 12.0), 2)
    assert found.room_limit is not None
    assert found.room_limit_reason is None
    assert found.modes
    assert max(m.frequency_hz for m in found.modes) < found.room_limit.hidden_above_hz


def test_one_place_alone_does_not_tell_a_room():
    """Real drums and cymbals fall in two slopes as well (tests/truth/test_real_recordings.py)."""
    found = heard((0.8, 12.0), 1)
    assert found.room_limit is None and found.room_limit_reason is not None


def test_a_pickup_keeps_its_high_modes():
    """All high bands are asked for here; by default only those with a tone in them are fitted (high_tones.py)."""
    found = heard(None, 2, S.but(Fit, high_tone_db=-200.0))
    assert found.room_limit is None
    assert found.room_limit_reason is not None
    assert max(m.frequency_hz for m in found.modes) > 3000


def ringing(count: int, low_hz: float, high_hz: float, loss: float, start: int = 0):
    return [mode(f"M{start + i}", float(f), loss=loss) for i, f in enumerate(np.linspace(low_hz, high_hz, count))]


def test_tones_above_the_area_rules_reach_do_not_make_the_whole_plate_ring_on():
    """Twelve tones of iron, and a hundred above that ring as a room does."""
    modes = [*ringing(12, 300, 2000, 0.004), *ringing(100, S.iron.highest_hz + 10, 9000, 0.0005, 50)]
    assert long_decay.run(scan(modes), S) == []


def test_nor_do_tones_where_the_room_hides_the_plate():
    modes = [*ringing(12, 300, 900, 0.004), *ringing(30, 1100, 2100, 0.0005, 50)]
    assert [i.id for i in long_decay.run(scan(modes), S)] == ["D1"]
    assert long_decay.run(replace(scan(modes), room_limit=RoomLimit(1000.0, 0.6, 8, 8)), S) == []


def test_the_limit_is_said():
    limit = RoomLimit(2500.0, 0.6, 18, 20)
    said = limitations(replace(scan(ringing(3, 300, 900, 0.004)), room_limit=limit), S)
    assert any("2.5 kHz" in sentence for sentence in said)
    assert not any("hides the plate" in sentence for sentence in limitations(scan([]), S))


def test_bands_that_hardly_stand_out_of_the_noise_tell_nothing():
    """Nothing but noise, before the strike and after: in some bands the first frames lie a hair over it."""
    rng = np.random.default_rng(1)
    for _ in range(30):
        assert late_slopes([rng.standard_normal(48_000)], [rng.standard_normal(4_800)], 48_000) == []


def test_a_band_a_hair_over_its_noise_tells_nothing():
    """The same hiss over and over, every frame 0.1 % stronger after the strike than before it: 30 dB under the blow from the first."""
    hiss = np.tile(np.random.default_rng(1).standard_normal(round(HOP_S * 48_000)), 200)
    assert late_slopes([1.0005 * hiss], [hiss], 48_000) == []


def test_what_is_known_for_a_pickup_hears_no_room():
    """A breathing crack by pickup fell in two slopes at two of five places, and all above 1 kHz had been taken for the room's."""
    folder = Path(__file__).parents[2] / "reference_recordings" / "simulated" / "breathing"
    checked = check([str(p) for p in sorted(folder.glob("*.flac"))], Request(state="stripped"))
    assert checked.screening.scan.room_limit is None
    assert max(m.frequency_hz for m in checked.screening.scan.modes) > 2000
    results = []
    for place in range(2):
        sound, noise = quiet(in_room(iron(10 * (place + 1)), 0.8, 12.0, 3), place)
        strike = Strike("T1", "F1", f"S{place}", None, 0.0, SECONDS, 1.0, -20.0, 55.0)
        cut = [Segment(strike, sound / 100, noise / 100, RATE)]
        results.append(analyse_station(f"S{place}", cut, S, rough=True, contact=True))
    assert scan_of(results, S).room_limit is None and scan_of(results, S).room_left_in is False
