"""Public mathematics says the shape of its arrays: `(n,)`, `(K, S)`. Own rule, no source."""

import ast
import re
from pathlib import Path

ROOT = Path(__file__).parents[2] / "tapscan"
ROOMS = ("signal", "screening")
ONE = r"[A-Za-z0-9_]+(?: (?://|[-+*]) [A-Za-z0-9_]+)*"  # n, 2 * n, n // 2 + 1


def test_public_functions_of_arrays_tell_their_shapes():
    silent = [name for room in ROOMS for p in sorted((ROOT / room).rglob("*.py")) for name in _silent(p)]
    assert silent == []


def _silent(path: Path) -> list[str]:
    functions = [f for f in ast.parse(path.read_text()).body if isinstance(f, ast.FunctionDef) and f.name[0] != "_"]
    with_arrays = [
        f
        for f in functions
        if re.search("Array|ndarray", f"{ast.unparse(f.args)} {f.returns and ast.unparse(f.returns)}")
    ]
    shapes = re.compile(rf"\({ONE},( ?{ONE},?)*\)")
    return [f"{path.name}: {f.name}" for f in with_arrays if not shapes.search(ast.get_docstring(f) or "")]
