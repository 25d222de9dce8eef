"""Records to plain values and back, by the types their fields declare.

    plain(value)              dataclasses to dicts, tuples to lists, numpy scalars to Python's
    revived(kind, value)      the other way: revived(Mode, {...}) == the mode that went in
    row_of(record, columns)   one value a column, every other field under "more"
    record_of(kind, row)      the record again; keys it does not know are left out

Floats come back bit for bit. A field that a record gained since a row was written takes its default.
"""

import datetime as dt
import types
from collections.abc import Collection, Mapping
from dataclasses import fields, is_dataclass
from functools import cache
from typing import Any, TypeVar, Union, get_args, get_origin, get_type_hints

from tapscan import plain_values
from tapscan.errors import RegisterProblem

T = TypeVar("T")


def plain(value: Any) -> Any:
    """What JSON and a database column can hold."""
    try:
        return plain_values.plain(value)
    except ValueError as problem:
        raise RegisterProblem(f"a register cannot keep this: {problem}; nothing was stored") from None


def revived(kind: Any, value: Any) -> Any:
    """`value` as the type `kind` says."""
    if value is None:
        return None
    origin = get_origin(kind)
    if origin in (Union, types.UnionType):
        return revived(next(k for k in get_args(kind) if k is not type(None)), value)
    if origin is tuple:
        inner = get_args(kind)
        kinds = [inner[0]] * len(value) if inner[-1] is Ellipsis else list(inner)
        return tuple(revived(k, v) for k, v in zip(kinds, value, strict=True))
    if isinstance(kind, type) and is_dataclass(kind):
        return record_of(kind, value)
    return FROM_PLAIN.get(kind, _as_it_is)(value) if isinstance(kind, type) else value


def _as_it_is(value: Any) -> Any:
    return value


FROM_PLAIN: dict[Any, Any] = {
    float: lambda number: float(number) if type(number) is int else number,  # 3.0 written as 3
    dt.date: lambda day: dt.date.fromisoformat(day) if isinstance(day, str) else day,
}


def row_of(record: Any, columns: Collection[str], leave: Collection[str] = (), more: str = "more") -> dict[str, Any]:
    """Column values of one record; `leave` names fields that are kept elsewhere."""
    values = {f.name: plain(getattr(record, f.name)) for f in fields(record) if f.name not in leave}
    own = {name: value for name, value in values.items() if name in columns}
    rest = {name: value for name, value in values.items() if name not in columns}
    return {**own, more: rest or None}


def record_of(kind: type[T], row: Mapping[Any, Any], **given: Any) -> T:
    """A record from its row; `given` fields are taken as they are."""
    values = {**row, **(row.get("more") or {})}
    anything: Any = kind
    hints: dict[str, Any] = _hints(anything)
    known = {name: revived(hints[name], values[name]) for name in hints if name in values and name not in given}
    return kind(**known, **given)


@cache
def _hints(kind: Any) -> dict[str, Any]:
    hints = get_type_hints(kind)
    return {f.name: hints[f.name] for f in fields(kind)}
