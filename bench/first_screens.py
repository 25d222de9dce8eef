"""Six first screens for fresh readers, who see nothing else: as text and as pictures, from recordings to the finished page.

    python -m bench.first_screens FOLDER      NAME.txt, NAME.png and the whole page NAME.html for each of SCREENS

What a reader should take from each is in bench/first_screens_key.toml, written before anybody was asked. The recordings are the demo's; for the
buzz a loose screw is added to one of them, for the partial take one is cut off. Needs Chromium for the pictures. Everything is simulated and invented.
"""

from __future__ import annotations

import os
import re
import shutil
import sys
import tomllib
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
from msgspec.structs import replace

from bench.report_pages import SHOP, picture, tapscan
from bench.simulate.nuisance import rattle
from tapscan.demo import shop as demo
from tapscan.demo.plates import State, draw_iron, load_table, plate_modes
from tapscan.demo.taps import scale_to, scan, sensor_names, snr_noise_rms
from tapscan.recording.files import save_flac
from tapscan.records import FloatArray

KEY = Path(__file__).with_name("first_screens_key.toml")
SCREENS = ("changed", "hard-iron", "buzz", "strung", "nothing-found", "partial-take")
DAYS = ("2026-03-02", "2026-09-02")
NAMES = {"buzz": "BY-21", "partial-take": "BY-22"}  # else the plate's own: six screens, six plates
PLATES = {"changed": "BY-12", "hard-iron": "BY-13", "buzz": "BY-11", "strung": "BY-15", "nothing-found": "BY-11", "partial-take": "BY-11"}  # fmt: skip
SCANS = {"changed": 2, "nothing-found": 2}  # of the same plate, the first one the baseline
PLACES_TAPPED = 11  # of 20, in the partial take
LOOSE_SCREW = 3  # place of the rattling screw, counted from 0
GAP_M, STIFFNESS_N_M = 2e-6, 2e3  # of its head over the iron; stiffer screws are taken for taps of their own
SIZE = "1280,1360"
BLOCKS = {"p", "li", "dt", "dd", "h1", "h2", "h3", "div", "figcaption", "figure", "br"}


def key() -> dict[str, Any]:
    """What, where, how sure, what next and who, for each screen."""
    return tomllib.loads(KEY.read_text(encoding="utf-8"))


def make(folder: Path) -> list[Path]:
    """The pages, by the commands a shop would type."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "shop.toml").write_text(SHOP)
    shutil.rmtree(folder / "registers", ignore_errors=True)
    return [_page(folder, name) for name in SCREENS]


def _page(folder: Path, name: str) -> Path:
    plate = next(p for p in demo.PLATES if p.name == PLATES[name])
    plate = replace(plate, name=NAMES.get(name, plate.name))
    register = f"registers/{name}"
    layout = folder / f"{plate.pattern}.toml"
    layout.write_text(demo.layout_text(plate))
    tapscan("plate", "add", plate.name, "--new", "--register", register, folder=folder)
    for number in range(SCANS.get(name, 1)):
        sound = folder / f"{name}_{number + 1}.flac"
        save_flac(sound, _sound(plate, number, name), demo.SAMPLE_RATE_HZ)
        tapscan(*_import(plate, sound.name, layout.name, number, name), "--register", register, folder=folder)
    given = ("--shop", "shop.toml", "--register", register, "--out", f"{name}.html")
    tapscan("report", plate.name, *given, folder=folder)
    return folder / f"{name}.html"


def _import(plate: demo.DemoPlate, sound: str, layout: str, number: int, name: str) -> list[str]:
    words = ["scan", "import", plate.name, sound, "--layout", layout, "--order", "soft,hard", "--state", plate.state]
    words += ["--sensor", "contact", "--iron-c", f"{demo.iron_c(number)}", "--bare", "--yes", "--date", DAYS[number]]
    words += ["--baseline"] if name in SCANS and number == 0 else []
    return [*words, *(["--partial"] if name == "partial-take" else [])]


def _sound(plate: demo.DemoPlate, number: int, name: str) -> FloatArray:
    if name == "buzz":
        return _with_loose_screw(plate)
    sound = demo.sound_of(plate, number)
    if name != "partial-take":
        return sound
    place_s = len(demo.ORDER) * demo.TAP_S + demo.PAUSE_S
    return sound[: round((PLACES_TAPPED * place_s - demo.PAUSE_S) * demo.SAMPLE_RATE_HZ)]


def _with_loose_screw(plate: demo.DemoPlate) -> FloatArray:
    """A scan of the sound plate in which one screw rattles."""
    rng = np.random.default_rng([plate.seed, 0])
    table = load_table(plate.pattern)
    iron = draw_iron(
        table, np.random.default_rng(plate.seed), mean_loss_factor=plate.loss_factor, loss_scatter=demo.LOSS_SCATTER
    )
    modes = plate_modes(table, "sound", iron, State(temperature_c=demo.iron_c(0)))
    sensor = sensor_names(modes)[0]
    taps = scan(modes, sensor, demo.SAMPLE_RATE_HZ, rng, demo.ORDER, duration_s=demo.TAP_S, snr_db=None, peak=None)
    taps = [
        replace(t, samples=t.samples + rattle(modes, t, sensor, LOOSE_SCREW, rng, GAP_M, STIFFNESS_N_M)) for t in taps
    ]
    taps = scale_to(taps, 0.5)
    sound = demo.with_pauses(taps)
    return np.asarray(sound + snr_noise_rms(taps, demo.SNR_DB) * rng.standard_normal(len(sound)))


class _Words(HTMLParser):
    """Text of the first screen, a line for each block; drawings by what they are called."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.lines: list[str] = [""]
        self.inside: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.inside.append(tag)
        if tag in BLOCKS:
            self.lines.append("")

    def handle_endtag(self, tag: str) -> None:
        while self.inside and self.inside.pop() != tag:
            pass

    def handle_data(self, data: str) -> None:
        if "svg" not in self.inside or self.inside[-1] == "desc":
            self.lines[-1] += data


def words_of(page: str) -> str:
    """What stands on the first screen, above the lines for the evaluation."""
    head = page[page.index("<header") : page.index('<section class="paper">')]
    reading = _Words()
    reading.feed(head)
    lines = (re.sub(r"\s+", " ", line).strip() for line in reading.lines)
    return "\n".join(line for line in lines if line) + "\n"


def main() -> None:
    """Pages, texts, pictures."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    if len(sys.argv) != 2:
        raise SystemExit("python -m bench.first_screens FOLDER")
    folder = Path(sys.argv[1]).absolute()
    for page in make(folder):
        page.with_suffix(".txt").write_text(words_of(page.read_text(encoding="utf-8")), encoding="utf-8")
        picture(page, page.with_suffix(".png"), SIZE)
    print(f"{len(SCREENS)} first screens in {folder}; what a reader should take from them: {KEY}")


if __name__ == "__main__":
    main()
