"""What the stations heard, joined into the modes of a plate."""

import json
import math

import pytest

from tapscan.plain_values import plain
from tapscan.records import Pole, Tone
from tapscan.settings import Settings
from tapscan.signal.plate.merging import HeardPole, Joined, modes_of

NO_TONE = Tone(None, None, None, "test")


def one(frequency_hz, sd_hz):
    pole = Pole(frequency_hz, sd_hz, 5.0, 0.1, (1 + 0j,), 40.0)
    return Joined(pole, [HeardPole(station, pole, NO_TONE, 0.0, -20.0, 0.1, 2.0) for station in ("S1", "S2")])


@pytest.mark.parametrize("open_sd", [math.inf, math.nan])
def test_a_tone_whose_frequency_the_taps_leave_open_is_no_mode(open_sd):
    """A singular Fisher matrix gives an infinite standard error, which no register can hold."""
    found = modes_of([one(300.0, 0.01), one(200.0, open_sd), one(100.0, 0.01)], Settings())
    assert [(m.id, m.frequency_hz) for m in found] == [("M1", 100.0), ("M2", 300.0)]
    assert json.dumps([plain(m) for m in found], allow_nan=False)
