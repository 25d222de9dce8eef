"""Equal figures are drawn once in a process, for tests of the page around them.

`pytestmark = pytest.mark.usefixtures("drawn_once")` in files that render the same reports again and again; never where drawing is what is tested.
"""

import hashlib
import pickle
from collections.abc import Callable, Iterator
from functools import wraps
from importlib import import_module
from typing import Any

import pytest

FIGURES = {
    "station": ("spectrum", "decay"),
    "changes": ("shifts", "trend"),
    "tones": ("time_frequency", "before_and_now", "tone_decay"),
    "notes": ("notes_chart",),
    "sisters": ("sisters",),
}
KNOWN: dict[bytes, Any] = {}


def _remembered(draw: Callable[..., Any]) -> Callable[..., Any]:
    """What `draw` gave for arguments equal in every byte."""

    @wraps(draw)
    def drawn(*given: Any, **more: Any) -> Any:
        key = hashlib.sha256(pickle.dumps((draw.__qualname__, given, sorted(more.items())))).digest()
        if key not in KNOWN:
            KNOWN[key] = draw(*given, **more)
        return KNOWN[key]

    return drawn


@pytest.fixture(scope="module")
def drawn_once() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        for module, names in FIGURES.items():
            figures = import_module(f"tapscan.report.figures.{module}")
            for name in names:
                patch.setattr(figures, name, _remembered(getattr(figures, name)))
        yield
