"""Numbers that the code names: found by what stands at the beginning of a line, as Python's own parser finds them."""

import ast
import inspect
from pathlib import Path
from types import ModuleType
from typing import get_args

import numpy as np

from tapscan.screening.constants import _modules, _named, constants, numeric
from tapscan.screening.rules import RULE_LIMITS
from tapscan.settings import Settings
from tapscan.settings.definition import Part
from tapscan.settings.settings import every_threshold

ROOT = Path(__file__).parents[2] / "tapscan"


def parsed(module: ModuleType) -> list[str]:
    nodes = ast.parse(inspect.getsource(module)).body
    targets = [t for n in nodes if isinstance(n, ast.Assign) for t in n.targets]
    targets += [n.target for n in nodes if isinstance(n, ast.AnnAssign)]
    flat = [t for target in targets for t in (target.elts if isinstance(target, ast.Tuple) else [target])]
    return sorted(t.id for t in flat if isinstance(t, ast.Name) and t.id.isupper())


def holds_a_number(value: object) -> bool:
    if isinstance(value, dict):
        return any(holds_a_number(v) for v in (*value, *value.values()))
    if isinstance(value, tuple | list | set | frozenset):
        return any(holds_a_number(v) for v in value)
    return isinstance(value, int | float | complex | np.ndarray | slice) and not isinstance(value, bool)


def test_no_number_that_is_named_stays_out_of_the_hash() -> None:
    modules = {module for part in get_args(Part) for module in _modules(part)}
    named = [(m.__name__, k, getattr(m, k)) for m in modules for k in _named(m)]
    assert sum(numeric(value) for *_, value in named) > 400
    assert [(m, k) for m, k, value in named if holds_a_number(value) and not numeric(value)] == []


def test_an_earlier_version_can_be_asked_for_its_numbers_in_this_ones_way() -> None:
    """bench/reach_file.py runs this file among an earlier version's: it may import the rooms and nothing in them."""
    tree = ast.parse(inspect.getsource(inspect.getmodule(constants)))
    names = [a.name for n in tree.body if isinstance(n, ast.Import) for a in n.names]
    names += [n.module for n in tree.body if isinstance(n, ast.ImportFrom)]
    assert {n for n in names if n.startswith("tapscan")} == {"tapscan.model", "tapscan.signal", "tapscan.screening"}


def test_every_number_that_counts_is_read_somewhere() -> None:
    """A threshold or a named number that nothing reads would change no answer and yet make all rates those of an earlier version."""
    nodes = [n for path in sorted(ROOT.rglob("*.py")) for n in ast.walk(ast.parse(path.read_text(encoding="utf-8")))]
    names = {n.id for n in nodes if isinstance(n, ast.Name) and isinstance(n.ctx, ast.Load)}
    fields = {n.attr for n in nodes if isinstance(n, ast.Attribute)}
    words = {n.value for n in nodes if isinstance(n, ast.Constant) and isinstance(n.value, str)}  # for getattr
    pieces = {w for w in words if len(w) > 5 and w.strip("_") != w}  # of a name that is put together
    counted = {k for part in get_args(Part) for k, _ in constants(part)}
    assert counted - names == set()
    thresholds = {t.path.rpartition(".")[2] for t in every_threshold(Settings(), RULE_LIMITS)}
    assert {t for t in thresholds - fields - words if not any(piece in t for piece in pieces)} == set()


def test_all_names_are_found_and_no_others() -> None:
    modules = {module for part in get_args(Part) for module in _modules(part)}
    assert len(modules) > 60
    assert {m.__name__: _named(m) for m in modules} == {m.__name__: parsed(m) for m in modules}
