"""The options that hold recordings against a pattern.

Pattern   --pattern, --sensor, --register
"""

from typing import TYPE_CHECKING, Annotated, Optional

import typer
from msgspec import Struct

from tapscan.cli import options as o
from tapscan.sensors import SensorKind, read_kind

if TYPE_CHECKING:
    from tapscan.records import Screening
    from tapscan.settings import Settings


class Pattern(Struct, frozen=True):
    """What was typed."""

    pattern: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(metavar="NAME", help="Hold it against the plates of that pattern (tapscan pattern list)."),
    ] = None
    sensor: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(help="What listened, for --pattern: contact or microphone."),
    ] = None
    register: o.REGISTER = None

    @property
    def kind(self) -> SensorKind | None:
        """None where it was not told."""
        return read_kind(self.sensor) if self.sensor else None

    def known(self) -> str | None:
        """The pattern's own name; looked up before anything is listened to, so that a wrong one costs no time."""
        if self.pattern is None:
            return None
        from tapscan.workflow.pattern import find_pattern

        return find_pattern(o.opened(self.register), self.pattern).name

    def beside(self, screening: "Screening", name: str, settings: "Settings") -> "Screening":
        """With what the pattern tells."""
        from tapscan.workflow.pattern import held_beside

        return held_beside(o.opened(self.register), name, screening, self.kind, settings)
