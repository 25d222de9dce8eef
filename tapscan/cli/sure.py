"""The question whether a scan is of the plate it was given to, tapped in its order.

asking(refused)   a question for import_scan and finish: what speaks against it is shown, the person answers
"""

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from tapscan.records import Doubt

WAY_BACK = (
    "Exchanged? {} puts them back: in `tapscan scan import` before it is stored, in `tapscan scan rescreen` after."
)
Sure = Callable[[Sequence["Doubt"]], bool | None]


def asking(ask: bool, refused: bool | None) -> Sure:
    """`refused` : what a no means: False, nothing is stored; None, it is stored as doubtful. So it is where nobody is to be asked."""

    def sure(doubts: "Sequence[Doubt]") -> bool | None:
        from tapscan.cli.bullets import bullet, console

        for doubt in doubts:
            console().print(bullet(doubt.sentence))
            if doubt.give_back:
                given = " ".join(f"--assign {stands}={belongs}" for stands, belongs in doubt.give_back)
                console().print(bullet(WAY_BACK.format(given)))
        if not ask:
            return None
        if typer.confirm("\nIs it this plate, tapped in this order, for sure?", default=False):
            return True
        typer.echo("Nothing was stored." if refused is False else "Stored as doubtful: nothing is concluded from it.")
        return refused

    return sure
