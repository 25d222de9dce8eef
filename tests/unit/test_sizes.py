"""Small modules, small functions: what is longer no longer fits on a screen or in a head. Own rule, no source."""

import ast
from pathlib import Path

ROOT = Path(__file__).parents[2]
MODULES = sorted(p for room in ("tapscan", "bench", "tests") for p in (ROOT / room).rglob("*.py"))
LONGEST_MODULE, LONGEST_FUNCTION = 350, 40
FROZEN = "migrations/versions/"  # steps of old registers are never touched again


def test_no_module_is_too_long():
    long = {str(p.relative_to(ROOT)): n for p in MODULES if (n := p.read_text().count("\n")) > LONGEST_MODULE}
    assert long == {}


def test_no_function_is_too_long():
    assert [f for p in MODULES if FROZEN not in str(p) for f in _too_long(p)] == []


def _too_long(path: Path) -> list[str]:
    functions = [
        f for f in ast.walk(ast.parse(path.read_text())) if isinstance(f, ast.FunctionDef | ast.AsyncFunctionDef)
    ]
    lengths = {f.name: (f.end_lineno or 0) - f.lineno + 1 for f in functions}
    return [f"{path.relative_to(ROOT)}: {name} has {n} lines" for name, n in lengths.items() if n > LONGEST_FUNCTION]
