"""Equal sound is measured once in a process, for tests of what is done with the figures.

`pytestmark = pytest.mark.usefixtures("measured_once")` in files that read the same recordings again and again; never where measuring is what is tested.
"""

import hashlib
import pickle
from collections.abc import Callable, Iterator, Sequence
from typing import Any

import pytest
from msgspec.structs import replace

from tapscan.records import Scan
from tapscan.settings import Settings
from tapscan.signal.plate.plate_modes import measured_scan
from tapscan.signal.plate.station_analysis import PlaceTaps, StationResult, analysed
from tapscan.workers import ALONE, Workers

MOST = 100  # answers kept, of some hundred kilobytes each
KNOWN: dict[bytes, Any] = {}


def _remembered(given: object, measure: Callable[[], Any]) -> Any:
    """The answer to something equal in every byte, else `measure`'s."""
    key = hashlib.sha256(pickle.dumps(given)).digest()
    if key not in KNOWN:
        if len(KNOWN) == MOST:
            del KNOWN[next(iter(KNOWN))]  # the oldest
        KNOWN[key] = measure()
    return KNOWN[key]


def _place(place: PlaceTaps) -> StationResult:
    return _remembered(place, lambda: analysed(place))


def _scan(results: Sequence[StationResult], settings: Settings, workers: Workers = ALONE, **facts: Any) -> Scan:
    """`facts` are handed through by what is tested: they are told anew."""
    return replace(_remembered((results, settings), lambda: measured_scan(results, settings, workers)), **facts)


@pytest.fixture(scope="module")
def measured_once() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("tapscan.workflow.places.analysed", _place)
        patch.setattr("tapscan.screening.scan.measured_scan", _scan)
        yield
