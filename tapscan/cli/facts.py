"""How a scan was made, as typed: one group of options (groups.py) for every command that asks for it.

    Typed.conditions()             ScanConditions for a new scan; what was not typed is unknown
    Typed.changed(conditions)      conditions with what was typed; `unknown` clears a value
    with_sensor(typed, ask)        asks which kind of sensor it was, or says what to add

A new fact of a scan is one field here, one in records.ScanConditions and one column.
"""

import sys
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import typer
from msgspec import Struct
from msgspec.structs import replace

from tapscan.cli import options as o
from tapscan.cli.states import read_state
from tapscan.errors import BadRequest
from tapscan.sensors import HEAVIEST_G, OWN_WORDS, SENSOR_KINDS, SensorKind, read_kind

if TYPE_CHECKING:
    from tapscan.records import ScanConditions

ADD_SENSOR = (
    "the sensor is kept as unknown: add --sensor contact (a pickup on the iron) or --sensor microphone; "
    "for a scan that is stored, `tapscan scan edit SCAN --sensor ...`"
)
QUESTION = f"Sensor: contact (a pickup on the iron) or microphone? [{'/'.join(SENSOR_KINDS)}/unknown]"


class Typed(Struct, frozen=True):
    """One field an option, as typed; None: not typed."""

    state: o.STATE = None
    supports: o.SUPPORTS = None
    air_c: o.AIR = None
    iron_c: o.IRON = None
    iron_end_c: o.IRON_END = None
    hours: o.HOURS = None
    sensor: o.SENSOR = None
    sensor_note: o.SENSOR_NOTE = None
    sensor_mass_g: o.SENSOR_MASS = None
    sensor_place: o.SENSOR_PLACE = None
    hammer: o.HAMMER = None
    fitting: o.FITTING = None
    bare: o.BARE = False

    def conditions(self) -> "ScanConditions":
        """Raises BadRequest for what cannot be read."""
        from tapscan.records import ScanConditions

        return self.changed(ScanConditions())

    def changed(self, before: "ScanConditions") -> "ScanConditions":
        """Raises BadRequest for what cannot be read."""
        sensor = {name.removeprefix("sensor_"): value for name, value in self._read().items() if name in SENSOR}
        own = {name: value for name, value in self._read().items() if name not in SENSOR}
        if self.fitting or self.bare:
            own["fittings"] = o.fittings(self.fitting, self.bare)
        return replace(before, sensor=replace(before.sensor, **sensor), **own)

    def _read(self) -> dict[str, Any]:
        """Values of what was typed, by the names of the records' fields."""
        typed = {name: getattr(self, name) for name in READERS if getattr(self, name) is not None}
        return {READERS[name][0]: READERS[name][1](text) for name, text in typed.items()}


def read_sensor(text: str | None) -> SensorKind | None:
    """None for nothing or `unknown`."""
    told = o.words(text)
    return None if told is None else read_kind(told, OWN_WORDS)


def _state(text: str) -> Any:
    return read_state(o.words(text))


NOTHING = Typed()
READERS: dict[str, tuple[str, Callable[[str], Any]]] = {  # option: field of the record, and how its text is read
    "state": ("state", _state),
    "supports": ("supports", o.words),
    "air_c": ("air_c", lambda text: o.celsius(text, "--air-c")),
    "iron_c": ("iron_c", lambda text: o.celsius(text, "--iron-c")),
    "iron_end_c": ("iron_end_c", lambda text: o.celsius(text, "--iron-end-c")),
    "hours": ("hours_in_room", lambda text: o.number(text, "--hours-in-room", 0, 1e5, "hours")),
    "sensor": ("sensor_kind", read_sensor),
    "sensor_note": ("sensor_note", o.words),
    "sensor_mass_g": ("sensor_mass_g", lambda text: o.number(text, "--sensor-mass-g", 0, HEAVIEST_G, "grams")),
    "sensor_place": ("sensor_place", o.words),
    "hammer": ("hammer", o.words),
}
SENSOR = {field for field, _ in READERS.values() if field.startswith("sensor_")}


def with_sensor(typed: Typed, *, ask: bool = True, tell: bool = True) -> Typed:
    """With the kind of sensor: a question on a terminal, else one line that says what to add. It is never assumed. tell : the line is said now."""
    if typed.sensor is not None:
        read_sensor(typed.sensor)
        return typed
    if not (ask and sys.stdin.isatty()):
        if tell:
            tell_no_sensor()
        return typed
    answer = typer.prompt(QUESTION, default="unknown", show_default=False, value_proc=_answer)
    return replace(typed, sensor=answer)


def tell_no_sensor() -> None:
    """What would say it."""
    typer.echo(f"tapscan: {ADD_SENSOR}", err=True)


def _answer(text: str) -> str:
    """Asked again until it can be read."""
    try:
        return read_sensor(text) or "unknown"
    except BadRequest:
        raise typer.BadParameter("write contact, microphone or unknown") from None
