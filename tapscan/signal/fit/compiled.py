"""One compiled file of scipy without the package around it, which takes longer to import than a tap takes to read.

compiled(package, name)   the module, as a later import of the package finds it again; None where this scipy has no such file
"""

import sys
from importlib.machinery import PathFinder
from importlib.util import module_from_spec
from pathlib import Path
from typing import Any

import scipy


def compiled(package: str, name: str) -> Any:
    """Package : of scipy, as "linalg"."""
    full = f"scipy.{package}.{name}"
    if full in sys.modules:
        return sys.modules[full]
    spec = PathFinder.find_spec(full, [str(Path(scipy.__file__).parent / package)])
    if spec is None or spec.loader is None:
        return None
    sys.modules[full] = module = module_from_spec(spec)
    spec.loader.exec_module(module)
    return module
