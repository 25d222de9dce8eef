"""Records as values that JSON can hold, and the number of that form.

SCHEMA         of every JSON document that tapscan writes
plain(value)   dataclasses to dicts, tuples to lists, numpy scalars to Python's
"""

import math
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np

SCHEMA = 1


def plain(value: Any) -> Any:
    """What JSON and a database column can hold; ValueError for a number that is none."""
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, tuple | list):
        return [plain(v) for v in value]
    if isinstance(value, Mapping):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, str):  # half characters, from a file name in another encoding, are no text
        return value.encode("utf-8", "replace").decode()
    value = value.item() if isinstance(value, np.generic) else value
    if isinstance(value, float) and not math.isfinite(value):
        raise ValueError(f"{value} is no number (unknown is None with a reason)")
    return value
