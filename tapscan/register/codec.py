"""Records to rows of the database, and back.

plain(value)              what a column can hold; RegisterProblem for a number that is none
row_of(record, columns)   one value a column, every other field under "more"
record_of(kind, row)      the record again; keys it does not know are left out
"""

import types
from collections.abc import Collection, Mapping
from functools import cache
from typing import Any, TypeVar, Union, cast, get_args, get_origin, get_type_hints

from tapscan import plain_values
from tapscan.errors import RegisterProblem
from tapscan.plain_values import revived, written_as

T = TypeVar("T")


def plain(value: Any) -> Any:
    """What JSON and a database column can hold."""
    try:
        return plain_values.plain(value)
    except ValueError as problem:
        raise RegisterProblem(f"a register cannot keep this: {problem}; nothing was stored") from None


def row_of(record: Any, columns: Collection[str], leave: Collection[str] = (), more: str = "more") -> dict[str, Any]:
    """Column values of one record; `leave` names fields that are kept elsewhere."""
    keys = written_as(type(record))
    values = {key: plain(getattr(record, name)) for name, key in keys.items() if name not in leave}
    own = {name: value for name, value in values.items() if name in columns}
    rest = {name: value for name, value in values.items() if name not in columns}
    return {**own, more: rest or None}


def record_of(kind: type[T], row: Mapping[Any, Any], **given: Any) -> T:
    """A record from its row; `given` fields are taken as they are."""
    values, anything = {**row, **(row.get("more") or {})}, cast(Any, kind)
    known = {
        name: values[key] if type(values[key]) in plain_kinds else revived(hint, values[key])
        for name, key, hint, plain_kinds in _fields(anything)
        if key in values and name not in given
    }
    return kind(**known, **given)


@cache
def _fields(kind: Any) -> tuple[tuple[str, str, Any, tuple[type, ...]], ...]:
    """Name, key, type, and the kinds of value that come back as they are: most of what a register holds."""
    hints = get_type_hints(kind)
    return tuple((name, key, hints[name], _as_they_are(hints[name])) for name, key in written_as(kind).items())


def _as_they_are(hint: Any) -> tuple[type, ...]:
    """Of float | None: float and None, but not an integer, which 3.0 may have been written as."""
    kinds = get_args(hint) if get_origin(hint) in (Union, types.UnionType) else (hint,)
    return tuple(k for k in kinds if k in (str, float, bool, type(None)))
