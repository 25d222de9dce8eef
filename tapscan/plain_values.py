"""Records as values that JSON and a database hold, and the records again.

SCHEMA                of every JSON document that tapscan writes
plain(value)          records to dicts, tuples to lists, numpy scalars to Python's
revived(kind, value)  the other way: revived(Mode, plain(mode)) == mode
fields_of(kind, told) what a record's fields are, told by their keys
written_as(kind)      field -> key; some keys are older names

A key keeps the name it was first written with, so that stored scans and other people's scripts go on working. Floats come
back bit for bit; a field that a record gained since it was written takes its default, and a key it does not know is left out.
"""

import datetime as dt
import math
import types
from collections.abc import Callable, Mapping
from functools import cache
from typing import TYPE_CHECKING, Any, Literal, Union, get_args, get_origin, get_type_hints

import numpy as np
from msgspec import Struct

if TYPE_CHECKING:
    from cattrs import Converter

SCHEMA = 1
SIMPLE = (str, int, float, bool)  # come back as they are


def plain(value: Any) -> Any:
    """What JSON and a database column can hold; ValueError for a number that is none."""
    return _converter().unstructure(value)


def revived(kind: Any, value: Any) -> Any:
    """`value` as the type `kind` says."""
    return _converter().structure(value, kind)


def written_as(kind: Any) -> dict[str, str]:
    """Every field of a record with its key, which the field may name: field(name="strengths")."""
    return dict(zip(kind.__struct_fields__, kind.__struct_encode_fields__, strict=True))


def fields_of(kind: Any, told: Mapping[Any, Any]) -> dict[str, Any]:
    """The fields of a record, from a mapping by their keys; keys it does not know are left out."""
    return {
        name: told[key] if type(told[key]) in kept else revived(hint, told[key])
        for name, key, hint, kept in _told_by(kind)
        if key in told
    }


@cache
def _told_by(kind: Any) -> tuple[tuple[str, str, Any, tuple[type, ...]], ...]:
    """Name, key, type, and the kinds of value that come back as they are: most of what is stored, and quicker so."""
    hints = get_type_hints(kind)
    return tuple((name, key, hints[name], _as_they_are(hints[name])) for name, key in written_as(kind).items())


def _as_they_are(hint: Any) -> tuple[type, ...]:
    """Of float | None: float and None, but not an integer, which 3.0 may have been written as."""
    if get_origin(hint) is Literal:
        return (str,)
    kinds = get_args(hint) if _is_union(hint) else (hint,)
    return tuple(k for k in kinds if k in (*SIMPLE, type(None)) and not (k is int and float in kinds))


def _text(value: str) -> str:
    """Half characters, from a file name in another encoding, are no text."""
    return value.encode("utf-8", "replace").decode()


def _number(value: Any) -> Any:
    if not math.isfinite(value):
        raise ValueError(f"{value} is no number (unknown is None with a reason)")
    return value.item() if isinstance(value, np.generic) else value


def _float(value: Any, _kind: Any) -> Any:
    return float(value) if type(value) is int else value  # 3.0 may have been written as 3


def _day(value: Any, _kind: Any) -> Any:
    return dt.date.fromisoformat(value) if isinstance(value, str) else value


def _as_it_is(value: Any, _kind: Any) -> Any:
    return value


def _first_of_union(value: Any, kind: Any) -> Any:
    """As the first type that it may have: float | str | None leaves a text as it is."""
    if value is None:
        return None
    first = next(k for k in kind.__args__ if k is not type(None))
    return value if type(value) is first and first in SIMPLE else revived(first, value)


def _is_union(kind: Any) -> bool:
    return get_origin(kind) in (Union, types.UnionType)


def _is_record(kind: Any) -> bool:
    return isinstance(kind, type) and issubclass(kind, Struct)


def _is_a(what: type) -> Callable[[Any], bool]:
    return lambda kind: isinstance(kind, type) and issubclass(kind, what)


def _to_dict(kind: Any) -> Callable[[Any], Any]:
    keys = tuple(written_as(kind).items())
    return lambda record: {key: plain(getattr(record, name)) for name, key in keys}


def _from_dict(kind: Any) -> Callable[[Any, Any], Any]:
    return lambda told, _kind: kind(**fields_of(kind, told))


@cache
def _converter() -> "Converter":
    """Imported where something is read or written: most commands print and do neither."""
    from cattrs import Converter

    converter = Converter(detailed_validation=False)
    converter.register_unstructure_hook(str, _text)
    converter.register_unstructure_hook(float, _number)
    converter.register_unstructure_hook_func(_is_a(np.generic), lambda scalar: plain(scalar.item()))
    converter.register_unstructure_hook_func(_is_a(Mapping), lambda named: {str(k): plain(v) for k, v in named.items()})
    for kind in (str, int, bool):
        converter.register_structure_hook(kind, _as_it_is)
    converter.register_structure_hook(float, _float)
    converter.register_structure_hook(dt.date, _day)
    converter.register_structure_hook_func(_is_union, _first_of_union)
    converter.register_structure_hook_func(lambda kind: get_origin(kind) is Literal, _as_it_is)
    converter.register_unstructure_hook_factory(_is_record, _to_dict)
    converter.register_structure_hook_factory(_is_record, _from_dict)
    return converter
