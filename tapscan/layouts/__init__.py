"""Station layouts: where a plate is tapped, as TOML files and their reader.

    read_layout(name_or_path)   Layout; raises BadLayout and lists the known names
    known_layouts()             names of the layouts that come with tapscan

A layout file holds `name`, `kind`, `note` and one [[station]] table a station with `name`, `where`
(in words) and `x`, `y` (0..1, left to right and far to near, for the map and the chalking sheet).
"""

import tomllib
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Any

from tapscan.errors import BadLayout


@dataclass(frozen=True)
class Station:
    """One marked place on the plate."""

    name: str
    where: str
    x: float  # 0..1, bass side to treble side
    y: float  # 0..1, tuning pins to tail (or bottom)


@dataclass(frozen=True)
class Layout:
    """Stations in the order in which they are tapped."""

    name: str
    kind: str
    note: str
    stations: tuple[Station, ...]


def known_layouts() -> list[str]:
    """Names that `read_layout` takes without a path."""
    here = resources.files("tapscan.layouts")
    return sorted(entry.name[:-5] for entry in here.iterdir() if entry.name.endswith(".toml"))


def read_layout(name_or_path: str) -> Layout:
    """Layout by known name, or from a TOML file of your own."""
    path = Path(name_or_path)
    try:
        if name_or_path in known_layouts():
            text = (resources.files("tapscan.layouts") / f"{name_or_path}.toml").read_text(encoding="utf-8")
        elif path.suffix == ".toml":
            text = path.read_text(encoding="utf-8")
        else:
            raise BadLayout(
                f"layout {name_or_path!r} is unknown; known are {', '.join(known_layouts())}, or a .toml file"
            )
        return _layout(tomllib.loads(text), name_or_path)
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as problem:
        raise BadLayout(
            f"{name_or_path}: cannot be read as a layout ({problem}); see docs/getting-started.md"
        ) from None


def _layout(table: dict[str, Any], source: str) -> Layout:
    try:
        stations = tuple(
            Station(str(s["name"]), str(s["where"]), float(s["x"]), float(s["y"])) for s in table["station"]
        )
        layout = Layout(str(table["name"]), str(table["kind"]), str(table.get("note", "")), stations)
    except (KeyError, TypeError, ValueError) as problem:
        raise BadLayout(
            f"{source}: a layout needs name, kind and [[station]] with name, where, x, y ({problem})"
        ) from None
    names = [s.name for s in stations]
    twice = sorted({n for n in names if names.count(n) > 1})
    if not names or twice:
        raise BadLayout(f"{source}: {'station named twice: ' + ', '.join(twice) if twice else 'no station in it'}")
    return layout
