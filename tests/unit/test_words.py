"""What people read: few enough words in the pages for users, and none of the phrases that readers stumbled over."""

import ast
import re
from functools import cache
from pathlib import Path

from tests.every import each

ROOT = Path(__file__).parents[2]
USER_PAGES = (
    "README.md",
    *(f"docs/{n}.md" for n in ("getting-started", "how-to-tap", "reading-a-report", "limits", "glossary")),
)
MOST_WORDS = 4500  # of all of them together, without code
FENCED = re.compile(r"^ *```.*?^ *```$", re.S | re.M)
STUMBLED_OVER = (
    "the rules that ran raised nothing", "rules not run:", "each is named with its reason there", "whose modes are still at these places",
    "the plate answers otherwise", "the plainest, near", "repeats to", "lay or hung otherwise", "it grew like talk",
    "sounded along after", "neither for good news", "before money or safety", "somebody looked", "to mend: --skip", "nobody is here to be asked",
    "speaks of the taps, not of the iron", "in the middle they lose", "it spoke on", "how far down a tone would have to go", "edges that stand off",
    "against its hash", "hundred times less", "36 places told", "was not counted", "that nobody knows", "what there is is kept", "worth what its taps",
    "parts held;", "36, parts held", "it grew instead of fading",
    "more, under what was tested", "if that cannot be, say", "decide when that is done", "changes nothing that can be heard",
    "what hears is as it was", "each counts once, by its newest scan", "a file with modes and outcomes", "against the others, over the usual", "tells of it yet",
    "answers to that", "nobody has listened to these", "that it is a part is said", "backup back", "while it goes round", "talk openly",
)  # fmt: skip
PAGES_OF_A_CLIENT = re.compile(r"--[a-z]+|\bdocs/|\.py\b|\.md\b|\.toml\b|\bon = 1\b|local_ringing")


@cache
def texts_in(path: Path) -> list[str]:
    """Of a module; docstrings and comments aside."""
    nodes = list(ast.walk(ast.parse(path.read_text(encoding="utf-8"))))
    docs = {id(n.body[0].value) for n in nodes if isinstance(n, ast.Module | ast.ClassDef | ast.FunctionDef) and n.body and isinstance(n.body[0], ast.Expr)}  # fmt: skip
    return [n.value for n in nodes if isinstance(n, ast.Constant) and isinstance(n.value, str) and id(n) not in docs]


@cache
def said() -> dict[str, str]:
    """Every text of the program, templates and docs by file; docstrings and comments aside."""
    found = {}
    for path in sorted((ROOT / "tapscan").rglob("*.py")):
        found[path.relative_to(ROOT).as_posix()] = " ".join(" ".join(texts_in(path)).split())
    for path in [
        *(ROOT / "tapscan").rglob("*.html"),
        *(ROOT / p for p in USER_PAGES),
        ROOT / "docs/command-reference.md",
        ROOT / "docs/register.md",
    ]:
        found[path.relative_to(ROOT).as_posix()] = " ".join(path.read_text(encoding="utf-8").split())
    return found


def test_pages_for_users_are_short_enough_to_be_read():
    counted = {page: len(FENCED.sub("", (ROOT / page).read_text(encoding="utf-8")).split()) for page in USER_PAGES}
    assert all(n > 50 for n in counted.values())
    assert sum(counted.values()) < MOST_WORDS, counted


@each(("file", "text"), lambda: said().items())
def test_no_phrase_that_readers_stumbled_over(file, text):
    assert [phrase for phrase in STUMBLED_OVER if phrase in text.lower()] == []


A_TAP = re.compile(r"\b(strikes?|striking|struck)\b", re.I)
NO_TAP = ("struck metal and drums", "line like [strikes] and")  # sounds of another kind; a table of a settings file
OWN_NAMES = re.compile(r"{[{%].*?[%}]}|<[^>]*>|`[^`]*`", re.S)  # of a template's fields, of JSON
TAPPED = (*USER_PAGES, *(f"docs/{n}.md" for n in ("page", "visit", "layouts", "reference-bar", "command-reference")))


def told_people() -> list[tuple[str, list[str]]]:
    """Sentences by file: what has no blank in it is a key."""
    modules = {path: texts_in(path) for path in (ROOT / "tapscan").rglob("*.py")}
    pages = [*(ROOT / "tapscan").rglob("*.html"), *(ROOT / "tapscan").rglob("*.js"), *(ROOT / p for p in TAPPED)]
    read = {path: [OWN_NAMES.sub(" ", path.read_text(encoding="utf-8"))] for path in pages}
    every = {**{path: [t for t in texts if " " in t.strip()] for path, texts in modules.items()}, **read}
    return [(path.relative_to(ROOT).as_posix(), texts) for path, texts in every.items()]


@each(("file", "texts"), told_people)
def test_a_tap_is_called_a_tap(file, texts):
    """One word for one thing; code and JSON have another (docs/glossary.md)."""
    text = "\n".join(texts)
    for other in NO_TAP:
        text = text.replace(other, "")
    assert [line for line in text.splitlines() if A_TAP.search(line)] == []


ROOMS = ("tapscan/screening/", "tapscan/report/sections/", "tapscan/report/templates/first", "tapscan/report/templates/summary", "tapscan/report/first_screen", "tapscan/report/error_rates")  # fmt: skip


@each(("file", "text"), lambda: [(f, t) for f, t in said().items() if f.startswith(ROOMS)])
def test_no_option_and_no_file_name_reaches_a_clients_page(file, text):
    """What these rooms say stands in the page; what to type is said by the command line."""
    assert PAGES_OF_A_CLIENT.findall(text.replace("docs.rs", "")) == []


def test_every_line_of_the_trial_has_tests_that_exist():
    """tests/README.md says which test holds which line."""
    table = (ROOT / "tests" / "README.md").read_text(encoding="utf-8").split("## What tried the tool", 1)[1]
    rows = [line for line in table.splitlines() if line.startswith("| ") and not line.startswith("| tried")]
    named = [re.findall(r"`([a-z]+/test_\w+\.py)`", row) for row in rows]
    assert len(rows) >= 14 and all(named)
    assert [n for names in named for n in names if not (ROOT / "tests" / n).exists()] == []
