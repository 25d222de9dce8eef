"""Screening of bare cast-iron piano plates by the sound of taps.

    check(paths, request)   screen recordings; see tapscan.workflow.check
    Request, Settings       how the recordings are to be understood, and every threshold
    Workers                 other processes that share the work; the figures are the same

Names are loaded when first used, so that `import tapscan` is light.
"""

from importlib import import_module
from typing import Any

__version__ = "0.1.0"

_HOME = {
    "check": "tapscan.workflow.check",
    "Request": "tapscan.workflow.check",
    "CheckResult": "tapscan.workflow.check",
    "Settings": "tapscan.settings",
    "read_settings": "tapscan.settings",
    "read_layout": "tapscan.layouts",
    "to_json": "tapscan.report.as_json",
    "TapscanError": "tapscan.errors",
    "Workers": "tapscan.workers",
}
__all__ = [  # noqa: PLE0604 (they are strings; the list is derived)
    *sorted(_HOME),
    "__version__",
]


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module 'tapscan' has no attribute {name!r}")
    return getattr(import_module(_HOME[name]), name)
