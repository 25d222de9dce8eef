"""Single scans of plates without a flaw by pickup and by microphone at the rates that recorders have, in rooms of three kinds.

    python -m bench.microphone WORK [--minutes M] [--scans N] [--cores K]      prints the table; it lies in bench/results when all scans are there
    python -m bench.microphone WORK --near N                                   so many castings, one scan each, at 0.1 m and 48 kHz, rooms by turns: results/microphone_near.txt

Each scan is drawn anew: casting, pads, warmth, hands, place in the room. It is made into sound up to 11 kHz, where modes of the tables end and invented ones go on (bench/simulate/high_modes.py),
and taken apart as `tapscan check` does. WORK holds a file a scan; a second run goes on from there. The limits of tapscan/signal/plate/room_limit.py were set on three patterns
(SETTING, seeds below 100) and are counted here on the two others, seeds from 5000 (--near: from 9000, every casting once, so that an interval is one over castings). Processor time is that of this machine; only its ratio means anything. Simulated; no iron was tapped.
"""

from __future__ import annotations

import argparse
import os
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from msgspec import Struct
from msgspec.structs import asdict, replace
from scipy.optimize import linear_sum_assignment
from threadpoolctl import threadpool_limits

from bench import study
from bench.compare_scans import draw_state
from bench.detection_store import layout_of
from bench.pod import interval
from bench.simulate.high_modes import extend_modes
from bench.simulate.room import Room, impulse_response, in_room
from tapscan.demo.plates import PlateModes, draw_iron, load_table, plate_modes
from tapscan.demo.taps import Tap, add_noise, scale_to, scan, snr_noise_rms
from tapscan.records import Scan, Segment, Strike
from tapscan.screening.rules import run_rules
from tapscan.screening.scan import scan_of
from tapscan.settings import Settings
from tapscan.signal.plate.joint_spectra import HIGHEST_HZ
from tapscan.signal.plate.station_analysis import analyse_station

RESULTS = Path(__file__).parent / "results" / "microphone.txt"
RESULTS_NEAR = RESULTS.with_name("microphone_near.txt")
SETTING = ("small-grand", "upright-full", "concert-grand")
COUNTED = ("parlour-grand", "upright-three-quarter")
FIRST_SEED = 5000
FIRST_NEAR = 4000  # number of the first casting of --near: seeds from 9000, in no other count
RATES_HZ = (48000, 44100, 96000)
ROOMS = ((0.6, 0.1), (0.3, 0.1), (1.0, 0.1), (0.6, 0.4), (0.3, 0.4), (1.0, 0.4))  # T60 in s, microphone's distance in m
POWERS = (
    -0.5,
    -1.0,
)  # powers of the frequency with which the loss factor of a second pickup's plate goes above KNEE_HZ
KNEE_HZ = 500.0
ORDER = ("soft", "hard", "hard")
PLACES, SECONDS, SNR_DB, HIT_SCATTER_M = 20, 2.0, 50.0, 0.006
SOUND_TO_HZ = 12000.0
NO_PAIR = 1e6


class Case(Struct, frozen=True):
    """One scan. ``t60_s`` 0: a pickup, whose plate's losses go with the frequency to the power ``power``."""

    number: int
    rate_hz: int
    t60_s: float
    distance_m: float
    power: float = 0.0
    places: int = PLACES

    @property
    def name(self) -> str:
        """What the row is stored under."""
        return "_".join(str(v) for v in asdict(self).values())

    @property
    def group(self) -> str:
        """The table's row."""
        few = f", {self.places} places" if self.places != PLACES else ""
        if self.t60_s:
            return f"microphone {self.distance_m} m, room {self.t60_s} s{few}"
        return f"pickup{f', losses by f^{self.power}' if self.power else ''}{few}"


def cases(scans: int) -> Iterator[Case]:
    """So many rounds of all groups; two in three at 48 kHz, the others at 44.1 and 96 by turns."""
    for number in range(scans):
        rate = RATES_HZ[0] if number % 3 else RATES_HZ[1 + number // 3 % 2]
        for t60_s, distance_m in ROOMS:
            yield Case(number, rate, t60_s, distance_m)
        yield Case(number, rate, 0.6, 0.1, places=4)
        yield Case(number, rate, 0.0, 0.0)
        yield Case(number, rate, 0.0, 0.0, POWERS[number % len(POWERS)])


def near(castings: int) -> list[Case]:
    """Each casting once, at 0.1 m and 48 kHz."""
    rooms = [room for room in ROOMS if room[1] == min(distance for _, distance in ROOMS)]
    return [Case(FIRST_NEAR + k, RATES_HZ[0], *rooms[k % len(rooms)]) for k in range(castings)]


def plate_of(case: Case, day: int = 0) -> PlateModes:
    """The casting as it lies on that day, with modes up to where the rate ends."""
    seed = FIRST_SEED + case.number
    table = load_table(COUNTED[case.number % len(COUNTED)])
    iron = draw_iron(table, np.random.default_rng([77, seed]))
    plate = plate_modes(table, "sound", iron, draw_state(np.random.default_rng([78, seed, *_more(day)])))
    plate = extend_modes(plate, np.random.default_rng([79, seed]), min(SOUND_TO_HZ, 0.45 * case.rate_hz))
    falls = np.maximum(plate.frequency_hz / KNEE_HZ, 1.0) ** case.power
    return replace(plate, decay_rate_per_s=plate.decay_rate_per_s * falls)


def taps_of(case: Case, plate: PlateModes, day: int = 0) -> list[Tap]:
    """All taps with the room and white noise."""
    room = round(100 * case.t60_s), round(100 * case.distance_m)
    rng = np.random.default_rng([80, FIRST_SEED + case.number, *room, *_more(day)])
    names = plate.table.station_names
    stations = [names[round(i)] for i in np.linspace(0, len(names) - 1, case.places)]
    sensor = "near 1" if case.t60_s else "pickup 1"
    rate = float(case.rate_hz)
    taps = scan(plate, sensor, rate, rng, ORDER, stations, SECONDS, None, hit_scatter_m=HIT_SCATTER_M, peak=None)
    if case.t60_s:
        response = _response(case.t60_s, case.distance_m, case.number % 8, case.rate_hz)
        taps = [replace(t, samples=in_room(t.samples, response)) for t in taps]
    return scale_to(add_noise(taps, snr_noise_rms(taps, SNR_DB), rng), 0.5)


def _more(day: int) -> tuple[int, ...]:
    """More of a seed, for all days but the first."""
    return (day,) if day else ()


@cache
def _response(t60_s: float, distance_m: float, place: int, rate_hz: int) -> np.ndarray:
    x, y = np.random.default_rng(place).uniform([1.8, 1.4], [2.8, 2.4])
    room = Room(t60_s, source_m=(x, y, 1.1), microphone_m=(x, y, 1.1 + distance_m))
    return impulse_response(room, float(rate_hz))


def segment(tap: Tap, name: str) -> Segment:
    """As cut from a recording."""
    rate = round(tap.sample_rate_hz)
    start = round(tap.onset_s * rate)
    ring, noise = tap.samples[start:], tap.samples[: start - rate // 500]
    level = 10 * np.log10(np.mean(ring[: rate // 2] ** 2))
    snr, peak = level - 10 * np.log10(np.mean(noise**2)), float(np.abs(ring).max())
    force = "soft" if tap.force_name == "soft" else "hard"
    strike = Strike(name, "F1", tap.station, force, 0.0, len(ring) / rate, peak, float(level), float(snr))  # type: ignore[arg-type]
    return Segment(strike, ring, noise, rate)


def heard(taps: Sequence[Tap], plate: PlateModes, settings: Settings, *, contact: bool = False) -> tuple[Scan, float]:
    """The scan as the rules see it, and the processor time it took in s."""
    begun, names = time.process_time(), list(dict.fromkeys(t.station for t in taps))
    with threadpool_limits(1):
        results = [
            analyse_station(
                name,
                [segment(t, f"T{i}") for i, t in enumerate(taps, 1) if t.station == name],
                settings,
                rough=len(names) > 1,
                contact=contact,
            )
            for name in names
        ]
        found = scan_of(results, settings, state="stripped", map=layout_of(plate.table))
    return found, time.process_time() - begun


def row_of(case: Case) -> dict[str, Any]:
    """One line of the store."""
    settings, plate = Settings(), plate_of(case)
    found, seconds = heard(taps_of(case, plate), plate, settings)
    indications, _ = run_rules(found, settings)
    top = min(HIGHEST_HZ, found.room_limit.hidden_above_hz) if found.room_limit else HIGHEST_HZ
    asked = int(np.sum((plate.frequency_hz > settings.fit.lowest_hz) & (plate.frequency_hz < top)))
    low = [m.frequency_hz for m in found.modes if m.frequency_hz < top]
    return {
        "name": case.name,
        "called": sorted({i.rule for i in indications if i.interpretation == "relevant"}),
        "given": len(found.modes),
        "above": len(found.modes) - len(low),
        "low": len(low),
        "true": asked,
        "right": _right(np.array(low), plate),
        "hidden_hz": found.room_limit.hidden_above_hz if found.room_limit else None,
        "patterns": found.room is not None,
        "cpu_s": round(seconds, 2),
    }


def _right(given: np.ndarray, plate: PlateModes) -> int:
    """How many of the given frequencies have a mode of the plate of their own within a linewidth."""
    if not len(given):
        return 0
    away = np.abs(given[None, :] - plate.frequency_hz[:, None]) / (plate.decay_rate_per_s / np.pi)[:, None]
    rows, columns = linear_sum_assignment(np.where(away < 1.0, away, NO_PAIR))
    return int(np.sum(away[rows, columns] < 1.0))


def table(wanted: Sequence[Case], rows: dict[str, dict[str, Any]]) -> str:
    """What was counted, a row for each kind of scan."""
    done = [(c, rows[c.name]) for c in wanted if c.name in rows]
    lines = [
        study.head("microphone"),
        __doc__.split("\n\n")[2] if __doc__ else "",
        "",
        f"{len(done)} scans of {', '.join(COUNTED)}, {PLACES} places, three taps each, {SNR_DB:.0f} dB. Modes: middle of the scans. Right, spurious, true: under 2.5 kHz",
        "and under where the room hides the plate; right is within a linewidth of a mode. Time: processor time beside pickups (even losses) of the same rate, middle of the scans.",
        "",
        f"{'':44}{'called without a flaw, 95 % interval':>40}   modes  right spurious   true  over 2.5 kHz   hidden above Hz (low, middle, high; none)   time",
    ]
    pickup = {r: [x["cpu_s"] for c, x in done if c.group == "pickup" and c.rate_hz == r] for r in RATES_HZ}
    for group in dict.fromkeys(c.group for c, _ in done):
        lines += _group(group, [(c, r) for c, r in done if c.group == group], pickup)
    for rate in RATES_HZ:
        some = [r for c, r in done if c.rate_hz == rate]
        lines.append(
            f"{f'all at {rate / 1000:g} kHz':44}{interval(sum(bool(r['called']) for r in some), len(some)):>40}"
            if some
            else ""
        )
    return "\n".join(lines) + "\n"


def _group(group: str, some: Sequence[tuple[Case, dict[str, Any]]], pickup: dict[int, list[float]]) -> list[str]:
    rows = [r for _, r in some]
    hidden = sorted(r["hidden_hz"] for r in rows if r["hidden_hz"])
    where = f"{hidden[0]:.0f}, {np.median(hidden):.0f}, {hidden[-1]:.0f}; " if hidden else ""
    times = [r["cpu_s"] / np.median(pickup[c.rate_hz]) for c, r in some if pickup[c.rate_hz]]
    called = interval(sum(bool(r["called"]) for r in rows), len(rows))
    figures = [(r["given"], r["right"], r["low"] - r["right"], r["true"], r["above"]) for r in rows]
    numbers = [float(v) for v in np.median(figures, axis=0)]
    ratio = f"{np.median(times):.2f}" if times else "-"
    out = [
        f"{group:44}{called:>40} {numbers[0]:7.0f}{numbers[1]:7.0f}{numbers[2]:9.0f}{numbers[3]:7.0f}{numbers[4]:14.0f}   "
        f"{where + f'{len(rows) - len(hidden)} none':>45}   {ratio}"
    ]
    by_rule = Counter(rule for r in rows for rule in r["called"])
    return out + [f"      {rule}: {n}" for rule, n in sorted(by_rule.items())]


def main() -> None:
    """Make scans for a while, then the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("work", type=Path)
    parser.add_argument("--minutes", type=float, default=115.0)
    parser.add_argument("--scans", type=int, default=150)
    parser.add_argument("--cores", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--near", type=int, help="castings heard once each at 0.1 m and 48 kHz")
    given = parser.parse_args()
    wanted = near(given.near) if given.near else list(cases(given.scans))
    rows = {c.name: row for c, row in study.made(given.work, wanted, row_of, given.minutes, given.cores)}
    text = table(wanted, rows)
    print(text)
    if all(c.name in rows for c in wanted):
        (RESULTS_NEAR if given.near else RESULTS).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
