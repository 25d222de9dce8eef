"""Structures of 5 to 15 modes at 1, 4 and 10 places whose places disagree: modes missed, modes too many, strong modes split.

    python -m bench.few_modes WORK [--structures 60] [--minutes 8]      writes bench/results/few_modes.txt

Recordings as of `tapscan check`, one file a place, a soft and two hard taps each; see bench/simulate/few_modes.py. An estimate is a mode's where it lies
within its linewidth or three times the scatter of its places, each used once (`scipy.optimize.linear_sum_assignment`). Recall is of modes whose line stands 15 dB or
more over the noise of the plain spectrum at the clearest place. What is given: all modes from 60 Hz to 1500 Hz that the scan calls the structure's, or does not say where from, and is not unsure of.
A take of which no tap is used is refused: its modes count as missed.
A companion is an estimate that no mode claims within five linewidths, or five times the scatter, of a mode that stands 30 dB clear. SIMULATED.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import soundfile
from msgspec import Struct
from scipy.optimize import linear_sum_assignment

from bench import study
from bench.simulate.few_modes import KINDS, RATE_HZ, Structure, drawn, taps_of
from tapscan.records import FloatArray, Mode, Scan
from tapscan.screening.mode_origins import of_plate
from tapscan.workflow.check import Request, check

RESULT = Path(__file__).parent / "results" / "few_modes.txt"
PLACES = (1, 4, 10)
CLEAR_DB, STRONG_DB = 15.0, 30.0
LOWEST_HZ, HIGHEST_HZ = 60.0, 1500.0
OWN_SCATTERS, NEAR_WIDTHS, NEAR_SCATTERS = 3.0, 5.0, 5.0
AIMS = {"recall": 0.97, "precision": 0.95, "companions": 0.02}


class Unit(Struct, frozen=True):
    """One structure."""

    number: int
    places: int
    luck: str

    @property
    def name(self) -> str:
        """Of its file."""
        return f"{self.luck}-{self.places}-{self.number}"

    @property
    def kind(self) -> str:
        """In turn."""
        return KINDS[self.number % len(KINDS)]


def told(unit: Unit) -> dict[str, Any]:
    """Counts of one structure."""
    rng = np.random.default_rng(study.seed_of("few_modes", unit.name))
    structure = drawn(unit.kind, unit.places, rng)
    sounds, clear = taps_of(structure, rng)
    scan = heard(sounds)
    refused = not any(s.usable for s in scan.strikes)
    return {**counts(structure, clear, sure(scan.modes)), "refused": int(refused)}


def heard(sounds: dict[str, FloatArray]) -> Scan:
    """What `tapscan check` makes of it."""
    with TemporaryDirectory(prefix="few-modes-") as folder:
        paths = [str(Path(folder) / f"{place}.wav") for place in sounds]
        for path, sound in zip(paths, sounds.values(), strict=True):
            soundfile.write(path, sound, RATE_HZ, subtype="PCM_24")
        screening = check(paths, Request()).screening
    assert screening is not None
    return screening.scan


def sure(modes: Sequence[Mode]) -> list[Mode]:
    """Those that are not the room's or the mains', nor said to be unsure."""
    return [m for m in of_plate(modes) if not (m.reason or "").startswith("unsure")]


def counts(structure: Structure, clear_db: FloatArray, modes: Sequence[Mode]) -> dict[str, Any]:
    """Modes asked for, found, given and right; strong modes, and those with a companion."""
    f, width = structure.middle_hz, structure.middle_hz * structure.loss_factor
    got = np.array([m.frequency_hz for m in modes if LOWEST_HZ < m.frequency_hz < HIGHEST_HZ])
    away = np.abs(got[None, :] - f[:, None])
    pairs = matched(structure, got)
    found, used = {i for i, _ in pairs}, {j for _, j in pairs}
    near = away < np.maximum(NEAR_WIDTHS * width, NEAR_SCATTERS * structure.scatter_hz)[:, None]
    extra = np.array([j not in used for j in range(len(got))], dtype=bool)
    asked, strong = clear_db >= CLEAR_DB, clear_db >= STRONG_DB
    return {
        "asked": int(asked.sum()),
        "found": sum(bool(asked[i]) for i in found),
        "given": len(got),
        "right": len(used),
        "strong": int(strong.sum()),
        "split": int((near & extra).any(axis=1)[strong].sum()),
        "missed_hz": [round(float(f[i]), 1) for i in np.flatnonzero(asked) if i not in found],
        "extra_hz": [round(float(x), 2) for x in got[extra]],
        "of_hz": [round(float(x), 2) for x in f],
    }


def matched(structure: Structure, got_hz: FloatArray) -> list[tuple[int, int]]:
    """Number of the mode and of the estimate that is its own."""
    f = structure.middle_hz
    away = np.abs(got_hz[None, :] - f[:, None])
    own = away < np.maximum(f * structure.loss_factor, OWN_SCATTERS * structure.scatter_hz)[:, None]
    rows, columns = linear_sum_assignment(np.where(own, away / f[:, None], 1e3))
    return [(int(i), int(j)) for i, j in zip(rows, columns, strict=True) if own[i, j]]


def row(name: str, units: Sequence[dict[str, Any]]) -> str:
    """Rates with their intervals, structures drawn again."""
    rng = np.random.default_rng(0)
    parts = []
    for hit, of in (("found", "asked"), ("right", "given"), ("split", "strong")):
        hits, tries = [u[hit] for u in units], [u[of] for u in units]
        low, high = study.over_castings(hits, tries, rng) or (0.0, 1.0)
        parts.append(f"{sum(hits) / max(1, sum(tries)):.3f} ({low:.3f} to {high:.3f}) of {sum(tries):4}")
    return f"{name:10} {len(units):3} {sum(u['refused'] for u in units):7}  {'  '.join(parts)}"


def table(results: Sequence[tuple[Unit, dict[str, Any]]], luck: str) -> str:
    """By places, and by kind of structure."""
    lines = [
        f"Structures of 5 to 15 modes; {study.head(f'few_modes, {luck}')}; SIMULATED",
        f"asked: recall {AIMS['recall']}, precision {AIMS['precision']}, companions at most {AIMS['companions']}; 95 % intervals, structures drawn again",
        f"{'':10} {'n':>3} {'refused':>7}  {'recall, 15 dB clear':33} {'precision':33} companions of strong modes",
    ]
    for places in PLACES:
        mine = [r for u, r in results if u.places == places]
        lines += [row(f"{places} places" if places > 1 else "1 place", mine)] if mine else []
    for kind in KINDS:
        mine = [r for u, r in results if u.kind == kind]
        lines += [row(kind, mine)] if mine else []
    return "\n".join(lines)


def main() -> None:
    """Print and store."""
    ask = study.parser_of_made("bench.few_modes", __doc__.splitlines()[0])
    ask.add_argument("--structures", type=int, default=60, help="at each number of places")
    ask.add_argument("--luck", default="third")
    said = ask.parse_args()
    os.nice(15)
    units = [Unit(n, p, said.luck) for n in range(said.structures) for p in PLACES]
    study.told(table(study.made(said.work, units, told, said.minutes, said.cores), said.luck), RESULT, said.dry)


if __name__ == "__main__":
    main()
