"""Modes told in a room: the regression against signals made by its own equation, whole scans against simulated plates.

The room is pyroomacoustics' image-source box (T60 0.6 s by Sabine), its decay measured by the same library's Schroeder integration; the plates are
finite elements. A short form of bench/accuracy.py's room rows (castings 100 and up); numbers asked are issue C's. Simulated throughout.
"""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from bench import accuracy_plates as simulated
from tapscan.demo.room import in_room
from tapscan.demo.taps import add_noise, scale_to, scan, snr_noise_rms
from tapscan.settings import Settings
from tapscan.signal.statefit import state_fit
from tapscan.signal.together import Together, together
from tapscan.workflow.station import analyse_station

SEED = 107
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
    print(lean, held)
    assert lean[:, 1].max() < 3.5 / np.sqrt(len(errors)), "frequency: no bias"
    assert lean[:, 0].max() < 0.7, "decay: a short record leans to more damping, by less than its standard error"
    assert min(held) > 0.9  # 0.95 is stated; more is meant: DOUBT widens it for rooms that are not quite white
    print(np.quantile(alike, [0, 0.02, 0.1, 0.5]))
    assert np.quantile(alike, 0.1) > 0.98


def test_noise_alone_holds_no_mode():
    rng = np.random.default_rng(5)
    assert state_fit(rng.standard_normal((STRIKES, SAMPLES, 2)) @ [1, 1j] / np.sqrt(2), RATE_HZ, 60.0) is None


@cache
def heard(room_m: float | None) -> tuple[Together, simulated.PlateModes]:
    plate = simulated.plate_of(SEED)
    rng = np.random.default_rng(1_000_000 + SEED)
    sensor = "pickup 1" if room_m is None else "near 1"
    names = plate.table.station_names
    taps = scan(plate, sensor, simulated.RATE_HZ, rng, simulated.ORDER, names, simulated.SECONDS, None, peak=None)
    if room_m is not None:
        response = simulated.room_response(room_m, SEED % 8)
        taps = [replace(t, samples=in_room(t.samples, response)) for t in taps]
    taps = scale_to(add_noise(taps, snr_noise_rms(taps, 50.0), rng), 0.5)
    low = replace(Settings(), highest_hz=2400.0)
    results = [
        analyse_station(n, [simulated._segment(t, 50.0) for t in taps if t.station == n], low, rough=True)
        for n in names
    ]
    return together([r.sound for r in results if r.sound is not None], low), plate


@pytest.mark.parametrize(("room_m", "recall", "precision"), [(0.1, 0.95, 0.90), (0.4, 0.85, 0.85)])
def test_modes_of_a_plate_in_a_room(room_m, recall, precision):
    told, plate = heard(room_m)
    f, loss = plate.frequency_hz, plate.loss_factor
    asked = (f > simulated.LOW_HZ) & (f < simulated.HIGH_HZ)
    got = np.array([m.frequency_hz for m in told.modes])
    near = np.abs(got[None, :] - f[:, None]) < (f * loss)[:, None]
    found, called = (
        near.any(axis=1)[asked].mean(),
        near.any(axis=0)[(got > simulated.LOW_HZ) & (got < simulated.HIGH_HZ)],
    )
    print(room_m, found, called.mean(), told.room)
    assert found >= recall
    assert called.mean() >= precision


@pytest.mark.parametrize("room_m", [0.1, 0.4])
def test_the_rooms_own_decay(room_m):
    """Against the library's own measure of the response that was used, 20 dB of fall, middle of the octaves 125 Hz to 1 kHz; within a fifth."""
    import pyroomacoustics as pra
    from scipy.signal import butter, sosfilt

    response = simulated.room_response(room_m, SEED % 8)
    octaves = [
        butter(3, (f / 2**0.5, f * 2**0.5), "band", fs=simulated.RATE_HZ, output="sos") for f in (125, 250, 500, 1000)
    ]
    start = round(0.02 * simulated.RATE_HZ)  # past the direct sound, which by far outweighs the room's
    measured = [
        pra.experimental.measure_rt60(sosfilt(o, response)[start:], fs=simulated.RATE_HZ, decay_db=20) for o in octaves
    ]
    told = heard(room_m)[0].room
    assert told is not None
    assert told.t60_s is not None
    print(told, measured)
    assert told.t60_s == pytest.approx(float(np.median(measured)), rel=0.2)


def test_by_pickup_no_room_is_heard():
    told, _ = heard(None)
    assert told.room is None
    assert len(told.modes) > 50
