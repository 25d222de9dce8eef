"""What a visit of the same day says of the plate, where it was not typed.

as_visited(opened, plate, on, facts)   the same facts with the visit's state, and a line that says so
"""

import datetime as dt
from typing import TYPE_CHECKING

import typer
from msgspec.structs import replace

from tapscan.cli.facts import Typed

if TYPE_CHECKING:
    from tapscan.workflow.register import Register


def as_visited(opened: "Register", plate: str, on: dt.date, facts: Typed) -> Typed:
    """`--state unknown` is typed, and stays."""
    from tapscan.workflow.visit import state_on

    if facts.state is not None or (found := state_on(opened, plate, on)) is None:
        return facts
    typer.echo(f"tapscan: state of the plate: {found}, as noted with the visit of {on}; --state says another", err=True)
    return replace(facts, state=found)
