"""On which side of the plate's rest a place moves, beside the others, in each mode.

    with_signs(joined)   the same modes, each station's view with its sign: +1 or -1, None where it cannot be told

A tap at a place sets a mode going in proportion to the mode's deflection there, so between places the amplitude keeps or changes its sign.
What is measured is a phase: the sign, what the sensor adds (one phase a mode, the same for all taps), and when the tap truly was (one time
a tap, turning each mode in proportion to its frequency; half the contact counts as well). Phases doubled, the sign falls out; the time of each
tap and the phase of each mode follow by turns from many modes, and what is left of the phase is the sign. Signs of a mode are told beside its strongest place.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import accumulate

import numpy as np
from msgspec.structs import replace

from tapscan.records import ComplexArray, FloatArray
from tapscan.signal.plate.merging import Joined

TIMES_S = np.arange(-1.2e-3, 1.2e-3, 1.5e-5)
USED_HZ = 1500.0  # below: a tap's own time is not quite one for all frequencies
LEAST_MODES, ROUNDS = 6, 6
SURE = 0.5  # mean cosine between the phases left and the sign; 0.64 for phases at random would be taken for signs half of the time


def with_signs(joined: Sequence[Joined]) -> list[Joined]:
    """In the order given; unchanged where too few modes or taps are there to tell times by."""
    stations = sorted({h.station for one in joined for h in one.heard})
    used = [i for i, one in enumerate(joined) if one.pole.frequency_hz < USED_HZ]
    strikes = _columns(joined, stations)
    if len(used) < LEAST_MODES or len(stations) < 2:
        return list(joined)
    amplitude = _amplitudes(joined, strikes)
    frequency = np.array([one.pole.frequency_hz for one in joined])
    time, phase = _by_turns(amplitude[used], frequency[used])
    left = amplitude * np.exp(-2j * np.pi * frequency[:, None] * time)
    phase_all = np.angle(np.sum(_doubled(left), axis=1)) / 2
    phase_all[used] = phase
    signed = left * np.exp(-1j * phase_all[:, None])
    told, place = _signs(signed, strikes), {name: i for i, name in enumerate(strikes)}
    return [_signed(one, [row[place[h.station]] for h in one.heard]) for one, row in zip(joined, told, strict=True)]


def _columns(joined: Sequence[Joined], stations: Sequence[str]) -> dict[str, slice]:
    """Each station's strikes among all."""
    many = dict.fromkeys(stations, 0)
    for heard in (h for one in joined for h in one.heard):
        many[heard.station] = max(many[heard.station], len(heard.pole.amplitudes))
    stops = accumulate(many.values())
    return {station: slice(stop - many[station], stop) for station, stop in zip(many, stops, strict=True)}


def _amplitudes(joined: Sequence[Joined], strikes: dict[str, slice]) -> ComplexArray:
    """(modes, strikes), 0 where not heard; each strike by its own rms, so that soft and hard weigh alike."""
    out = np.zeros((len(joined), max(s.stop for s in strikes.values())), dtype=complex)
    for i, one in enumerate(joined):
        for h in one.heard:
            place = strikes[h.station]
            if len(h.pole.amplitudes) == place.stop - place.start:
                out[i, place] = h.pole.amplitudes
    return np.asarray(out / np.maximum(np.sqrt(np.sum(np.abs(out) ** 2, axis=0)), 1e-300))


def _doubled(amplitude: ComplexArray) -> ComplexArray:
    """Twice the phase; weighed by the root of the size, so that no loud mode rules."""
    size = np.abs(amplitude)
    return np.asarray(amplitude**2 / np.maximum(size, 1e-30) ** 1.5)


def _by_turns(amplitude: ComplexArray, frequency_hz: FloatArray) -> tuple[FloatArray, FloatArray]:
    """(strikes,) times in s and (modes,) phases in rad that leave least; begun from the strike in which most modes are heard well."""
    two = _doubled(amplitude)
    turn = np.exp(-4j * np.pi * frequency_hz[:, None] * TIMES_S)  # (modes, times)
    first = int(np.argmax(np.sum(np.sqrt(np.abs(amplitude)), axis=0)))
    phase = np.angle(two[:, first])
    time = np.zeros(two.shape[1])
    for _ in range(ROUNDS):
        match = np.real((two * np.exp(-1j * phase[:, None])).T @ turn)  # (strikes, times)
        time = TIMES_S[np.argmax(match, axis=1)]
        phase = np.angle(np.sum(two * np.exp(-4j * np.pi * frequency_hz[:, None] * time), axis=1))
    return np.asarray(time), np.asarray(phase / 2)


def _signed(one: Joined, told: Sequence[int | None]) -> Joined:
    loudest = max(range(len(told)), key=lambda k: one.heard[k].amplitude_db)
    turn = told[loudest]
    heard = [
        replace(h, sign=None if turn is None or s is None else s * turn) for h, s in zip(one.heard, told, strict=True)
    ]
    return replace(one, heard=heard)


def _signs(values: ComplexArray, strikes: dict[str, slice]) -> list[list[int | None]]:
    """(modes, stations) of (modes, strikes); None where the phases of a station's strikes lie across."""
    starts = [s.start for s in strikes.values()]
    total, size = (np.add.reduceat(x, starts, axis=1) for x in (values.real, np.abs(values)))
    sign = np.where((size > 0) & (np.abs(total) >= SURE * size), np.where(total > 0, 1, -1), 0)
    return [[s or None for s in row] for row in sign.tolist()]
