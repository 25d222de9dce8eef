"""Layouts by name: those that come with tapscan, and the shop's own, which lie in the register's folder.

layout_names(folder)           every name, the shop's own first
named_layout(folder, name)     Layout; raises BadLayout
layout_of(folder, name)        what read_layout takes: the name, or the path of an own one
layout_at(folder, told)        the same for what stands behind --layout, where a path or any other name is left as it is; raises BadLayout
see_names(layout, source)      raises BadLayout where a name in it holds a sign that nobody sees
name_of(folder, told)          the name again, of the path of an own one
keep_layout(folder, name, text)   a layout file of the shop's own, checked and written whole
"""

import re
from pathlib import Path

from tapscan.errors import BadLayout
from tapscan.layouts import Layout, known_layouts, layout_from_text, read_layout
from tapscan.sources import on_one_line
from tapscan.targets import write_text
from tapscan.unseen import unseen

FOLDER = "layouts"
NAME = re.compile(r"[\w][\w .-]{0,60}")


def own_layouts(folder: Path) -> list[str]:
    """Names without their ending."""
    return sorted(p.stem for p in (folder / FOLDER).glob("*.toml"))


def layout_names(folder: Path) -> list[str]:
    """`folder` : the register's."""
    return [*own_layouts(folder), *known_layouts()]


def layout_of(folder: Path, name: str) -> str:
    """No path comes from outside: a name that is not listed is refused."""
    if name in own_layouts(folder):
        return str(folder / FOLDER / f"{name}.toml")
    if name in known_layouts():
        return name
    raise BadLayout(f"layout {name!r} is unknown; known are {', '.join(layout_names(folder))}")


def layout_at(folder: Path, told: str) -> str:
    """An own one's path; tapscan's own names come first, and a path of a file elsewhere stays."""
    own = told not in known_layouts() and told in own_layouts(folder)
    if own:
        return str(folder / FOLDER / f"{told}.toml")
    if Path(told).suffix.lower() == ".toml" and Path(told).absolute().parent != (folder / FOLDER).absolute():
        see_names(read_layout(told), told)  # one that is kept already stays
    return told


def see_names(layout: Layout, source: str) -> None:
    """`source` : its file, or the name it is to have."""
    for said in (layout.name, *(s.name for s in layout.stations)):
        if bad := unseen(said):
            raise BadLayout(
                f"{on_one_line(source)}: the name {said!r} holds a character that cannot be shown ({bad!a}); leave it out"
            )


def name_of(folder: Path, told: str) -> str:
    """As it is chosen from a list; an own one may be called otherwise in its file than the file is."""
    path = Path(told)
    if path.suffix == ".toml" and path.parent == (folder / FOLDER).absolute():
        return path.stem
    if not told or told in layout_names(folder):
        return told
    return next((name for name in own_layouts(folder) if _called(folder, name) == told), told)


def _called(folder: Path, name: str) -> str | None:
    """None where the file is no layout (any more)."""
    try:
        return named_layout(folder, name).name
    except BadLayout:
        return None


def named_layout(folder: Path, name: str) -> Layout:
    """Raises BadLayout."""
    return read_layout(layout_of(folder, name))


def keep_layout(folder: Path, name: str, text: str) -> Layout:
    """Raises BadLayout for a name that is no file name, or is taken by one of tapscan's own, and for a text that is no layout."""
    if not NAME.fullmatch(name) or name != name.strip() or name.endswith("."):
        raise BadLayout(f"{name!r}: call the layout by letters, digits, blanks, points and dashes, 61 at most")
    if name in known_layouts():
        raise BadLayout(f"{name} is one of the layouts that come with tapscan; choose another name")
    layout = layout_from_text(text, name)
    if bad := unseen(name):
        raise BadLayout(f"the name {name!r} holds a character that cannot be shown ({bad!a}); leave it out")
    see_names(layout, name)
    try:
        (folder / FOLDER).mkdir(exist_ok=True)
        write_text(folder / FOLDER / f"{name}.toml", text)
    except OSError as problem:
        told = f"cannot be written ({problem.strerror}); see to its folder and its disk"
        raise BadLayout(f"{folder / FOLDER / name}.toml: {told}") from None
    return layout
