"""Recordings that bench/speed.py and bench/profile.py time: 60 strikes at 20 places of one simulated plate, one file each.

    write(kind, folder)    the recording of one of KINDS, in 24 bits; its path
    KINDS                  what is timed

Each strike is followed for 3 s. Modes above the plate's table are invented up to 10 kHz (bench/simulate/high_modes.py) where
the sampling rate is 48 kHz, so that a hard tap sounds as far up as on iron. The room is bench/simulate/room.py's box, T60 0.6 s,
with the microphone 0.5 m away; the rattle is a loose screw at one support (bench/simulate/nuisance.py). Simulated throughout.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import soundfile
from msgspec import Struct
from msgspec.structs import replace

from bench.simulate.high_modes import extend_modes
from bench.simulate.nuisance import rattle
from bench.simulate.room import Room, impulse_response, in_room
from bench.simulate.take import one_recording
from tapscan.demo.plates import PlateModes, draw_iron, load_table, plate_modes
from tapscan.demo.taps import Tap, add_noise, scale_to, scan, sensor_names, snr_noise_rms

PATTERN = "parlour-grand"
ORDER = ("soft", "hard", "hard")
STRIKES, SECONDS, SNR_DB = 60, 3.0, 50.0
TOP_HZ = 10_000.0
ROOM = Room(0.6)
RATTLE_PLACE = 2


class Kind(Struct, frozen=True):
    """What a recording is like."""

    rate_hz: int
    room: bool = False
    rattles: bool = False

    @property
    def sensor(self) -> str:
        """A microphone in the room, else a contact pickup."""
        return next(n for n in sensor_names(plate(self.rate_hz)) if self.room == n.startswith("near"))


KINDS = {
    "pickup, 16 kHz": Kind(16_000),
    "pickup, 48 kHz": Kind(48_000),
    "microphone in a room, 48 kHz": Kind(48_000, room=True),
    "rattling plate, 16 kHz": Kind(16_000, rattles=True),
    "rattling plate, 48 kHz": Kind(48_000, rattles=True),
}


@cache
def plate(rate_hz: int, casting: int = 1) -> PlateModes:
    """One casting by its seed; at 48 kHz with modes invented above its table."""
    table = load_table(PATTERN)
    modes = plate_modes(table, "sound", draw_iron(table, np.random.default_rng(casting)))
    return extend_modes(modes, np.random.default_rng(3), TOP_HZ) if rate_hz > 2.2 * TOP_HZ else modes


def taps(
    kind: Kind, places: int | None = None, order: tuple[str, ...] = ORDER, casting: int = 1, seed: int = 2
) -> list[Tap]:
    """All taps of one scan; `seed` : of hand, rattle and noise."""
    modes, rng = plate(kind.rate_hz, casting), np.random.default_rng(seed)
    names, left, made = modes.table.station_names, places or STRIKES // len(order), []
    while left > 0:  # more places than the table has: each is tapped anew as a place of its own
        made += scan(modes, kind.sensor, kind.rate_hz, rng, order, names[:left], SECONDS, None, peak=None)
        left -= len(names)
    if kind.rattles:
        made = [replace(t, samples=t.samples + rattle(modes, t, kind.sensor, RATTLE_PLACE, rng)) for t in made]
    if kind.room:
        response = impulse_response(ROOM, kind.rate_hz)
        made = [replace(t, samples=in_room(t.samples, response)) for t in made]
    return scale_to(add_noise(made, snr_noise_rms(made, SNR_DB), rng), 0.5)


def write(
    name: str,
    folder: Path,
    kind: Kind | None = None,
    places: int | None = None,
    order: tuple[str, ...] = ORDER,
    casting: int = 1,
) -> Path:
    """One recording of all taps of a kind; kept where it is there already. `kind` : what `name` stands for, if it is none of KINDS."""
    path = folder / f"{name.replace(',', '').replace(' ', '-')}.wav"
    if not path.exists():
        kind = kind or KINDS[name]
        samples, _ = one_recording(taps(kind, places, order, casting))
        soundfile.write(path, samples, kind.rate_hz, subtype="PCM_24")
    return path
