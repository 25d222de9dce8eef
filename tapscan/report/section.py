"""What a section of the page is: a name, a title for the list of contents, a template, and what it takes from the sheet.

Sheet      everything a page is made from
Section    id, title, template, build
Built      a section that has something to show, with the names its template asks for
built(sections, sheet)   those that have something to show, in order
"""

import inspect
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

from msgspec import Struct

from tapscan.records import Screening
from tapscan.report.about import About
from tapscan.report.extras import Extras


class Sheet(Struct, frozen=True, eq=False):
    """`about`: what the shop wrote down, where the scan comes from a register."""

    screening: Screening
    about: About | None
    beside: Extras


class Section(Struct, frozen=True):
    """`build` gives the names that the template asks for, or None where there is nothing to show: then it is not listed either.

    Every template also knows `s` (the screening), `about`, `shop`, `full` (all was asked for) and `version`.
    """

    id: str  # of the HTML element, and so of links to it
    title: str  # in the list of contents
    template: str  # file name, in the folder of the module that `build` stands in
    build: Callable[[Sheet], Mapping[str, Any] | None]
    brief: bool = True  # also in the page of three or four sheets; False: only where all was asked for

    @property
    def folder(self) -> Path:
        """Where the template is."""
        return Path(inspect.getfile(self.build)).parent


class Built(Struct, frozen=True):
    """A section and the names of its template."""

    section: Section
    names: Mapping[str, Any]


def built(sections: Iterable[Section], sheet: Sheet) -> list[Built]:
    """Each section is built once."""
    found = [(section, section.build(sheet)) for section in sections]
    return [Built(section, names) for section, names in found if names is not None]
