"""The register that was used last, so that one which is not where it was is asked about and never silently begun anew.

remember(folder)             notes it in the user's settings folder; a sentence where that cannot be done
last_register()              Last, or None where none was ever used
missing(folder)              what to say where there is no register in `folder`
may_begin(folder, named)     raises RegisterProblem where a new one would hide the old
"""

import datetime as dt
import json
from dataclasses import dataclass
from pathlib import Path

from tapscan.errors import RegisterProblem
from tapscan.register.database import is_register
from tapscan.targets import write_text
from tapscan.workflow.where import own_settings_folder

FILE = "last-register.json"
WAYS = (
    "If it was moved or its disk is not plugged in: find the folder that holds register.sqlite and name it with --register (or in TAPSCAN_REGISTER). "
    "If it is lost: tapscan register restore BACKUP. To begin a new, empty one: tapscan plate add NAME --new"
)


@dataclass(frozen=True)
class Last:
    """Where it lay, and when it was used last."""

    folder: Path
    on: dt.date

    @property
    def there(self) -> bool:
        """Whether it still lies there."""
        return is_register(self.folder)


def remember(folder: Path) -> str | None:
    """Written only where it says something new."""
    now = Last(folder.absolute(), dt.date.today())
    if last_register() == now:
        return None
    path = own_settings_folder() / FILE
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_text(path, json.dumps({"folder": str(now.folder), "on": now.on.isoformat()}) + "\n")
    except OSError as problem:
        return f"{path}: where the register lies could not be noted ({problem.strerror}); all else is done"
    return None


def last_register() -> Last | None:
    """None too where the note cannot be read: it is a help, and no part of the register."""
    try:
        told = json.loads((own_settings_folder() / FILE).read_text(encoding="utf-8"))
        return Last(Path(told["folder"]), dt.date.fromisoformat(told["on"]))
    except (OSError, ValueError, KeyError, TypeError):
        return None


def missing(folder: Path) -> str:
    """Where it was last, and what can be done."""
    last, folder = last_register(), folder.absolute()
    if last is None:
        return f"{folder}: there is no register here; `tapscan plate add NAME` makes one, or name its folder with --register"
    if last.there:
        return f"{folder}: there is no register here; the one used last, on {last.on.isoformat()}, is {last.folder}: name it with --register"
    here = "it was here" if last.folder == folder else f"it was in {last.folder}"
    return f"{folder}: there is no register here; {here} when it was used last, on {last.on.isoformat()}, and is not there now. {WAYS}"


def may_begin(folder: Path, *, named: bool) -> None:
    """`named` : the person said where. A new one beside one that is in its place may be begun only in a place that was named."""
    last = last_register()
    if last is None or is_register(folder) or (last.there and named):
        return
    raise RegisterProblem(missing(folder) + ("; to begin another one all the same: --new" if last.there else ""))
