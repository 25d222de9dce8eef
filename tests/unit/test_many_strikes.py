"""A place that was tapped for hours: its strikes are cut out by several, and nothing else changes."""

from pathlib import Path

import pytest
import soundfile

from tapscan.settings import Settings
from tapscan.settings.strikes import Strikes
from tapscan.workflow import places
from tapscan.workflow.check import Request, check
from tests.sounds import taps_at


def test_a_place_of_many_strikes_is_the_same_however_they_are_shared(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "S1.wav"
    soundfile.write(path, taps_at([0.5 + 0.9 * k for k in range(11)], 12, 8000), 8000, subtype="PCM_24")
    few = Request(settings=Settings().but(Strikes, per_station=4.0))  # so that there is a choice
    found = []
    for many in (3, 100):
        monkeypatch.setattr(places, "MANY", many)
        found.append(check([str(path)], few).screening)
    assert found[0] == found[1] and len(found[0].scan.strikes) == 11 and found[0].scan.modes
