"""Takes for the README's seven lines: one simulated plate, lifted and set down again between four rounds of eight places.

Simulated: the demo's small grand, sound, a soft and two hard taps at each place; pads lie some 10 mm beside where they lay, the iron is as warm as the lines say.
"""

import shlex
from pathlib import Path

import numpy as np

from tapscan.demo.plates import PADS, State, Support, draw_iron, load_table, plate_modes
from tapscan.demo.shop import SAMPLE_RATE_HZ, SNR_DB, TAP_S, with_pauses
from tapscan.demo.taps import scan, sensor_names
from tapscan.recording.files import save_flac

ORDER = ("soft", "hard", "hard")
PLACES = 8
PAD_SCATTER_M = 0.01


def life_of(text: str) -> list[list[str]]:
    """The words of each line of `A plate's life`, without the first, which is tapscan."""
    block = text.split("## A plate's life", 1)[1].split("```sh\n", 1)[1].split("```", 1)[0]
    lines = [shlex.split(line) for line in block.splitlines()]
    assert all(line[0] == "tapscan" for line in lines), lines
    return [line[1:] for line in lines]


def take(number: int, iron_c: float) -> np.ndarray:
    """(n,) of the round `number`: the same casting in each."""
    table, rng = load_table("small-grand"), np.random.default_rng([7, number])
    pads = tuple(Support(p.place, shift_m=float(np.clip(rng.normal(0, PAD_SCATTER_M), -0.03, 0.03))) for p in PADS)
    iron = draw_iron(table, np.random.default_rng(7), mean_loss_factor=0.004, loss_scatter=0.12)
    modes = plate_modes(table, "sound", iron, State(temperature_c=iron_c, supports=pads))
    places = table.station_names[:: len(table.station_names) // PLACES][:PLACES]
    taps = scan(modes, sensor_names(modes)[0], SAMPLE_RATE_HZ, rng, ORDER, places, TAP_S, SNR_DB)
    return with_pauses(taps)


def put_takes(lines: list[list[str]], folder: Path) -> None:
    """One recording for each import line, by the name it says (FLAC inside, whatever the name says)."""
    for number, line in enumerate(line for line in lines if line[:2] == ["scan", "import"]):
        save_flac(folder / line[3], take(number, float(line[line.index("--iron-c") + 1])), SAMPLE_RATE_HZ)
