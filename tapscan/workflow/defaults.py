"""What the shop does every time, kept so that nobody types it again.

    layout = "grand-dense"
    order = "soft,hard,hard"
    sensor = "contact"
    shop = "/home/shop/shop.toml"

defaults_file(folder)              where they are kept: the register's folder, else the user's own settings folder
read_defaults(folder)              Defaults; nothing kept: all None
change_defaults(folder, words)     from KEY=VALUE; checked, then written whole; an empty value takes one away
see_there(key, value)              raises BadSettings where the file that is kept has gone

They are used where an option is not typed: layout and order by `check`, `scan import` and `scan record`; sensor, supports and hammer by the
last two, supports only of a plate that is out of its piano; dates wherever a day is typed; shop by every page. They never change what an earlier scan says.
A layout of the register's own is written as it lies in the register's folder (layouts/my-own.toml), so that it goes with that folder; it is given as a whole path.
"""

import unicodedata
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path, PurePath, PurePosixPath, PureWindowsPath
from typing import Any

from msgspec import Struct
from msgspec.structs import asdict

from tapscan.errors import BadRequest, BadSettings, WrongUsage
from tapscan.layouts import read_layout
from tapscan.layouts.assignment import read_order
from tapscan.report.shop import DATES, ISO, read_shop
from tapscan.sensors import HEAVIEST_G, read_kind
from tapscan.sources import on_one_line
from tapscan.targets import write_text
from tapscan.toml_files import NotToml, shown, toml_table, toml_text
from tapscan.workflow.own_layouts import FOLDER as LAYOUTS
from tapscan.workflow.own_layouts import layout_at, see_names
from tapscan.workflow.where import own_settings_folder

FILE = "defaults.toml"
MOST_MONTHS = 120
HEAD = "# What this shop does every time; `tapscan settings default` shows and changes it.\n"


class Defaults(Struct, frozen=True):
    """As typed; None: nothing kept."""

    layout: str | None = None  # name, or the whole path of a file
    order: str | None = None
    sensor: str | None = None
    sensor_note: str | None = None
    sensor_mass_g: str | None = None
    sensor_place: str | None = None
    supports: str | None = None
    hammer: str | None = None
    dates: str | None = None
    shop: str | None = None  # whole path of the shop's file
    again_months: str | None = None  # after how many months a plate is scanned again

    @property
    def date_form(self) -> str:
        """How the shop types days: as kept, else as its file says."""
        return self.dates or (read_shop(Path(see_there("shop", self.shop))).dates if self.shop else ISO)


KEYS = Defaults.__struct_fields__


def defaults_file(folder: Path) -> Path:
    """In the register's folder where there is one, else in the user's own."""
    return (folder if folder.is_dir() else own_settings_folder()) / FILE


def read_defaults(folder: Path) -> Defaults:
    """`folder` : the register's; where nothing is kept there, the user's own count. Raises BadSettings with one line."""
    for path in (folder / FILE, own_settings_folder() / FILE):
        try:
            kept = _checked(toml_table(toml_text(path)), NOT_FILES)
            return Defaults(**{k: _at(path.parent, v) if k in OF_FILES and v else v for k, v in kept.items()})
        except (FileNotFoundError, NotADirectoryError):
            continue
        except (OSError, NotToml, BadRequest) as problem:
            told = getattr(problem, "strerror", None) or problem
            raise BadSettings(f"{on_one_line(str(path))}: {told}; mend it, or delete it and begin anew") from None
    return Defaults()


def change_defaults(folder: Path, words: Sequence[str]) -> Defaults:
    """Raises BadRequest for a key that is unknown or a value that would not work; nothing is written then."""
    changes = dict(_parted(text) for text in words)
    if changes.get("layout"):
        changes["layout"] = layout_at(folder, changes["layout"])  # by its name, as everywhere
    kept = {**asdict(read_defaults(folder)), **_checked(changes, CHECKS)}
    kept = {key: value for key, value in kept.items() if value}
    for key, value in kept.items():
        if any(
            unicodedata.category(c) == "Cs" for c in value
        ):  # bytes of another encoding, which no file can hold as text
            raise WrongUsage(f"{key}: {shown(value)} holds a sign that is no text in UTF-8; type it anew")
    path = defaults_file(folder)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        lines = {**kept, **{k: _goes_along(path.parent, kept[k]) for k in ("layout",) if k in kept}}
        write_text(path, HEAD + "".join(f"{key} = {_quoted(value)}\n" for key, value in lines.items()))
    except OSError as problem:
        told = f"cannot be written ({problem.strerror}); see to its folder and its disk"
        raise BadSettings(f"{on_one_line(str(path))}: {told}") from None
    return Defaults(**kept)


def see_there(key: str, value: str) -> str:
    """Itself."""
    if _whole(value).is_absolute() and not Path(value).exists():
        raise BadSettings(
            f"{on_one_line(value)}: is not there any more, and is kept as the shop's {key}; put it back, or say which it is now: `tapscan settings default {key}=FILE`"
        )
    return value


def _goes_along(folder: Path, value: str) -> str:
    """Without the way to the register's folder, where it is one of that register's own layouts."""
    path, own = Path(value), (folder / LAYOUTS).resolve()
    if path.is_absolute() and (path.parent.resolve() / path.name).is_relative_to(own):
        return str(PurePosixPath(LAYOUTS, *(path.parent.resolve() / path.name).relative_to(own).parts))
    return value


def _at(folder: Path, value: str) -> str:
    """The whole path. An older tapscan wrote that down: where its file has gone since, or is the same, the one in this register counts, which was put elsewhere."""
    old = _whole(value)
    if not old.is_absolute():
        return str((folder / value).absolute()) if value.startswith(f"{LAYOUTS}/") else value
    among = max((n for n, part in enumerate(old.parts) if part == LAYOUTS), default=-1)
    here = folder.absolute().joinpath(*old.parts[among:])
    return str(here) if here.is_file() and _gone_or_same(Path(value), here) else value


def _whole(value: str) -> PurePath:
    """Of whichever system wrote it."""
    return PurePosixPath(value) if value.startswith("/") else PureWindowsPath(value)


def _gone_or_same(old: Path, here: Path) -> bool:
    try:
        return old.read_bytes() == here.read_bytes()
    except FileNotFoundError:
        return True
    except OSError:  # whoever uses it tells of it
        return False


def _parted(text: str) -> tuple[str, str]:
    key, sign, value = text.partition("=")
    if not sign:
        raise WrongUsage(
            f"{shown(text)}: write KEY=VALUE, for example layout=grand-dense; an empty value takes it away"
        )
    return key.strip().casefold().replace("-", "_"), value.strip()


def _checked(told: Mapping[str, object], checks: Mapping[str, Callable[[str], str]]) -> dict[str, Any]:
    """`checks` : how the values of some keys are read."""
    found: dict[str, Any] = {}
    for key, value in told.items():
        if key not in KEYS:
            raise WrongUsage(f"{shown(key)} is not kept as a default; these are: {', '.join(KEYS)}")
        if not isinstance(value, str):
            raise BadRequest(f"{key} must be text between quotes")
        found[key] = checks.get(key, str)(value) if value else None
    return found


def _layout(text: str) -> str:
    layout = read_layout(text)
    if not text.endswith(".toml"):
        return layout.name
    see_names(layout, text)
    return str(Path(text).absolute())


def _order(text: str) -> str:
    return ",".join(read_order(text, "order: "))


def _mass(text: str) -> str:
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        value = -1.0
    if not 0 <= value <= HEAVIEST_G:
        raise WrongUsage(f"sensor_mass_g={shown(text)}: write a number of grams between 0 and {HEAVIEST_G:g}")
    return f"{value:g}"


def _months(text: str) -> str:
    if not (text.isascii() and text.isdecimal() and len(text) < 9 and 1 <= int(text) <= MOST_MONTHS):
        raise WrongUsage(f"again_months={shown(text)}: write a whole number of months between 1 and {MOST_MONTHS}")
    return str(int(text))


def _dates(text: str) -> str:
    if text.casefold() not in DATES:
        raise WrongUsage(f"dates={shown(text)} is not known; write {' or '.join(DATES)}")
    return text.casefold()


def _shop(text: str) -> str:
    read_shop(Path(text))
    return str(Path(text).absolute())


CHECKS: dict[str, Callable[[str], str]] = {
    "layout": _layout,
    "order": _order,
    "sensor": lambda text: read_kind(text, "; words of your own go to sensor_note"),
    "sensor_mass_g": _mass,
    "dates": _dates,
    "again_months": _months,
    "shop": _shop,
}
OF_FILES = ("layout", "shop")
NOT_FILES = {key: check for key, check in CHECKS.items() if key not in OF_FILES}  # files are told of when they are used


def _quoted(value: str) -> str:
    """A TOML basic string."""
    escaped = {"\\": "\\\\", '"': '\\"'}
    return '"' + "".join(escaped.get(c, c if c.isprintable() else f"\\U{ord(c):08x}") for c in value) + '"'
