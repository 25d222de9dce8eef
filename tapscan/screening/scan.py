"""The Scan that the rules read.

scan_of(results, settings, ...)   what the stations gave, with where each tone comes from
"""

from collections.abc import Sequence
from typing import Any

from tapscan.records import Scan
from tapscan.screening.mode_origins import with_origins
from tapscan.settings import Settings
from tapscan.signal.plate.plate_modes import measured_scan
from tapscan.signal.plate.station_analysis import StationResult
from tapscan.workers import ALONE, Workers


def scan_of(results: Sequence[StationResult], settings: Settings, workers: Workers = ALONE, **facts: Any) -> Scan:
    """`facts` : further fields of Scan, such as its recordings and its state."""
    return with_origins(measured_scan(results, settings, workers, **facts), settings)
