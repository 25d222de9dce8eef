"""Station layouts: where a plate is tapped, as TOML files and their reader.

    read_layout(name_or_path)        Layout; raises BadLayout and lists the known names
    layout_text(name_or_path)        the file as text, to be kept with a scan
    layout_from_text(text, source)   Layout from such text; `source` is what its errors call it
    known_layouts()                  names of the layouts that come with tapscan
    known_outlines()                 names of the outlines a layout may ask for

docs/layouts.md explains every key. The outlines are invented schematics, no real maker's plates.
"""

from importlib import resources
from pathlib import Path

from tapscan.errors import BadLayout, UnknownLayout
from tapscan.layouts.reading import MOST_PLACES, parse_layout, parse_outline
from tapscan.places import Layout, Outline, Station
from tapscan.sources import on_one_line
from tapscan.toml_files import NotToml, toml_text

__all__ = [
    "MOST_PLACES",
    "Layout",
    "Outline",
    "Station",
    "known_layouts",
    "known_outlines",
    "layout_from_text",
    "layout_text",
    "read_layout",
]


def known_layouts() -> list[str]:
    """Names that `read_layout` takes without a path."""
    return _names("")


def known_outlines() -> list[str]:
    """Names that a layout's `outline` key takes."""
    return _names("outlines")


def read_layout(name_or_path: str) -> Layout:
    """Layout by known name, or from a TOML file of your own."""
    return layout_from_text(layout_text(name_or_path), name_or_path)


def layout_text(name_or_path: str) -> str:
    """Text of a known layout, or of a TOML file of your own."""
    if name_or_path in known_layouts():
        return _shipped("", name_or_path)
    path = Path(name_or_path)
    if path.suffix.lower() != ".toml":
        raise UnknownLayout(
            f"layout {name_or_path!r} is unknown; known are {', '.join(known_layouts())}, or a .toml file"
        )
    try:
        return toml_text(path)
    except NotToml as problem:
        raise BadLayout(f"{on_one_line(name_or_path)}: {problem}") from None
    except OSError as problem:
        name = on_one_line(name_or_path)
        raise BadLayout(f"{name}: cannot be read ({problem.strerror}); check the name and the folder") from None


def layout_from_text(text: str, source: str) -> Layout:
    """Layout from the text of a TOML file; every mistake is told with its line or key."""
    return parse_layout(text, source, _outline)


def _outline(name: str) -> Outline | None:
    return parse_outline(_shipped("outlines", name), name) if name in known_outlines() else None


def _names(folder: str) -> list[str]:
    here = resources.files("tapscan.layouts").joinpath(folder)
    return sorted(entry.name[:-5] for entry in here.iterdir() if entry.name.endswith(".toml"))


def _shipped(folder: str, name: str) -> str:
    return resources.files("tapscan.layouts").joinpath(folder, f"{name}.toml").read_text(encoding="utf-8")
