"""Screenings built by hand, with every kind of field filled and every unknown left out once."""

import datetime as dt
import hashlib

import numpy as np

from tapscan.places import Layout, Station
from tapscan.records import (
    AddedMass,
    BarMode,
    BarReading,
    BarReadings,
    CommonShift,
    Comparison,
    Condition,
    Indication,
    ModalAmplitude,
    Mode,
    ModePair,
    Recording,
    RuleNotRun,
    Scan,
    ScanConditions,
    Screening,
    StationChange,
    StationPicture,
    Strike,
    UnpairedMode,
)
from tapscan.register.entries import Finding, NewScan, NewScreening
from tapscan.screening.chain.chain_change import chain_change
from tapscan.sensors import Sensor
from tapscan.settings import Settings

DAY = dt.date(2026, 3, 14)
CONDITIONS = ScanConditions(
    state="stripped",
    supports="pads; bass corner, tail, treble end",
    air_c=18.5,
    iron_c=None,
    hours_in_room=14.0,
    sensor=Sensor("contact", "contact pickup, 20 g", 20.0, "treble-break strut, underside"),
    hammer="plastic tip, 50 g",
    fittings=(),
)


def mode(number: int, frequency_hz: float, stations: int = 3, rng: np.random.Generator | None = None) -> Mode:
    rng = rng or np.random.default_rng(number)
    return Mode(
        id=f"M{number}",
        frequency_hz=frequency_hz,
        frequency_sd_hz=0.1 / 3,
        decay_rate_per_s=None if number % 5 == 4 else 1e-3 * frequency_hz,
        decay_rate_sd_per_s=None,
        t60_s=3.0,
        q=314.1592653589793,
        loss_factor=1 / 314.1592653589793,
        level_db=-31.25,
        tone_to_noise_db=None,
        prominence_ratio_db=9.1,
        prominent=(True, False, None)[number % 3],
        stations_prominent=1,
        stations_judged=stations,
        note="A4",
        cents=-3.7,
        origin="plate",
        amplitudes=tuple(ModalAmplitude(f"S{i}", float(rng.normal(-30, 6))) for i in range(1, stations + 1)),
        reason="not judged: under the noise" if number % 3 == 2 else None,
    )


def scan(hashes: tuple[str, ...], modes: int = 6, stations: int = 3, seed: int = 1) -> Scan:
    rng = np.random.default_rng(seed)
    recordings = tuple(
        Recording(
            f"F{i}",
            f"S{i}_1.wav",
            h,
            48000,
            2,
            None if i == 2 else 1,
            3.25,
            ("channel 1 is dead",),
            "why" if i == 2 else None,
        )
        for i, h in enumerate(hashes, 1)
    )
    strikes = tuple(
        Strike(
            f"T{i}",
            "F1",
            f"S{i}",
            ("soft", "hard", None)[i % 3],
            0.1 * i,
            1.0,
            0.7,
            -20.0 - blow(hashes, i),
            None if i == 3 else 45.0,
            ("weak",) * (i == 3),
            None,
        )
        for i in range(1, stations + 1)
    )
    layout = Layout("grand-short", "grand", "", (Station("S1", "tail", 0.5, 1 / 3, "above"),))
    found = tuple(
        mode(i, float(f), stations, rng)
        for i, f in enumerate(np.geomspace(60, 3000, modes) * (1 + rng.normal(0, 1e-5, modes)), 1)
    )
    places = (("S1", "tail"), ("S2", 'a "strut"'))
    return Scan(recordings, strikes, found, "stripped", "grand-short", places, layout, bar=bar(), bar_reason=None)


def blow(hashes: tuple[str, ...], number: int) -> float:
    """dB by which this tap is softer: no two recordings are of the same blows."""
    return hashlib.sha256(f"{hashes} {number}".encode()).digest()[0] / 32


def bar() -> BarReadings:
    """Tones in the first reading, none in the last."""
    first = BarReading(("cd" * 32,), 48000, 3, 2, (BarMode(590.0, 0.001, 1.5, 0.01, -31.0, None),), -25.0, 1.5, -68.0)
    last = BarReading(("ef" * 32,), 48000, 0, 0, (), None, None, None, 'no tap on "the bar"')
    return BarReadings("<flat bar>", first, last, chain_change("<flat bar>", ("then", "now"), first, last, Settings()))


def screening(
    hashes: tuple[str, ...], modes: int = 6, stations: int = 3, seed: int = 1, pictures: int = 0
) -> Screening:
    condition = Condition("share of stations", 0.75, None, "1", "engineering judgement")
    worded = Condition("note", "A4", "none", "", "from memory")
    said = Indication(
        "I1",
        "prominent ringing",
        "relevant",
        None,
        ("S1",),
        ("M1", "M2"),
        "One tone stands out at S1 (tail).",
        (condition, worded),
        ("a loose screw",),
    )
    return Screening(
        scan=scan(hashes, modes, stations, seed),
        disposition="relevant indication",
        headline="Something to look at",
        summary="One tone stands out.",
        next_steps=("Look at S1.",),
        indications=(said, Indication("I2", "long decay", "false", "unchanged", (), (), "Rings on.", (), ())),
        rules_not_run=(RuleNotRun("change since baseline", "there is no baseline"),),
        limitations=("The room was not measured.",),
        settings_sha256="ab" * 32,
        assignment=("expected 24, found 23: S5 has two",),
        pictures=tuple(picture(i) for i in range(1, pictures + 1)),
    )


def picture(number: int) -> StationPicture:
    rng = np.random.default_rng(number)
    f = np.fft.rfftfreq(4000, 1 / 48000)
    t = (np.arange(250) + 0.5) * 0.012
    return StationPicture(
        f"S{number}",
        f"T{number}",
        f,
        rng.normal(-60, 20, len(f)),
        None if number == 2 else rng.normal(-80, 3, len(f)),
        t,
        -50 * t,
    )


def made(result: Screening) -> NewScreening:
    return NewScreening(result, "lowest_hz = 50.0\n", "0.1.0")


def new_scan(**changes) -> NewScan:
    checklist = (Finding("rust-line", "seen", "bass corner"), Finding("repair", "not seen"))
    values = {
        "date": DAY,
        "conditions": CONDITIONS,
        "operator": "A. Person",
        "checklist": checklist,
        "reading": {"per_station": 3},
    }
    return NewScan(**{**values, **changes})


def comparison() -> Comparison:
    pair = ModePair(
        "M1", ("M1", None), 60.0, 59.9, -1666.6, 40.0, 41.6, True, None, None, None, None, reason="no decay is known"
    )
    return Comparison(
        later="B12/2026-03-14",
        baselines=("B12/2026-01-02", "B12/2026-01-02-2"),
        pairs=(pair,),
        common=CommonShift(-100.0, 20.0, 0.6, 0.4, 0.9, None, None, "As a degree would.", "no thermometer"),
        lost=(UnpairedMode("M4", 800.0, 0.01, True),),
        gained=(),
        statistic=7.5,
        statistic_limit=5.0,
        loss_statistic=None,
        loss_statistic_limit=4.0,
        unlike=("The supports differ.",),
        explanation=AddedMass("S1", 0.25, 0.005, -3.0, 0.0, False),
        where=(StationChange("S1", 1.0), StationChange("S2", 1 / 3)),
        indications=(
            Indication("C1", "change since baseline", "relevant", "new", (), ("M1",), "One mode fell.", (), ()),
        ),
        carried=(Indication("I1", "prominent ringing", "relevant", "unchanged", ("S1",), (), "Stands out.", (), ()),),
        rules_not_run=(),
        limitations=("Two baseline scans.",),
        summary="One mode fell.",
        settings_sha256="ab" * 32,
    )
