"""Templates to text: everything from outside is escaped, unknowns become a word, a missing name is an error.

render(template, names, folder)   HTML as text that can be written as UTF-8
"""

from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from tapscan.report import words

TEMPLATES = Path(__file__).with_name("templates")
SECTIONS = Path(__file__).with_name("sections")


def render(template: str, names: Mapping[str, Any], folder: Path = TEMPLATES) -> str:
    """`template` from `folder`, with the names it asks for; what it includes may also stand in templates/ or sections/."""
    text = _environment(folder).get_template(template).render(names)
    return text.encode("utf-8", "replace").decode("utf-8")


@cache
def _environment(folder: Path) -> Environment:
    """Made once a folder: templates are compiled once."""
    return Environment(
        loader=FileSystemLoader([folder, TEMPLATES, SECTIONS]),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=words.legible,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
