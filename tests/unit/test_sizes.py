"""Small modules, small functions: what is longer no longer fits on a screen or in a head. Tests that quote few sentences. Own rules, no source."""

import ast
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parents[2]
MODULES = sorted(p for room in ("tapscan", "bench", "tests") for p in (ROOT / room).rglob("*.py"))
LONGEST_MODULE, LONGEST_FUNCTION = 350, 40
FROZEN = "migrations/versions/"  # steps of old registers are never touched again
ABOUT_WORDS = {f"{name}.py" for name in ("test_in_words", "test_next_steps", "test_plain_words", "test_words")}
SENTENCE_WORDS, MOST_SENTENCES = 5, 11  # a snapshot keeps sentences (tests/README.md); this number only falls


def test_no_module_is_too_long():
    long = {str(p.relative_to(ROOT)): n for p in MODULES if (n := p.read_text().count("\n")) > LONGEST_MODULE}
    assert long == {}


def test_no_function_is_too_long():
    assert [f for p in MODULES if FROZEN not in str(p) for f in _read(p)[0]] == []


def test_few_asserts_quote_a_sentence():
    tests = [p for p in MODULES if p.is_relative_to(ROOT / "tests") and p.name not in ABOUT_WORDS]
    quoted = [f"{p.relative_to(ROOT)}: {text!r}" for p in tests for text in _read(p)[1]]
    told = f"{len(quoted)} asserts quote a sentence: put it into a snapshot, and assert a code or a field"
    assert len(quoted) <= MOST_SENTENCES, "\n".join([told, *quoted])


@cache
def _read(path: Path) -> tuple[list[str], list[str]]:
    """Functions that are too long, and the first sentence of each assert that has one; its message does not count."""
    nodes = list(ast.walk(ast.parse(path.read_text())))
    functions = [f for f in nodes if isinstance(f, ast.FunctionDef | ast.AsyncFunctionDef)]
    lengths = {f.name: (f.end_lineno or 0) - f.lineno + 1 for f in functions}
    long = [f"{path.relative_to(ROOT)}: {name} has {n} lines" for name, n in lengths.items() if n > LONGEST_FUNCTION]
    held = [[n for n in ast.walk(a.test) if isinstance(n, ast.Constant)] for a in nodes if isinstance(a, ast.Assert)]
    texts = [[c.value for c in some if isinstance(c.value, str)] for some in held]
    sentences = [[text for text in some if len(text.split()) >= SENTENCE_WORDS] for some in texts]
    return long, [some[0] for some in sentences if some]
