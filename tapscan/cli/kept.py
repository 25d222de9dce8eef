"""The shop's defaults, where an option was not typed.

kept = Kept(register)
layout = kept.or_kept("layout", layout)    the option as typed, else the shop's
kept.tell()                                one line on what was taken from the defaults
"""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import typer
from msgspec.structs import replace

from tapscan.cli import options as o
from tapscan.cli.facts import Typed
from tapscan.cli.states import read_state
from tapscan.places import IN_PIANO

NONE = "none"
OF_THE_SENSOR = ("sensor_note", "sensor_mass_g", "sensor_place")


class Kept:
    """`register` : the place typed, if any."""

    def __init__(self, register: str | None = None) -> None:
        from tapscan.workflow.defaults import read_defaults

        self.folder = o.folder_of(register)
        self.defaults = read_defaults(self.folder)
        self.used: list[str] = []
        self.not_taken: str | None = None

    def or_kept(self, key: str, typed: str | None) -> str | None:
        """None where it was neither typed nor kept. Raises BadSettings where the file has gone that is kept."""
        from tapscan.workflow.defaults import OF_FILES, see_there

        if typed is not None:
            return typed
        value: str | None = getattr(self.defaults, key)
        if value is not None:
            if key in OF_FILES:
                see_there(key, value)
            self.used.append(f"{key} {value}")
        return value

    def taps(self, layout: str | None, order: str | None, per_station: int | None) -> tuple[str | None, str | None]:
        """Layout and order; `none` says that there is none. A number of taps that was typed leaves the shop's order out."""
        layout = self.or_kept("layout", layout)
        order = order if per_station else self.or_kept("order", order)
        from tapscan.workflow.own_layouts import layout_at

        layout = _unless_none(layout)
        return layout_at(self.folder, layout) if layout else None, _unless_none(order)

    def facts(self, typed: Typed, *, played: bool = False, files: Sequence[str] = ()) -> Typed:
        """What the shop says of its sensor is taken only for that sensor, and of supports only where the plate lies on some.

        played : keys were; files : recordings that are there already, which a phone may have made
        """
        other = typed.sensor is not None and typed.sensor.strip().casefold() != self.defaults.sensor
        if files and typed.sensor is None:
            from tapscan.workflow.phone_take import not_taken

            self.not_taken = not_taken({f: Path(f).name for f in files}, self.defaults.sensor)
        lies = () if played or read_state(o.words(typed.state)) in IN_PIANO else ("supports",)
        struck = () if played else ("hammer",)
        listened = () if self.not_taken else ("sensor", *(() if other else OF_THE_SENSOR))
        keys = (*lies, *struck, *listened)
        told: dict[str, Any] = {key: self.or_kept(key, getattr(typed, key)) for key in keys}
        return replace(typed, **told)

    def shop(self, typed: Path | None) -> Path | None:
        """The shop's own file."""
        told = self.or_kept("shop", str(typed) if typed else None)
        return Path(told) if told else None

    def tell(self) -> None:
        """On standard error, so that JSON stays JSON."""
        if self.used:
            typer.echo(f"tapscan: as the shop always does: {', '.join(self.used)} (tapscan settings default)", err=True)
        if self.not_taken:
            typer.echo(f"tapscan: {self.not_taken}; --sensor says what listened", err=True)


def _unless_none(text: str | None) -> str | None:
    return None if text is None or text.strip().casefold() == NONE else text
