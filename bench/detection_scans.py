"""Single scans of simulated plates for bench/detection.py, sound and flawed alike spoilt by the same nuisances.

``draw_circumstances``   pads, warmth, sensor, room, hum, a hum of the room, a rattling part, damping that grows with force
``luck_of``              the circumstances of one plate's scan
``taps_of``              the taps of one plate in these circumstances, with noise
``scan_of_taps``         taken apart again, station by station and all stations together, as `tapscan check` does

Simulated; nothing here was measured on iron. How often each nuisance comes is guessed; it is the same for every plate.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from bench.compare_scans import NEAR, PICKUP, QUIET, RATE_HZ, Setting, draw_state, room_response
from bench.simulate.breathing import Breathing, Strike, breathing_taps
from bench.simulate.nuisance import rattle
from bench.simulate.room import in_room
from bench.study import threads
from tapscan.demo.plates import PlateModes, State, Table, draw_iron, plate_modes
from tapscan.demo.taps import Damping, Tap, draw_force, make_tap, scale_to, snr_noise_rms
from tapscan.records import Scan, Segment
from tapscan.records import Strike as ScanStrike
from tapscan.screening.scan import scan_of
from tapscan.settings import Settings
from tapscan.settings.fit import Fit
from tapscan.signal.plate.station_analysis import StationResult, analyse_station

ORDER = ("soft", "hard")
SECONDS = 2.0
HIT_SCATTER_M = 0.006
TOP_HZ = 2200.0
SENSORS = ((PICKUP, 0.55), (QUIET, 0.2), (NEAR, 0.25))
RATTLES, HUMS, TONES, UNEVEN = 0.15, 0.2, 0.1, 0.5  # shares of the plates
BREATHING_REACH_M = 1e-6
USUAL_PLACES = 20


class Circumstances(Struct, frozen=True):
    """What a scan is made in; the same for a sound plate and a flawed one."""

    state: State
    setting: Setting
    room_seed: int
    mains_hz: float  # 0: none
    hum_db: float  # rms of the hum, dB re the median strike's first half second
    tone_hz: float  # 0: none; a steady tone in the room, 20 dB over the noise
    rattle_place: int  # -1: none
    rattle_gap_m: float
    damping: Damping


def draw_circumstances(table: Table, rng: np.random.Generator, **state: object) -> Circumstances:
    """Drawn once for a plate, whatever its flaw."""
    share = np.cumsum([s for _, s in SENSORS])
    setting = SENSORS[int(np.searchsorted(share, rng.random()))][0]
    places = next(iter(table.arrays["clamp_shape"])).shape[1]
    hum = rng.random() < HUMS
    return Circumstances(
        draw_state(rng, **state),
        setting,
        int(rng.integers(1000)),
        float(rng.choice([50.0, 60.0])) if hum else 0.0,
        float(rng.uniform(-55, -30)),
        float(np.exp(rng.uniform(np.log(120), np.log(1500)))) if rng.random() < TONES else 0.0,
        int(rng.integers(places)) if rng.random() < RATTLES else -1,
        float(np.exp(rng.uniform(np.log(1e-6), np.log(8e-6)))),
        Damping(float(rng.uniform(0.0, 0.05)) if rng.random() < UNEVEN else 0.0),
    )


class Plate(Struct, frozen=True, eq=False):
    """One casting with its flaw: `label` of the table, or a breathing crack of that label."""

    table: Table
    label: str
    seed: int
    breathing: bool = False
    rubbing: bool = False
    loss_scatter: float = 0.17
    visit: int = 0  # 0: with its flaw; from 1: other visits to the same casting without it, heard the same way
    held: bool = False  # tapped again, with the part held that rattled
    rate_hz: int = RATE_HZ  # of all visits

    @property
    def name(self) -> str:
        """What the finished scan is stored under."""
        kind = "breathing " if self.breathing else "rubbing " if self.rubbing else ""
        visit = f"|before {self.visit}" if self.visit else ""
        places = len(self.table.station_names)
        more = f"|{places} places" if places != USUAL_PLACES else ""
        rate = f"|{self.rate_hz} Hz" if self.rate_hz != RATE_HZ else ""
        held = "|held" if self.held else ""
        return f"{self.table.name}|{kind}{self.label}|{self.loss_scatter}|{self.seed}{visit}{more}{rate}{held}"


def taps_of(plate: Plate, stations: Sequence[str] | None = None) -> tuple[list[Tap], Circumstances]:
    """All taps of the scan with their noise, and what it was made in."""
    iron = draw_iron(plate.table, np.random.default_rng([77, plate.seed]), loss_scatter=plate.loss_scatter)
    rng, around = luck_of(plate)
    modes = plate_modes(plate.table, "sound" if plate.rubbing else plate.label, iron, around.state)
    strikes = strikes_of(modes, rng, stations)
    if plate.breathing:
        gap = float(
            np.random.default_rng([plate.seed, 6, *plate.table.name.encode()]).uniform(
                -BREATHING_REACH_M, BREATHING_REACH_M
            )
        )
        taps = breathing_taps(modes, Breathing(gap), strikes, around.setting.sensor, plate.rate_hz, SECONDS)
    else:
        taps = [_tap(modes, s, around, plate.rate_hz) for s in strikes]
    if around.rattle_place >= 0 and not plate.held:
        taps = [
            replace(t, samples=t.samples + _rattle(modes, t, s, around, rng))
            for t, s in zip(taps, strikes, strict=True)
        ]
    if around.setting.room_m is not None:
        response = room_response(around.setting.room_m, around.room_seed, plate.rate_hz)
        taps = [replace(t, samples=in_room(t.samples, response)) for t in taps]
    return scale_to(noisy(taps, around, rng), 0.5), around


def luck_of(plate: Plate) -> tuple[np.random.Generator, Circumstances]:
    """Other luck for each pattern and visit; every visit is by the same sensor in the same place of the room."""
    seed = [plate.seed, 5, *plate.table.name.encode()]
    rng = np.random.default_rng(seed)
    more = {"rubbing": plate.label} if plate.rubbing else {}
    around = draw_circumstances(plate.table, rng, **more)
    if not plate.visit:
        return rng, around
    rng = np.random.default_rng([*seed, plate.visit])
    other = draw_circumstances(plate.table, rng)
    return rng, replace(other, setting=around.setting, room_seed=around.room_seed)


def strikes_of(modes: PlateModes, rng: np.random.Generator, stations: Sequence[str] | None) -> list[Strike]:
    """At each of the stations (None: all) one strike by each word of ORDER, drawn as a hand would hit."""
    out = []
    for station in stations or modes.table.station_names:
        for word in ORDER:
            dx, dy = HIT_SCATTER_M / np.sqrt(2) * rng.standard_normal(2)
            out.append(Strike(station, draw_force(rng, word), word, (float(dx), float(dy))))
    return out


def _tap(modes: PlateModes, s: Strike, around: Circumstances, rate_hz: int) -> Tap:
    return make_tap(
        modes,
        s.station,
        s.force,
        around.setting.sensor,
        rate_hz,
        SECONDS,
        0.1,
        s.offset_m,
        s.force_name,
        around.damping,
    )


def _rattle(modes: PlateModes, tap: Tap, strike: Strike, around: Circumstances, rng: np.random.Generator) -> np.ndarray:
    return rattle(
        modes, tap, around.setting.sensor, around.rattle_place, rng, gap_m=around.rattle_gap_m, offset_m=strike.offset_m
    )


def noisy(taps: Sequence[Tap], around: Circumstances, rng: np.random.Generator) -> list[Tap]:
    """White noise at the setting's ratio, as much per hertz at every rate; hum and a room's tone that go on through all taps."""
    strong = snr_noise_rms(taps, 0.0)
    rms = strong * 10.0 ** (-around.setting.snr_db / 20.0)
    count, rate = len(taps[0].samples), taps[0].sample_rate_hz
    out = []
    for i, tap in enumerate(taps):
        time = np.arange(count) / rate + i * 3.37
        more = rms * np.sqrt(rate / RATE_HZ) * rng.standard_normal(count)
        if around.mains_hz:
            hum = sum(np.cos(2 * np.pi * k * around.mains_hz * time + k) / k for k in (1, 2, 3, 4, 6))
            more = more + strong * 10 ** (around.hum_db / 20) * hum
        if around.tone_hz:
            more = more + 10 * rms * np.sqrt(2) * np.cos(2 * np.pi * around.tone_hz * time)
        out.append(replace(tap, samples=tap.samples + more))
    return out


def results_of(taps: Sequence[Tap], settings: Settings) -> list[StationResult]:
    """What each station gave."""
    with threads().limit(limits=1):
        return [
            analyse_station(
                name, [_segment(t, f"T{i}") for i, t in enumerate(taps, 1) if t.station == name], settings, rough=True
            )
            for name in dict.fromkeys(t.station for t in taps)
        ]


def _segment(tap: Tap, name: str) -> Segment:
    rate = round(tap.sample_rate_hz)
    start = round(tap.onset_s * rate)
    ring, noise = tap.samples[start:], tap.samples[: start - 16]
    level = 10 * np.log10(np.mean(ring[: rate // 2] ** 2))
    peak = float(np.abs(ring).max())
    snr = level - 10 * np.log10(np.mean(noise**2))
    force = "soft" if tap.force_name == "soft" else "hard"
    strike = ScanStrike(name, "F1", tap.station, force, 0.0, len(ring) / rate, peak, float(level), float(snr))  # type: ignore[arg-type]
    return Segment(strike, ring, noise, rate)


def scan_of_taps(taps: Sequence[Tap], settings: Settings) -> Scan:
    """The scan as the rules see it."""
    low = settings.but(Fit, highest_hz=TOP_HZ)
    results = results_of(taps, low)
    with threads().limit(limits=1):
        return scan_of(results, low, state="stripped")
