"""Scans of plates in their pianos for bench/in_piano.py, through the sound: taps with strings and noise, taken apart as `tapscan check` does.

``Unit``       one casting in one piano, and how many places are tapped
``possible``   whether a table of plates holds such a one
``scan_in``    one of its scans, by what it is called: "before", "job, KIND", "season 5 %, KIND"; KIND is "same" where nothing is wrong

Simulated; no iron was measured. Recordings of 2 s at 16 kHz, taken apart with the settings that ship; one soft and two hard taps a place, pickup on the iron.
"""

from __future__ import annotations

import numpy as np
from msgspec import Struct

from bench import study
from bench.compare_scans import HIT_SCATTER_M, RATE_HZ
from bench.detection_scans import results_of
from bench.simulate.in_piano import (
    Installed,
    Strings,
    Visit,
    another_season,
    around_one_job,
    first_visit,
    install,
    loosened,
    modes_in_piano,
    permitted,
    with_strings,
)
from tapscan.demo.plates import Table
from tapscan.demo.taps import add_noise, scale_to, scan, snr_noise_rms
from tapscan.records import Scan
from tapscan.screening.scan import scan_of
from tapscan.settings import Settings

SETTINGS = Settings()
ORDER = ("soft", "hard", "hard")
HEARD_HZ, SECONDS, SNR_DB = 16_000, 2.0, 50.0
JOB = 0.015
GONE, LOOSE = "screw gone", "screw at 30 %"
AGAIN = ", again"  # after a role: the same plate, screws and wood tapped once more at the same visit


class Unit(Struct, frozen=True):
    """The same number is the same casting, screws and wood, whatever is tapped."""

    pattern: str
    number: int
    places: int = 8
    strings: Strings = "felt"
    luck: str = "in piano"

    def rng(self, what: str) -> np.random.Generator:
        """The same words are the same luck."""
        return np.random.default_rng(study.seed_of(self.luck, f"{self.pattern}, {self.number}, {what}"))


def possible(table: Table, role: str) -> bool:
    """Whether the table has what the role asks for."""
    kind = role.removesuffix(AGAIN).rpartition(", ")[2]
    return kind in ("before", "same", GONE, LOOSE) or bool(_flawed(table, kind))


def _flawed(table: Table, kind: str) -> list[str]:
    return [x for x in table.labels if x.split(",")[0] == kind]


def truth_of(unit: Unit, table: Table, role: str) -> tuple[Installed, Visit, str] | None:
    """Piano, visit and label of the iron; None where the pattern has no such flaw."""
    held, role = install(table, unit.rng("piano")), role.removesuffix(AGAIN)
    if role == "before":
        return held, first_visit(held), "sound"
    when, kind = role.split(", ", 1)
    rng = unit.rng(role)
    scatter = float(when.split()[1]) / 100 if when != "job" else JOB
    visit = (around_one_job if when == "job" else another_season)(held, first_visit(held), rng, scatter)
    if kind in (GONE, LOOSE):
        return held, loosened(held, visit, unit.rng("screw"), 0.0 if kind == GONE else 0.3), "sound"
    if kind == "same":
        return held, visit, "sound"
    labels = _flawed(table, kind)
    return (held, visit, labels[unit.number % len(labels)]) if labels else None


def scan_in(unit: Unit, table: Table, role: str) -> Scan | None:
    """What is heard of it."""
    found = truth_of(unit, table, role)
    if found is None:
        return None
    held, visit, label = found
    rng = unit.rng(f"{role}, taps at {unit.places}")
    taps = scan(
        modes_in_piano(held, visit, label), "pickup 1", HEARD_HZ, rng, ORDER, permitted(table, unit.places),
        duration_s=SECONDS, snr_db=None, hit_scatter_m=HIT_SCATTER_M, peak=None,
    )  # fmt: skip
    taps = with_strings(taps, held, visit, unit.strings, rng)
    noise = snr_noise_rms(taps, SNR_DB) * np.sqrt(HEARD_HZ / RATE_HZ)
    return scan_of(results_of(scale_to(add_noise(taps, noise, rng), 0.5), SETTINGS), SETTINGS, state="strung")
