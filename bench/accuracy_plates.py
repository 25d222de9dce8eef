"""Scans of simulated plates through the sound and back, against the modes they were made of: what accuracy.py counts.

    measured(plate, ...)    the merged modes of one scan and the truth beside them
    scored(modes, truth)    recall, precision, errors of one scan

20 stations x 3 strikes (soft, hard, hard), hit scatter 6 mm, 16 kHz, 3 s a strike; modes 60 to 1200 Hz. A mode is found when an
estimate lies within a linewidth of it, each estimate used once (`scipy.optimize.linear_sum_assignment`).
Noise: rms of the first 0.5 s of the median strike over the full-band noise rms. The room is pyroomacoustics' image-source
box, T60 0.6 s, walls alike. Simulated throughout; nothing here was measured on iron.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from msgspec import Struct
from msgspec.structs import replace
from scipy.optimize import linear_sum_assignment

from bench.simulate.room import in_room
from tapscan.demo.plates import REFERENCE_TEMPERATURE_C, PlateModes, State, Support, draw_iron, load_table, plate_modes
from tapscan.demo.taps import Tap, add_noise, scale_to, scan, snr_noise_rms
from tapscan.records import FloatArray, Mode, Scan, Segment, Strike
from tapscan.settings import Settings
from tapscan.signal.plate.plate_modes import modes_of_plate
from tapscan.signal.plate.station_analysis import analyse_station

RATE_HZ = 16_000
SECONDS = 3.0
ORDER = ("soft", "hard", "hard")
LOW_HZ, HIGH_HZ = 60.0, 1200.0
PATTERNS = ("concert-grand", "upright-full")
PAD_MOVE_M = 0.030
FIRST_IN_ROOM = 100  # castings below served to choose the limits of tapscan/signal/plate/room_fit.py and tapscan/signal/fit/state_space.py
PLACES = 8  # in the room, the same for all castings
NO_PAIR = 1e3  # linewidths: so dear that no pair farther than one linewidth takes an estimate from a mode it lies on
ROOM_SIZE_M, ROOM_T60_S = (6.1, 4.7, 2.9), 0.6


class Scored(Struct, frozen=True):
    """One scan against the truth."""

    recall: float
    precision: float
    frequency_ppm: tuple[float, ...]
    loss_percent: tuple[float, ...]
    held: tuple[float, float]  # share of the stated 95 % intervals that hold the true frequency, the true decay rate


def plate_of(seed: int, warm_c: float = REFERENCE_TEMPERATURE_C, pads_moved_m: float = 0.0) -> PlateModes:
    """A sound casting by seed, patterns in turn; each pad moved along its edge, to one side or the other."""
    table = load_table(PATTERNS[seed % len(PATTERNS)])
    iron = draw_iron(table, np.random.default_rng(seed))
    sides = np.random.default_rng([seed, 1]).choice([-1.0, 1.0], 4)
    pads = tuple(Support(i, 3e4, float(pads_moved_m * sides[i])) for i in range(4))
    return plate_modes(table, "sound", iron, State(temperature_c=warm_c, supports=pads))


def measured(
    plates: PlateModes | list[PlateModes], seed: int, snr_db: float, sensor: str, room_m: float | None = None
) -> tuple[Mode, ...]:
    """Modes of one scan of a plate, or of one plate a station in turn. `room_m`: distance of the microphone."""
    return measured_scan_of(plates, seed, snr_db, sensor, room_m).modes


def measured_scan_of(
    plates: PlateModes | list[PlateModes], seed: int, snr_db: float, sensor: str, room_m: float | None = None
) -> Scan:
    """The same with what the scan says of itself."""
    rng = np.random.default_rng(1_000_000 + seed)
    first = plates if isinstance(plates, PlateModes) else plates[0]
    names = first.table.station_names
    taps = scan(plates, sensor, RATE_HZ, rng, ORDER, names, SECONDS, None, peak=None)
    if room_m is not None:
        response = room_response(room_m, seed % PLACES)
        taps = [replace(t, samples=in_room(t.samples, response)) for t in taps]
    taps = scale_to(add_noise(taps, snr_noise_rms(taps, snr_db), rng), 0.5)
    segments = {name: [_segment(t, snr_db) for t in taps if t.station == name] for name in names}
    results = [analyse_station(name, segments[name], Settings(), rough=True) for name in names]
    modes, told = modes_of_plate(results, Settings())
    return Scan((), (), tuple(modes), self_scatter=told.scatter, self_scatter_reason=told.scatter_reason)


def _segment(tap: Tap, snr_db: float) -> Segment:
    start = round(tap.onset_s * RATE_HZ)
    ring, noise = tap.samples[start:], tap.samples[: start - 16]
    level, peak = 10 * np.log10(np.mean(ring[: RATE_HZ // 2] ** 2)), float(np.abs(ring).max())
    strike = Strike("T", "F", tap.station, None, 0.0, len(ring) / RATE_HZ, peak, float(level), snr_db)
    return Segment(strike, ring, noise, RATE_HZ)


@cache
def room_response(distance_m: float, place: int) -> FloatArray:
    """Response of a box room, direct sound first; `place` draws where in the room plate and microphone are."""
    import pyroomacoustics as pra

    x, y = np.random.default_rng(place).uniform([1.8, 1.4], [2.8, 2.4])
    absorption, order = pra.inverse_sabine(ROOM_T60_S, list(ROOM_SIZE_M))
    room = pra.ShoeBox(list(ROOM_SIZE_M), fs=RATE_HZ, materials=pra.Material(absorption), max_order=order)
    room.add_source([x, y, 1.1])
    room.add_microphone([x, y, 1.1 + distance_m])
    room.compute_rir()
    response = np.asarray(room.rir[0][0], dtype=float)
    return response[int(np.argmax(np.abs(response))) :] / np.abs(response).max()


def scored(modes: tuple[Mode, ...], plate: PlateModes) -> Scored:
    """Estimates against the plate's own modes."""
    f, loss = plate.frequency_hz, plate.loss_factor
    near, pairs = _matched(modes, plate)
    asked = (f > LOW_HZ) & (f < HIGH_HZ)
    found = [(i, m) for i, m in pairs if asked[i]]
    called = [m for m in near if LOW_HZ < m.frequency_hz < HIGH_HZ]
    right = sum(LOW_HZ < m.frequency_hz < HIGH_HZ for _, m in pairs)
    return Scored(
        len(found) / int(asked.sum()),
        right / max(1, len(called)),
        tuple(1e6 * abs(m.frequency_hz / f[i] - 1) for i, m in found),
        tuple(100 * abs(m.loss_factor / loss[i] - 1) for i, m in found if m.loss_factor is not None),
        _held(found, f, np.pi * f * loss),
    )


def _held(found: list[tuple[int, Mode]], frequency_hz: FloatArray, decay_rate_per_s: FloatArray) -> tuple[float, float]:
    by_f = [abs(m.frequency_hz - frequency_hz[i]) < 1.96 * m.frequency_sd_hz for i, m in found if m.frequency_sd_hz]
    by_d = [
        abs(m.decay_rate_per_s - decay_rate_per_s[i]) < 1.96 * m.decay_rate_sd_per_s
        for i, m in found
        if m.decay_rate_per_s is not None and m.decay_rate_sd_per_s is not None
    ]
    return float(np.mean(by_f)) if by_f else float("nan"), float(np.mean(by_d)) if by_d else float("nan")


def scatter(one: tuple[Mode, ...], other: tuple[Mode, ...], plate: PlateModes) -> list[tuple[float, float]]:
    """Frequency in Hz and scatter of one scan in ppm of each mode that both scans found: difference over root two."""
    first, second = (dict(_matched(modes, plate)[1]) for modes in (one, other))
    both = sorted(set(first) & set(second))
    pairs = [(first[i].frequency_hz, second[i].frequency_hz) for i in both]
    return [(a, 1e6 * abs(b / a - 1) / np.sqrt(2)) for a, b in pairs if LOW_HZ < a < HIGH_HZ]


def _matched(modes: tuple[Mode, ...], plate: PlateModes) -> tuple[list[Mode], list[tuple[int, Mode]]]:
    """Estimates around the asked range, and (number of the true mode, estimate) where within a linewidth."""
    near = [m for m in modes if 0.9 * LOW_HZ < m.frequency_hz < 1.1 * HIGH_HZ]
    got = np.array([m.frequency_hz for m in near])
    away = np.abs(got[None, :] - plate.frequency_hz[:, None]) / (plate.frequency_hz * plate.loss_factor)[:, None]
    rows, columns = linear_sum_assignment(np.where(away < 1.0, away, NO_PAIR))
    return near, [(int(i), near[j]) for i, j in zip(rows, columns, strict=True) if away[i, j] < 1.0]
