"""Keys that are played instead of taps: one group of options for `scan import` and `scan record`."""

from typing import TYPE_CHECKING, Annotated

import typer
from msgspec import Struct
from msgspec.structs import replace

from tapscan.cli import options as o
from tapscan.errors import WrongUsage
from tapscan.wording import argument

if TYPE_CHECKING:
    from tapscan.workflow.check import Request
    from tapscan.workflow.scan import Unfinished


class Keys(Struct, frozen=True):
    """Keys were played on a strung piano, and nothing was tapped."""

    played: Annotated[
        bool, typer.Option("--played", help="Keys are played one by one, each short and firm; nothing is tapped.")
    ] = False
    keys: Annotated[
        o.TEXT,
        typer.Option(metavar="KEYS", help="With --played: the keys, such as A0-C8 or A3,C4; what is missing is told."),
    ] = None

    def wanted(self) -> tuple[str, ...]:
        """Empty: any. Raises BadRequest for what does not go together."""
        from tapscan.workflow.played import read_keys

        if self.keys and not self.played:
            raise WrongUsage("--keys is for played notes: add --played, or leave it out")
        return read_keys(self.keys) if self.keys else ()

    def of(self, request: "Request") -> "Request":
        """Raises BadRequest for what does not go together."""
        wanted = self.wanted()
        return replace(request, played=True, keys=",".join(wanted)) if self.played else request


def how_to_resume(unfinished: "Unfinished") -> str:
    """What to type."""
    from tapscan.workflow.taken import is_played

    return f"tapscan scan record {argument(unfinished.plate)}{' --played' * is_played(unfinished)} --resume"
