"""The simulated reference recordings: a few taps of a few invented plates, as FLAC with the true modes beside them.

``write_recordings``   all of them, into a folder
"""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path

import numpy as np
import soundfile
from msgspec import Struct, field
from msgspec.structs import replace

from bench.plates.tables import VERSION
from bench.simulate import nuisance
from bench.simulate.breathing import Breathing, Strike, breathing_taps
from tapscan.demo.plates import PADS, PlateModes, State, draw_iron, load_table, plate_modes
from tapscan.demo.taps import Tap, add_noise, draw_force, scale_to, scan, snr_noise_rms

RATE_HZ = 16000.0
SECONDS = 3.0
SNR_DB = 45.0
SENSOR = "pickup 1"
ORDER = ("soft", "hard")
STATIONS = ("S2", "S5", "S9", "S12", "S16")


class Plan(Struct, frozen=True):
    """One recorded scan. ``casting`` : seed of the plate; the same seed is the same casting. ``scan_seed`` : of the hands."""

    name: str
    pattern: str
    case: str
    casting: int
    scan_seed: int
    says: str
    state: State = field(default_factory=State)
    breathing_gap_m: float | None = None
    rattle: bool = False
    stations: tuple[str, ...] = STATIONS


def moved_pads(millimetres: tuple[float, float, float, float]) -> State:
    """Pads a little elsewhere and 2 K warmer, as on another day."""
    pads = tuple(replace(p, shift_m=s / 1000.0) for p, s in zip(PADS, millimetres, strict=True))
    return State(temperature_c=22.0, supports=pads)


LONG = "strut 2 at 0.36"
PLANS = (
    Plan("sound-parlour-grand", "parlour-grand", "sound", 101, 1, "sound plate"),
    Plan("sound-upright-full", "upright-full", "sound", 102, 2, "sound plate"),
    Plan("strut-before", "small-grand", "sound", 103, 3, "sound plate, before the next one"),
    Plan(
        "strut-half-cut",
        "small-grand",
        f"width 50 %, {LONG}",
        103,
        4,
        f"the same casting, {LONG} cut through half its width; pads moved by up to 20 mm, 2 K warmer",
        moved_pads((12.0, -20.0, 8.0, -15.0)),
    ),
    Plan("chilled", "concert-grand", "chill", 104, 5, "chilled region at the treble end"),
    Plan(
        "breathing",
        "parlour-grand",
        f"depth 50 %, {LONG}",
        105,
        6,
        f"crack through half the depth of {LONG}, its mouth open by half a micrometre: it closes under hard taps",
        breathing_gap_m=5e-7,
    ),
    Plan(
        "rubbing",
        "parlour-grand",
        "sound",
        106,
        7,
        f"closed crack in {LONG} whose faces rub: hardly any shift, more loss in some modes",
        State(rubbing=f"depth 50 %, {LONG}"),
    ),
    Plan(
        "rattling-screw",
        "small-grand",
        "sound",
        107,
        8,
        "sound plate with a loose support screw",
        rattle=True,
    ),
)


def _taps(plan: Plan, modes: PlateModes, rng: np.random.Generator) -> list[Tap]:
    if plan.breathing_gap_m is not None:
        strikes = [Strike(s, draw_force(rng, word), word) for s in plan.stations for word in ORDER]
        return breathing_taps(modes, Breathing(plan.breathing_gap_m), strikes, SENSOR, RATE_HZ, SECONDS)
    taps = scan(
        modes,
        SENSOR,
        RATE_HZ,
        rng,
        ORDER,
        plan.stations,
        SECONDS,
        snr_db=None,
        hit_scatter_m=0.004,
        peak=None,
    )
    if plan.rattle:
        taps = [replace(t, samples=t.samples + nuisance.rattle(modes, t, SENSOR, 2, rng)) for t in taps]
    return taps


def plan_taps(plan: Plan) -> tuple[list[Tap], PlateModes]:
    """Taps of one plan with noise, scaled to a peak of 0.5, and the plate's modes."""
    table = load_table(plan.pattern)
    mean_loss = {101: 0.004, 102: 0.006, 103: 0.005, 104: 0.006, 105: 0.005, 106: 0.004, 107: 0.005}[plan.casting]
    iron = draw_iron(table, np.random.default_rng(plan.casting), mean_loss)
    modes = plate_modes(table, plan.case, iron, plan.state)
    rng = np.random.default_rng(plan.scan_seed)
    taps = _taps(plan, modes, rng)
    return scale_to(add_noise(taps, snr_noise_rms(taps, SNR_DB), rng), 0.5), modes


def write_recordings(folder: Path, say: Callable[[str], None] = print) -> None:
    """Write FLAC files (mono, 16 kHz, 16 bit) and CSV lists; existing files of the same names are replaced."""
    lines = []
    for plan in PLANS:
        taps, _ = plan_taps(plan)
        home = folder / plan.name
        home.mkdir(parents=True, exist_ok=True)
        counts: dict[str, int] = {}
        for tap in taps:
            counts[tap.station] = counts.get(tap.station, 0) + 1
            name = f"{tap.station}_{counts[tap.station]}_{tap.force_name}.flac"
            soundfile.write(home / name, tap.samples, int(RATE_HZ), subtype="PCM_16")
        _write_truth(home / "true_modes.csv", taps)
        lines.append(f"| `{plan.name}` | {load_table(plan.pattern).meta['title']} | {plan.says} |")
        say(f"{plan.name}: {len(taps)} taps")
    (folder / "README.md").write_text(_readme(lines), encoding="utf-8")


def _write_truth(path: Path, taps: list[Tap]) -> None:
    """One row a mode; strength in dB re full scale of each station's first hard tap."""
    hard = {t.station: t for t in reversed(taps) if t.force_name == "hard"}
    stations = [s for s in STATIONS if s in hard]
    first = taps[0].truth
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["frequency_hz", "decay_rate_per_s", *[f"strength_{s}_db" for s in stations]])
        for i, (frequency, decay) in enumerate(zip(first.frequency_hz, first.decay_rate_per_s, strict=True)):
            levels = [20.0 * np.log10(max(hard[s].truth.strength[i], 1e-12)) for s in stations]
            writer.writerow([f"{frequency:.9g}", f"{decay:.7g}", *[f"{level:.2f}" for level in levels]])


def _readme(lines: list[str]) -> str:
    table = "\n".join(["| folder | pattern | what |", "|---|---|---|", *lines])
    return f"""# Simulated reference recordings

**All of this is simulated; no iron was tapped.** Taps on invented plates, computed from the modal tables in
`tapscan/demo/tables` (generator version {VERSION}); see [docs/simulated-plates.md](../../docs/simulated-plates.md) for what
these plates are and are not.

Made by, from the repository's root:

    python -m bench.plates recordings

Made again, frequencies agree to 1e-6 and decoded samples to one step of 16 bit.

FLAC, mono, {RATE_HZ:.0f} Hz, 16 bit, {SECONDS:.0f} s, strike at about 0.1 s. Contact pickup (velocity at one point), white
noise {SNR_DB:.0f} dB below the rms of the first 0.5 s of the median tap. File names: station, number, force. One gain for all taps of a folder.

{table}

`true_modes.csv` in each folder: frequency, decay rate (1/s) and strength of every mode that was put in, in dB re full scale
when the force of the first hard tap ends. The first five or so modes, below 8 Hz, are the plate rocking on its supports.
For `breathing` the list is that of the crack open, as at rest and under soft taps; a hard tap closes it part of the time and has no fixed
list. For `rattling-screw` the screw is not in the list.
"""
