"""Takes for lines that the docs print: one simulated plate, lifted and set down again between rounds of eight places.

Simulated: a sound plate of an invented pattern, a soft and two hard taps at each place; pads lie some 10 mm beside where they lay, the iron is as warm as the lines say.

lines_of(text, title)      words of the lines of the first block under a title
put_takes(lines, folder)   a recording for each import among them
"""

import re
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
USUAL_C = 20.0
PATTERNS = {"grand-short": "small-grand", "upright-long": "upright-full"}  # by the layout of the line


def lines_of(text: str, title: str) -> list[list[str]]:
    """Without the first word, which is tapscan."""
    found = re.search(rf"^## {re.escape(title)}.*?```sh\n(.*?)```", text, re.S | re.M)
    assert found, title
    lines = [shlex.split(line) for line in found[1].strip().splitlines()]
    assert all(line[0] == "tapscan" for line in lines), lines
    return [line[1:] for line in lines]


def take(number: int, layout: str, iron_c: float, sensor: str) -> np.ndarray:
    """(n,) of the round `number`: the same casting in each."""
    table, rng = load_table(PATTERNS[layout]), np.random.default_rng([7, number])
    pads = tuple(Support(p.place, shift_m=float(np.clip(rng.normal(0, PAD_SCATTER_M), -0.03, 0.03))) for p in PADS)
    iron = draw_iron(table, np.random.default_rng(7), mean_loss_factor=0.004, loss_scatter=0.12)
    modes = plate_modes(table, "sound", iron, State(temperature_c=iron_c, supports=pads))
    places = table.station_names[:: len(table.station_names) // PLACES][:PLACES]
    heard_by = sensor_names(modes)[-1 if sensor == "microphone" else 0]
    return with_pauses(scan(modes, heard_by, SAMPLE_RATE_HZ, rng, ORDER, places, TAP_S, SNR_DB))


def put_takes(lines: list[list[str]], folder: Path) -> None:
    """By the names that the lines say (FLAC inside, whatever the name says)."""
    for number, line in enumerate(line for line in lines if line[:2] == ["scan", "import"]):
        told = dict(zip(line, [*line[1:], ""], strict=True))
        assert told["--order"] == ",".join(ORDER)
        samples = take(number, told["--layout"], float(told.get("--iron-c", USUAL_C)), told["--sensor"])
        save_flac(folder / line[3], samples, SAMPLE_RATE_HZ)
