"""An invented shop and its invented plates.

    PLATES                         what happened to each plate, scan by scan
    with_pauses(taps)              taps as one recording, stations apart by a pause
    iron_c(number)                 temperature of the iron in that scan
    sound_of(plate, number)        the long recording of one scan, made tap by tap
    layout_text(plate)             its stations as a layout file

Bellweather Yard is no real shop, and nothing here was measured: all plates are finite-element simulations
(docs/simulated-plates.md). Only the modal tables are made beforehand; the taps are made when the demo runs.
"""

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from tapscan.demo.plates import Iron, State, Table, draw_iron, load_table, plate_modes
from tapscan.demo.strings import singing
from tapscan.demo.taps import Tap, scan, sensor_names, snr_noise_rms
from tapscan.records import FloatArray, Force
from tapscan.records import State as PlateState

CONTACT = "nobody: this shop is invented"
SHOP = "Bellweather Yard (an invented shop)"
SAMPLE_RATE_HZ = 16_000
TAP_S = 2.2
PAUSE_S = 2.0
HAND_S = 0.15
SNR_DB = 50.0
LOSS_SCATTER = 0.12  # from mode to mode
DATES = ("2026-04-14", "2026-09-22")  # of the two scans
ORDER: tuple[Force, ...] = ("soft", "hard")
PLAINER = {
    "near the bar": "keyboard end",
    "near the hitch pins": "tail end",
    "bar, ": "front bar, ",
}  # one word, one thing
SIDES = 'sides = { top = "tail", right = "treble", bottom = "keyboard", left = "bass" }'  # all its patterns are grands


class DemoPlate(Struct, frozen=True):
    """One plate of the shop: its pattern, its casting, and the flaw each scan finds it with."""

    name: str
    pattern: str
    story: str
    seed: int
    loss_factor: float
    cases: tuple[str, ...]  # one for each scan
    answer: str  # what was built in, and what should see it
    state: PlateState = "stripped"
    overload: float = 1.0  # how far the loudest tap stands over full scale
    strings: float = 0.0  # how loud unmuted strings sound along, of the loudest tap


PLATES = (
    DemoPlate(
        "BY-11",
        "parlour-grand",
        "stripped in spring, scanned again after a summer on the stand; nothing happened to it",
        11,
        0.0045,
        ("sound", "sound"),
        "Nothing was built into this plate, and nothing should be found.",
    ),
    DemoPlate(
        "BY-12",
        "small-grand",
        "dropped from a trolley between the scans; a strut is cracked through half its width",
        12,
        0.0040,
        ("sound", "width 50 %, strut 2 at 0.36"),
        "A strut was cracked through half its width after the first scan. That moves its modes by less than one plate "
        "differs from the next, so no single scan can show it; the comparison of the two scans should.",
    ),
    DemoPlate(
        "BY-13",
        "small-grand",
        "bought in; part of it was cooled too fast in the mould",
        13,
        0.0050,
        ("chill", "chill"),
        "A chilled region was built into this plate, and both scans should point at it.",
    ),
    DemoPlate(
        "BY-14",
        "small-grand",
        "tapped in a hurry, with the input turned up far too high",
        14,
        0.0045,
        ("sound",),
        "Most taps were cut off at full scale. Nothing can be said of such a recording, and nothing should be.",
        overload=40.0,
    ),
    DemoPlate(
        "BY-15",
        "parlour-grand",
        "looked at for a buyer, strung and in the piano; two strings were left unmuted",
        15,
        0.0100,
        ("sound",),
        "Two strings of 131 and 196 Hz were built in, and no flaw. The strings should be told from the plate, and the plate left undecided: "
        "in the piano this test has no measured reach.",
        state="strung",
        strings=0.05,
    ),
)


def sound_of(plate: DemoPlate, number: int) -> FloatArray:
    """Tap `plate` for its scan `number`, counted from 0: one recording, stations apart by a pause, noise throughout."""
    table = load_table(plate.pattern)
    rng = np.random.default_rng([plate.seed, number])
    state = State(temperature_c=iron_c(number))
    modes = plate_modes(table, plate.cases[number], _casting(table, plate), state)
    sensor = sensor_names(modes)[0]
    taps = scan(modes, sensor, SAMPLE_RATE_HZ, rng, ORDER, duration_s=TAP_S, snr_db=None)
    noise = snr_noise_rms(taps, SNR_DB)
    sound = with_pauses(_with_strings(taps, plate.strings, rng) if plate.strings else taps)
    heard = sound + noise * rng.standard_normal(len(sound))
    return np.clip(plate.overload * heard, -1, 1) if plate.overload > 1 else heard


def iron_c(number: int) -> float:
    """Temperature of the iron in scan `number`, counted from 0, degrees Celsius."""
    return 18.0 + 4.0 * number


def layout_text(plate: DemoPlate) -> str:
    """The stations and the outline of the plate's pattern as a layout file."""
    table = load_table(plate.pattern)
    edge = np.asarray(table.arrays["outline"])
    low, size = edge.min(axis=0), np.ptp(edge, axis=0)

    def points(metres: object) -> str:
        """The picture has its upper left corner at 0, 0; the pattern has y away from the keyboard, or upward."""
        x, y = np.clip((np.asarray(metres, dtype=float) - low) / size, 0, 1).T
        return "[" + ", ".join(f"[{a:.3f}, {1 - b:.3f}]" for a, b in zip(x, y, strict=True)) + "]"

    lines = [f'name = "{plate.pattern}"', 'kind = "simulated"', 'note = "An invented pattern."']
    lines += ["", "[outline]", f"width_to_height = {size[0] / size[1]:.3f}", SIDES, f"edge = {points(edge)}"]
    lines += [f"openings = [{', '.join(points(bay) for bay in table.meta['bays'])}]"]
    lines += [f"screws = {points(table.meta['bolts'])}"]
    lines += [f"width_m = {size[0]:.2f}"]
    for strut in table.meta["struts"]:
        ends, thick, wide = points([strut["start"], strut["end"]]), 1e3 * strut["depth_m"], 1e3 * strut["width_m"]
        lines += ["", "[[outline.member]]", f'name = "{strut["name"]}"', f"line = {ends}"]
        lines += [f"thickness_mm = {thick:.0f}", f"width_mm = {wide:.0f}"]
    for s in table.meta["stations"]:
        at = points([[s["x_m"], s["y_m"]]]).strip("[]").split(", ")
        where = s["description"]
        for word, plainer in PLAINER.items():
            where = where.replace(word, plainer)
        lines += ["", "[[station]]", f'name = "{s["name"]}"', f'where = "{where}"']
        lines += [f"x = {at[0]}", f"y = {at[1]}"]
    return "\n".join(lines) + "\n"


def _casting(table: Table, plate: DemoPlate) -> Iron:
    """The same casting in both scans."""
    rng = np.random.default_rng(plate.seed)
    return draw_iron(table, rng, mean_loss_factor=plate.loss_factor, loss_scatter=LOSS_SCATTER)


def _with_strings(taps: list[Tap], share: float, rng: np.random.Generator) -> list[Tap]:
    """Louder taps make the strings louder."""
    return [replace(t, samples=t.samples + _strings_of(t, share, rng)) for t in taps]


def _strings_of(tap: Tap, share: float, rng: np.random.Generator) -> FloatArray:
    start = round(tap.onset_s * SAMPLE_RATE_HZ)
    ring = singing(rng, len(tap.samples) - start, SAMPLE_RATE_HZ)
    return share * float(np.abs(tap.samples).max()) * np.concatenate([np.zeros(start), ring])


def with_pauses(taps: list[Tap]) -> FloatArray:
    """A hand stops each ring before the next tap."""
    pieces: list[FloatArray] = []
    hand = np.ones(round(TAP_S * SAMPLE_RATE_HZ))
    fade = round(HAND_S * SAMPLE_RATE_HZ)
    hand[-fade:] = 0.5 * (1 + np.cos(np.pi * np.arange(1, fade + 1) / fade))
    for i, tap in enumerate(taps):
        if i and tap.station != taps[i - 1].station:
            pieces.append(np.zeros(round(PAUSE_S * SAMPLE_RATE_HZ)))
        pieces.append(tap.samples * hand)
    return np.concatenate(pieces)
