"""The register that was used last, so that one which is not where it was is asked about and never silently begun anew.

remember(place)              notes it in the user's settings folder; a sentence where that cannot be done
last_register()              Last, or None where none was ever used
missing(place)               what to say where there is no register
may_begin(place, named)      raises RegisterProblem where a new one would hide the old
"""

import datetime as dt
import json
from pathlib import Path

from msgspec import Struct

from tapscan.errors import RegisterProblem
from tapscan.register.address import Place, Server, place_told, server_url
from tapscan.register.database import is_register
from tapscan.targets import write_text
from tapscan.workflow.where import own_settings_folder

FILE = "last-register.json"
WAYS = (
    "If it was moved or its disk is not plugged in: find the folder that holds register.sqlite and name it with --register (or in TAPSCAN_REGISTER). "
    "If it is lost: tapscan register restore BACKUP. To begin a new, empty one: tapscan plate add NAME --new"
)


class Last(Struct, frozen=True):
    """Where it lay, and when it was used last."""

    where: str  # a folder, or the address of a server without its password
    on: dt.date

    @property
    def there(self) -> bool:
        """Whether it still lies there; of a server only opening it tells."""
        return server_url(self.where) or is_register(Path(self.where))


def remember(place: Place) -> str | None:
    """Written only where it says something new."""
    now = Last(place_told(place), dt.date.today())
    if last_register() == now:
        return None
    path = own_settings_folder() / FILE
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_text(path, json.dumps({"folder": now.where, "on": now.on.isoformat()}) + "\n")
    except OSError as problem:
        return f"{path}: where the register lies could not be noted ({problem.strerror}); all else is done"
    return None


def last_register() -> Last | None:
    """None too where the note cannot be read: it is a help, and no part of the register."""
    try:
        told = json.loads((own_settings_folder() / FILE).read_text(encoding="utf-8"))
        return Last(str(told["folder"]), dt.date.fromisoformat(told["on"]))
    except (OSError, ValueError, KeyError, TypeError):
        return None


def missing(place: Place) -> str:
    """Where it was last, and what can be done."""
    last, folder = last_register(), place_told(place)
    if last is None:
        return f"{folder}: there is no register here; `tapscan plate add NAME` makes one, or name its folder with --register"
    if last.there:
        return f"{folder}: there is no register here; the one used last, on {last.on.isoformat()}, is {last.where}: name it with --register"
    here = "it was here" if last.where == folder else f"it was in {last.where}"
    return f"{folder}: there is no register here; {here} when it was used last, on {last.on.isoformat()}, and is not there now. {WAYS}"


def may_begin(place: Place, *, named: bool) -> None:
    """`named` : the person said where. A new one beside one that is in its place may be begun only in a place that was named."""
    last = last_register()
    if last is None or isinstance(place, Server) or is_register(place) or (last.there and named):
        return
    raise RegisterProblem(missing(place) + ("; to begin another one all the same: --new" if last.there else ""))
