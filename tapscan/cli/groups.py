"""Options that belong together: one dataclass, one field an option.

@grouped     a parameter whose default is such a dataclass is replaced on the command line by the options of its fields
"""

import functools
import inspect
from collections.abc import Callable
from dataclasses import fields, is_dataclass
from typing import Any, get_type_hints


def grouped(command: Callable[..., None]) -> Callable[..., None]:
    """The command takes each group whole; the person types its options one by one."""
    own = inspect.signature(command, eval_str=True).parameters.values()
    groups: dict[str, Any] = {p.name: type(p.default) for p in own if is_dataclass(p.default)}
    options = {name: _options(kind) for name, kind in groups.items()}

    @functools.wraps(command)
    def typed(**given: Any) -> None:
        whole = {name: kind(**{o.name: given.pop(o.name) for o in options[name]}) for name, kind in groups.items()}
        command(**given, **whole)

    parts = [options.get(p.name) or [p.replace(kind=inspect.Parameter.KEYWORD_ONLY)] for p in own]
    signature = inspect.Signature([p for part in parts for p in part])
    typed.__signature__ = signature  # type: ignore[attr-defined]
    typed.__annotations__ = {name: p.annotation for name, p in signature.parameters.items()}
    del typed.__wrapped__
    return typed


def _options(kind: Any) -> list[inspect.Parameter]:
    hints = get_type_hints(kind, include_extras=True)
    return [
        inspect.Parameter(f.name, inspect.Parameter.KEYWORD_ONLY, default=f.default, annotation=hints[f.name])
        for f in fields(kind)
    ]
