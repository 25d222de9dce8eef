"""Modes told in a room: the regression against signals made by its own equation, whole scans against simulated plates.

The room is pyroomacoustics' image-source box (T60 0.6 s by Sabine), its decay measured by the same library's Schroeder integration; the plates are
finite elements. A short form of bench/accuracy.py's room rows (castings 100 and up); asked: recall .95 and precision .90 at 0.1 m, .85 each at 0.4 m. Simulated throughout.
"""

from functools import cache

import numpy as np
import pytest
from msgspec.structs import replace

from bench import accuracy_plates as simulated
from bench.simulate.room import in_room
from tapscan.demo.taps import add_noise, scale_to, scan, snr_noise_rms
from tapscan.records import Mode
from tapscan.settings import Settings
from tapscan.settings.fit import Fit
from tapscan.signal.fit.state_space import state_fit
from tapscan.signal.plate.joint_fit import Together, together
from tapscan.signal.plate.plate_modes import modes_of_plate
from tapscan.signal.plate.station_analysis import StationResult, analyse_station

SEED = 107
LOW = Settings().but(Fit, highest_hz=2400.0)
RATE_HZ, STRIKES, SAMPLES = 80.0, 30, 110


def driven(rng, z, late):
    """Courses of modes that a blow starts and decaying noise `late` times as strong goes on driving alike, heard at STRIKES strikes."""
    h = np.exp(-8.0 / RATE_HZ * np.arange(SAMPLES)) * (rng.standard_normal((SAMPLES, 2)) @ [1, 1j]) * late
    h[0] = 1.0
    courses = np.zeros((len(z), SAMPLES), complex)
    courses[:, 0] = 1.0
    for n in range(1, SAMPLES):
        courses[:, n] = z * courses[:, n - 1] + h[n]
    patterns = (rng.standard_normal((STRIKES, len(z), 2)) @ [1, 1j]) * 100.0
    noise = rng.standard_normal((STRIKES, SAMPLES, 2)) @ [1, 1j] / np.sqrt(2)
    return patterns, patterns @ courses + noise


def test_poles_patterns_and_errors_of_driven_modes():
    """Three modes a few linewidths apart, driven by noise of a fifth of the blow: 60 draws."""
    f, d = np.array([-12.0, -9.5, 14.0]), np.array([5.0, 6.0, 9.0])
    z = np.exp((-d + 2j * np.pi * f) / RATE_HZ)
    rng = np.random.default_rng(3)
    errors, stated, alike = [], [], []
    for _ in range(60):
        patterns, series = driven(rng, z, 0.2)
        fit = state_fit(series, RATE_HZ, 60.0)
        assert fit is not None
        assert fit.rank == len(z) == len(fit.z)
        order = np.argsort(np.angle(fit.z))
        errors.append(np.log(fit.z[order] / z))
        stated.append(fit.z_sd[order])
        true = patterns / np.linalg.norm(patterns, axis=0)
        alike.append(np.abs(np.sum(true.conj() * fit.patterns[:, order], axis=0)))
    errors, stated = np.array(errors), np.array(stated)
    lean = np.abs(errors.mean(axis=0).view(float).reshape(-1, 2)) / np.stack(
        [errors.real.std(axis=0), errors.imag.std(axis=0)], axis=1
    )
    held = [np.mean(np.abs(part) < 1.96 * stated) for part in (errors.real, errors.imag)]
    assert lean[:, 1].max() < 3.5 / np.sqrt(len(errors)), "frequency: no bias"
    assert lean[:, 0].max() < 0.7, "decay: a short record leans to more damping, by less than its standard error"
    assert all(
        0.9 < h < 1 for h in held
    )  # 0.95 is stated, some more is meant: DOUBT widens it for rooms that are not quite white
    assert np.quantile(alike, 0.1) > 0.98


def test_noise_alone_holds_no_mode():
    rng = np.random.default_rng(5)
    assert state_fit(rng.standard_normal((STRIKES, SAMPLES, 2)) @ [1, 1j] / np.sqrt(2), RATE_HZ, 60.0) is None


@cache
def heard(room_m: float | None) -> tuple[list[StationResult], simulated.PlateModes]:
    plate = simulated.plate_of(SEED)
    rng = np.random.default_rng(1_000_000 + SEED)
    sensor = "pickup 1" if room_m is None else "near 1"
    names = plate.table.station_names
    taps = scan(plate, sensor, simulated.RATE_HZ, rng, simulated.ORDER, names, simulated.SECONDS, None, peak=None)
    if room_m is not None:
        response = simulated.room_response(room_m, SEED % simulated.PLACES)
        taps = [replace(t, samples=in_room(t.samples, response)) for t in taps]
    taps = scale_to(add_noise(taps, snr_noise_rms(taps, 50.0), rng), 0.5)
    by_station = {n: [simulated._segment(t, 50.0) for t in taps if t.station == n] for n in names}
    return [analyse_station(n, segments, LOW, rough=True) for n, segments in by_station.items()], plate


def told_of(room_m: float | None, seconds: float = simulated.SECONDS, alike: bool = False) -> Together:
    """Cut to so many seconds; `alike`: every station has the first one's taps."""
    sounds = [r.sound for r in heard(room_m)[0] if r.sound is not None]
    strikes = [sounds[0].strikes if alike else s.strikes for s in sounds]
    cut = [k[:, : round(seconds * simulated.RATE_HZ)] for k in strikes]
    return together([replace(s, strikes=k) for s, k in zip(sounds, cut, strict=True)], LOW)


@cache
def modes_in(room_m: float) -> tuple[list[Mode], Together]:
    return modes_of_plate(heard(room_m)[0], LOW)


@pytest.mark.parametrize(("room_m", "recall", "precision"), [(0.1, 0.95, 0.90), (0.4, 0.85, 0.85)])
def test_modes_of_a_plate_in_a_room(room_m, recall, precision):
    score = simulated.scored(tuple(modes_in(room_m)[0]), heard(room_m)[1])
    assert score.recall >= recall
    assert score.precision >= precision
    assert min(score.held) > 0.85, "of some 70 modes, whose errors hang together"


@pytest.mark.parametrize("room_m", [0.1, 0.4])
def test_the_rooms_own_decay(room_m):
    """Against the library's own measure of the response that was used, 20 dB of fall, middle of the octaves 125 Hz to 1 kHz; within a fifth."""
    import pyroomacoustics as pra
    from scipy.signal import butter, sosfilt

    response = simulated.room_response(room_m, SEED % simulated.PLACES)
    octaves = [
        butter(3, (f / 2**0.5, f * 2**0.5), "band", fs=simulated.RATE_HZ, output="sos") for f in (125, 250, 500, 1000)
    ]
    start = round(0.02 * simulated.RATE_HZ)  # past the direct sound, which by far outweighs the room's
    measured = [
        pra.experimental.measure_rt60(sosfilt(o, response)[start:], fs=simulated.RATE_HZ, decay_db=20) for o in octaves
    ]
    told = modes_in(room_m)[1].room
    assert told is not None
    assert told.t60_s is not None
    assert told.t60_s == pytest.approx(float(np.median(measured)), rel=0.2)


def test_by_pickup_no_room_is_heard():
    told = told_of(None)
    assert told.room is None
    assert told.room_reason == "no room was heard"
    assert not told.room_left_in
    assert len(told.modes) > 50


@pytest.mark.parametrize(
    ("changed", "reason"),
    [
        ({"seconds": 0.6}, "the rings are shorter than 1 s"),
        ({"alike": True}, "the places were tapped too much alike, or hardly louder than the noise"),
    ],
)
def test_where_modes_cannot_be_told_by_their_patterns_the_free_ones_stay(changed, reason):
    """A short record rings at the cuts of its bands as in a room; places struck alike have one pattern for all modes."""
    told = told_of(0.4, **changed)
    assert told.room is None
    assert told.room_reason == reason
    assert told.room_left_in
    assert len(told.modes) > 20


@pytest.mark.parametrize("places", [1, 4])
def test_at_few_places_a_room_cannot_be_told_from_the_plate_but_a_pickup_hears_none(places):
    sounds = [r.sound for r in heard(None)[0] if r.sound is not None][:places]
    few = [replace(s, strikes=s.strikes[:1], named=(), forces=(), level_db=s.level_db[:1]) for s in sounds]
    assert together(few, LOW).room_left_in
    assert not together([replace(s, contact=True) for s in few], LOW).room_left_in


@pytest.mark.parametrize(("places", "taps"), [(8, 2), (8, 3), (12, 2)])
def test_few_dry_taps_are_no_room(places, taps):
    """With few patterns a regression takes what it cannot tell for a room; the free modes leave nothing unexplained."""
    sounds = [r.sound for r in heard(None)[0] if r.sound is not None][:: 20 // places][:places]
    few = [replace(s, strikes=s.strikes[:taps], named=(), forces=(), level_db=s.level_db[:taps]) for s in sounds]
    assert together(few, LOW).room is None
