"""Templates to text: everything from outside is escaped, unknowns become a word, a missing name is an error.

render(template, sheet)   HTML as text that can be written as UTF-8
"""

from collections.abc import Mapping
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from tapscan.report import words


def render(template: str, sheet: Mapping[str, Any]) -> str:
    """`template` from the folder templates, with the names in `sheet`."""
    environment = Environment(
        loader=PackageLoader("tapscan.report"),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=words.legible,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    text = environment.get_template(template).render(sheet)
    return text.encode("utf-8", "replace").decode("utf-8")
