"""Which tap belongs where, as typed: one group of options for `check` and `scan import`.

Taps.filled(kept)                  with the shop's defaults where nothing was typed
Taps.request(settings, ...)        what they say, as the workflow takes it
"""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Optional

import typer
from msgspec import Struct
from msgspec.structs import replace

from tapscan.cli import options as o
from tapscan.errors import WrongUsage
from tapscan.places import State

if TYPE_CHECKING:
    from tapscan.cli.kept import Kept
    from tapscan.workflow.check import Request


class Taps(Struct, frozen=True):
    """One field an option, as typed; None: not typed."""

    layout: Annotated[o.TEXT, typer.Option(help="Layout name (tapscan layout list) or a .toml file.")] = None
    per_station: Annotated[Optional[int], typer.Option(min=1, help="How many taps each station got.")] = None  # noqa: UP045
    order: Annotated[o.TEXT, typer.Option(help="Force of the taps at each station: soft,soft,hard,hard.")] = None
    held: o.HELD = False
    partial: o.PARTIAL = False

    def filled(self, kept: "Kept") -> "Taps":
        """The shop's layout and order where none was typed."""
        layout, order = kept.taps(self.layout, self.order, self.per_station)
        return replace(self, layout=layout, order=order)

    def request(self, settings: Path | None, state: State | None, *, pictures: bool) -> "Request":
        """Raises BadRequest where they contradict each other."""
        from tapscan.workflow.check import Request
        from tapscan.workflow.layout import read_layout, read_order
        from tapscan.workflow.settings import read_settings

        forces = read_order(self.order) if self.order is not None else None
        if forces and self.per_station and len(forces) != self.per_station:
            raise WrongUsage(
                f"--order names {len(forces)} taps and --per-station {self.per_station}; leave one of them out"
            )
        return Request(
            settings=read_settings(settings),
            layout=read_layout(self.layout) if self.layout else None,
            state=state,
            per_station=self.per_station,
            order=forces,
            pictures=pictures,
            parts_held=self.held,
            partial=self.partial,
        )
