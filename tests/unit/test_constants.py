"""Numbers that the code names: found by what stands at the beginning of a line, as Python's own parser finds them."""

import ast
import inspect
from types import ModuleType
from typing import get_args

from tapscan.screening.constants import _modules, _named
from tapscan.settings.threshold import Part


def parsed(module: ModuleType) -> list[str]:
    nodes = ast.parse(inspect.getsource(module)).body
    targets = [t for n in nodes if isinstance(n, ast.Assign) for t in n.targets]
    targets += [n.target for n in nodes if isinstance(n, ast.AnnAssign)]
    flat = [t for target in targets for t in (target.elts if isinstance(target, ast.Tuple) else [target])]
    return sorted(t.id for t in flat if isinstance(t, ast.Name) and t.id.isupper())


def test_all_names_are_found_and_no_others() -> None:
    modules = {module for part in get_args(Part) for module in _modules(part)}
    assert len(modules) > 60
    assert {m.__name__: _named(m) for m in modules} == {m.__name__: parsed(m) for m in modules}
