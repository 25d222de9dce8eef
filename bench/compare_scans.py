"""Scans of simulated plates for bench/compare.py: through the sound, or from a model of the estimator's errors.

``draw_state``     how the plate lies and how warm it is: pads moved, -8 to +8 K
``sound_scan``     taps turned into sound and back, station by station and all stations together, as `tapscan check` does
``model_scan``     the true modes with the errors seen in ``sound_scan`` (sizes in bench/results/compare.txt); no sound
``Setting``        sensor, noise, room

Simulated; nothing here was measured on iron.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from statistics import NormalDist

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from bench.simulate.room import Room, impulse_response, in_room
from bench.study import threads
from tapscan.demo.plates import REFERENCE_TEMPERATURE_C, PlateModes, State, Support
from tapscan.demo.taps import (
    Tap,
    add_noise,
    draw_force,
    force_integral,
    poles,
    scale_to,
    scan,
    select_modes,
    sensor_gain,
    snr_noise_rms,
    station_shape,
)
from tapscan.records import ModalAmplitude, Mode, Scan, Segment, Strike
from tapscan.settings import Settings
from tapscan.settings.fit import Fit
from tapscan.signal.plate.decay import loss_factor, q_factor, t60_s
from tapscan.signal.plate.plate_modes import modes_of_plate
from tapscan.signal.plate.station_analysis import analyse_station

RATE_HZ = 8000
SECONDS = 2.0
ORDER = ("soft", "hard")
STATIONS = 12
TOP_HZ = 1700.0
PAD_MOVE_M = 0.030
KELVIN = 8.0
HIT_SCATTER_M = 0.006
# Errors of 15,600 modes through the sound (contact pickup, 50 dB, 12 x 2, castings of loss factor .002 to .010), by the distance
# to the nearest mode in linewidths: sd the fit gives in ppm (median, 90 %), real error over that sd, share found.
GAPS = np.array([0.3, 0.6, 1.0, 1.5, 2.5, 4.0, 8.0])
FIT_SD_PPM = np.array([22.0, 43.0, 42.0, 28.0, 18.0, 10.0, 4.9, 2.1])
FIT_SD_90_PPM = np.array([109.0, 172.0, 186.0, 138.0, 106.0, 65.0, 30.0, 14.0])
ERROR_RATIO = np.array([6.0, 3.3, 1.6, 1.4, 1.3, 1.1, 1.1, 1.1])
FOUND = np.array([0.61, 0.85, 0.93, 1.0, 1.0, 1.0, 1.0, 1.0])  # further apart, only faint modes are missed
LOSS_PER_PPM = 4e-4  # error of ln loss factor for each ppm of frequency error
TAIL_FREEDOM = 4.0
LASTING = 0.98  # share of luck that stays with a mode from scan to scan


class Setting(Struct, frozen=True):
    """How a scan is heard. ``room_m`` : microphone distance in m, or None without a room."""

    name: str
    sensor: str = "pickup 1"
    snr_db: float = 50.0
    room_m: float | None = None
    rate_hz: int = RATE_HZ


PICKUP = Setting("contact pickup, 50 dB")
QUIET = Setting("contact pickup, 35 dB", snr_db=35.0)
NEAR = Setting("room T60 0.6 s, microphone at 0.1 m", "near 1", room_m=0.1)
FAR = Setting("room T60 0.6 s, microphone at 0.4 m", "near 1", room_m=0.4)


def draw_state(rng: np.random.Generator, **more: object) -> State:
    """Four pads, each anywhere within 30 mm of its place and 10 % stiffer or softer; temperature within 8 K of 20 C."""
    pads = tuple(
        Support(i, 3e4 * float(np.exp(0.1 * rng.standard_normal())), float(rng.uniform(-PAD_MOVE_M, PAD_MOVE_M)))
        for i in range(4)
    )
    warm = REFERENCE_TEMPERATURE_C + float(rng.uniform(-KELVIN, KELVIN))
    return State(temperature_c=warm, supports=pads, **more)  # type: ignore[arg-type]


def stations_of(plate: PlateModes, count: int = STATIONS) -> list[str]:
    """``count`` stations spread over the layout's order."""
    names = plate.table.station_names
    return [names[round(i)] for i in np.linspace(0, len(names) - 1, count)]


@cache
def room_response(distance_m: float, seed: int, rate_hz: int) -> np.ndarray:
    """A place in the room, drawn by ``seed``, with the microphone ``distance_m`` above it."""
    x, y = np.random.default_rng(seed).uniform([1.8, 1.4], [2.8, 2.4])
    room = Room(0.6, source_m=(x, y, 1.1), microphone_m=(x, y, 1.1 + distance_m))
    return impulse_response(room, float(rate_hz))


def sound_scan(
    plate: PlateModes,
    setting: Setting,
    rng: np.random.Generator,
    settings: Settings,
    count: int = STATIONS,
    names: Sequence[str] | None = None,
) -> Scan:
    """Every tap made into sound with noise and taken apart again. `names` : these stations instead of `count` spread over all."""
    stations = list(names or stations_of(plate, count))
    taps = scan(
        plate,
        setting.sensor,
        setting.rate_hz,
        rng,
        ORDER,
        stations,
        duration_s=SECONDS,
        snr_db=None,
        hit_scatter_m=HIT_SCATTER_M,
        peak=None,
    )
    if setting.room_m is not None:
        response = room_response(setting.room_m, 0 if setting.room_m < 0.2 else int(rng.integers(8)), setting.rate_hz)
        taps = [replace(t, samples=in_room(t.samples, response)) for t in taps]
    noise = snr_noise_rms(taps, setting.snr_db) * np.sqrt(setting.rate_hz / RATE_HZ)  # as much per hertz at every rate
    taps = scale_to(add_noise(taps, noise, rng), 0.5)
    low = settings.but(Fit, highest_hz=TOP_HZ)
    with threads().limit(limits=1):
        segments = {name: [_segment(t) for t in taps if t.station == name] for name in stations}
        results = [analyse_station(name, segments[name], low, rough=True) for name in stations]
        modes, told = modes_of_plate(results, low)
    return Scan((), tuple(s for r in results for s in r.strikes), tuple(modes), room=told.room)


def _segment(tap: Tap) -> Segment:
    rate = round(tap.sample_rate_hz)
    start = round(tap.onset_s * rate)
    ring, noise = tap.samples[start:], tap.samples[: start - 16]
    level = 10 * np.log10(np.mean(ring[: rate // 2] ** 2))
    peak = float(np.abs(ring).max())
    snr = level - 10 * np.log10(np.mean(noise**2))
    force = "soft" if tap.force_name == "soft" else "hard"
    strike = Strike("T", "F", tap.station, force, 0.0, len(ring) / rate, peak, float(level), float(snr))  # type: ignore[arg-type]
    return Segment(strike, ring, noise, rate)


def model_scan(
    plate: PlateModes, setting: Setting, rng: np.random.Generator, settings: Settings, count: int = STATIONS
) -> Scan:
    """The true modes with modelled errors: hit scatter and forces as in the sound, faint or close modes missed."""
    plate = select_modes(plate, (plate.frequency_hz > settings.fit.lowest_hz) & (plate.frequency_hz < TOP_HZ))
    stations = stations_of(plate, count)
    strength = np.stack([_strengths(plate, setting.sensor, s, rng) for s in stations])
    energy = strength**2 / (4 * plate.decay_rate_per_s)
    rms = np.sqrt(np.sum(strength**2 * (1 - np.exp(-plate.decay_rate_per_s)) / (2 * plate.decay_rate_per_s), axis=1))
    noise = np.median(rms) * 10 ** (-setting.snr_db / 20)
    clear = 10 * np.log10(energy * RATE_HZ / noise**2)
    fit_ppm, error_ppm, found = _errors(plate, rng)
    heard = (clear > settings.fit.mode_snr_db + 6 * rng.random(clear.shape)) & found
    frequency = plate.frequency_hz * np.exp(1e-6 * error_ppm * _tailed(rng, len(error_ppm)))
    decay = plate.decay_rate_per_s * np.exp(LOSS_PER_PPM * error_ppm * _tailed(rng, len(error_ppm)))
    level = 20 * np.log10(strength / rms[:, None] + 1e-12)
    modes = []
    for i in np.nonzero(heard.sum(axis=0) > 1)[0]:
        at = [ModalAmplitude(s, float(level[k, i])) for k, s in enumerate(stations) if heard[k, i]]
        modes.append(_mode(f"M{len(modes) + 1}", float(frequency[i]), float(decay[i]), float(fit_ppm[i]), at))
    strikes = tuple(Strike("T", "F", s, None, 0.0, SECONDS, 0.5, -20.0, setting.snr_db) for s in stations)
    return Scan((), strikes, tuple(modes))


def _strengths(plate: PlateModes, sensor: str, station: str, rng: np.random.Generator) -> np.ndarray:
    """(n,) median over the strikes of the strength in each mode, unit impulse."""
    pole, gain = poles(plate), sensor_gain(plate, sensor)
    rows = []
    for word in ORDER:
        dx, dy = HIT_SCATTER_M / np.sqrt(2) * rng.standard_normal(2)
        force = draw_force(rng, word)
        push = force_integral(force, pole, np.array([1.0]))[0] / force.impulse_ns
        rows.append(np.abs(station_shape(plate, station, (float(dx), float(dy))) * gain * push))
    return np.asarray(np.median(rows, axis=0))


def _errors(plate: PlateModes, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(n,) sd that the fit gives and real sd, in ppm, and (n,) bool found. Half of the spread stays with the mode from scan to scan."""
    f, width = plate.frequency_hz, plate.decay_rate_per_s / np.pi
    step = np.concatenate([[np.inf], np.diff(f), [np.inf]])
    place = np.searchsorted(GAPS, np.minimum(step[1:], step[:-1]) / width)
    spread = np.log(FIT_SD_90_PPM / FIT_SD_PPM)[place] / 1.2816
    lasting = np.random.default_rng(len(f)).standard_normal(len(f))
    fit = FIT_SD_PPM[place] * np.exp(spread * np.sqrt(0.5) * (lasting + rng.standard_normal(len(f))))
    own = np.random.default_rng(len(f) + 1).standard_normal(len(f))  # modes that merge do so in most scans
    luck = np.sqrt(LASTING) * own + np.sqrt(1 - LASTING) * rng.standard_normal(len(f))
    return fit, fit * ERROR_RATIO[place], luck < _quantile(FOUND[place])


def _quantile(share: np.ndarray) -> np.ndarray:
    """Normal quantiles."""
    return np.array([NormalDist().inv_cdf(float(p)) if p < 1 else np.inf for p in share])


def _tailed(rng: np.random.Generator, count: int) -> np.ndarray:
    """(count,) heavy-tailed, variance 1."""
    return np.asarray(rng.standard_t(TAIL_FREEDOM, count) * np.sqrt((TAIL_FREEDOM - 2) / TAIL_FREEDOM))


def _mode(name: str, frequency: float, decay: float, error_ppm: float, at: Sequence[ModalAmplitude]) -> Mode:
    ordered = tuple(sorted(at, key=lambda s: -s.amplitude_db))
    sd = 1e-6 * error_ppm * frequency
    return Mode(
        name,
        frequency,
        sd,
        decay,
        LOSS_PER_PPM * error_ppm * decay,
        t60_s(decay),
        q_factor(frequency, decay),
        loss_factor(frequency, decay),
        None,
        None,
        None,
        None,
        0,
        0,
        None,
        None,
        "plate",
        ordered,
    )
