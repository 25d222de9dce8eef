"""Records to rows of the database, and back.

plain(value)              what a column can hold; RegisterProblem for a number that is none
row_of(record, columns)   one value a column, every other field under "more"
record_of(kind, row)      the record again; keys it does not know are left out
"""

from collections.abc import Collection, Mapping
from typing import Any, TypeVar

from tapscan import plain_values
from tapscan.errors import RegisterProblem
from tapscan.plain_values import fields_of, written_as

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
    told = {**row, **(row.get("more") or {})}
    keys = written_as(kind)
    for name in given:
        told.pop(keys[name], None)
    return kind(**fields_of(kind, told), **given)
