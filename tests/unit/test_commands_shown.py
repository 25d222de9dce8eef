"""A command that is shown can be typed as it stands: what is put into it goes through wording.argument, which quotes what a shell would part."""

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tapscan.wording import argument
from tests.every import each

ROOT = Path(__file__).parents[2] / "tapscan"
COMMAND = re.compile(r"tapscan (plate|scan|visit|report|history|compare|register|check|bar)\b[^`.;:]*$")


def put_into_commands() -> list[tuple[str, str]]:
    """Where, and the expression that stands there."""
    found = []
    for path in sorted(ROOT.rglob("*.py")):
        for text in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(text, ast.JoinedStr):
                found += [(f"{path.relative_to(ROOT)}:{text.lineno}", one) for one in _of(text)]
    return found


def _of(text: ast.JoinedStr) -> list[str]:
    said, found = "", []
    for part in text.values:
        if isinstance(part, ast.Constant):
            said += str(part.value)
        elif isinstance(part, ast.FormattedValue):
            if COMMAND.search(said):
                found.append(ast.unparse(part.value))
            said += "X"
    return found


SAFE = ("option", "state", "taken", "look.region", "wanting[0].region")


def test_what_is_put_into_a_command_is_quoted():
    found = put_into_commands()
    bare = [
        f"{where}: {said}"
        for where, said in found
        if not (said.startswith("argument(") or said in SAFE or "is_played" in said)
    ]
    assert bare == [] and len(found) > 15


@pytest.mark.skipif(sys.platform == "win32", reason="a POSIX shell reads them")
@each(
    "name",
    [
        "B12",
        "Quince upright/2026-11-30",
        'a "quoted" one',
        "it's",
        "$HOME `x`",
        "back\\slash",
        "Flügel/2026-01-01-2",
        "(1)",
    ],
)
def test_a_shell_reads_it_as_one_word(name):
    said = subprocess.run(["sh", "-c", f"printf '<%s>' {argument(name)}"], capture_output=True, text=True, check=True)
    assert said.stdout == f"<{name}>"
    assert argument("B12/2026-11-30") == "B12/2026-11-30", "no quotes where none are needed"
