"""Options that belong together: one struct, one field an option.

@grouped     a parameter whose default is such a struct is replaced on the command line by the options of its fields
"""

import functools
import inspect
from collections.abc import Callable
from typing import Any, get_type_hints

from msgspec import Struct


def grouped(command: Callable[..., None]) -> Callable[..., None]:
    """The command takes each group whole; the person types its options one by one."""
    own = inspect.signature(command, eval_str=True).parameters.values()
    groups: dict[str, Any] = {p.name: type(p.default) for p in own if isinstance(p.default, Struct)}
    options = {p.name: _options(p.default) for p in own if p.name in groups}

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


def _options(default: Any) -> list[inspect.Parameter]:
    hints = get_type_hints(type(default), include_extras=True)
    return [
        inspect.Parameter(name, inspect.Parameter.KEYWORD_ONLY, default=getattr(default, name), annotation=hints[name])
        for name in default.__struct_fields__
    ]
