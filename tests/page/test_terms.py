"""No sentence of the page sends a person to the terminal: every option and command that the program's own sentences name has a word of the page."""

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

from tapscan.page.terms import here
from tests.every import each

ROOT = Path(__file__).parents[2] / "tapscan"
ROOMS = ("workflow", "register", "layouts", "screening", "recording", "signal", "report", "sensors.py", "places.py")
TERMINAL = re.compile(r"(?<![\w-])--[a-z]|`tapscan|`pip|tapscan (plate|scan|register|settings|compare|history|mic) ")
MADE_UP = "X1"
ELSEWHERE = (
    "layout_sheet.py",
    "as_json.py",
    "moving.py",
    "setting.py",
)  # the sheet to chalk from names the command on purpose; JSON is for programs; a register is moved, and its files named, from the terminal alone
STARTING = "tapscan open --register"  # the one command that the page may name


def sentences(path: Path) -> Iterator[str]:
    """Every text of a module that is no docstring, with something in the place of what is put in."""
    nodes = list(ast.walk(ast.parse(path.read_text(encoding="utf-8"))))
    docs = {id(n.value) for n in nodes if isinstance(n, ast.Expr)}
    inner = {id(v) for n in nodes if isinstance(n, ast.JoinedStr) for v in ast.walk(n) if v is not n}
    aside = docs | inner
    for node in nodes:
        if isinstance(node, ast.JoinedStr):
            yield "".join(str(v.value) if isinstance(v, ast.Constant) else MADE_UP for v in node.values)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in aside:
            yield node.value


def modules() -> list[Path]:
    found = [p for room in ROOMS for p in ([ROOT / room] if room.endswith(".py") else (ROOT / room).rglob("*.py"))]
    return [p for p in found if p.name not in ELSEWHERE and "migrations" not in str(p)]


@cache
def of_the_terminal() -> list[str]:
    return [s for p in modules() for s in sentences(p) if TERMINAL.search(s) and not s.startswith("#")]


@each("sentence", of_the_terminal)
def test_every_sentence_has_words_of_the_page(sentence: str) -> None:
    assert not TERMINAL.search(here(sentence).replace(STARTING, "")), here(sentence)


def test_there_are_such_sentences() -> None:
    assert len(of_the_terminal()) > 25


def test_other_sentences_stay_as_they_are() -> None:
    said = "Since the baseline 48 of 71 tones -- modes -- fell."
    assert here(said) == said
