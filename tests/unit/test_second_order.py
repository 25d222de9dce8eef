"""Own filters and note names against the libraries they stand in for."""

import librosa
import numpy as np
import pytest
from scipy.signal import butter, firwin, sosfilt

from tapscan.screening.notes import note_of
from tapscan.signal.fit.subbands import _lowpass
from tapscan.signal.strikes.second_order import SecondOrder


@pytest.mark.parametrize(
    ("kind", "cut_hz", "rate_hz"), [("high", 40.0, 48_000), ("low", 6000.0, 48_000), ("low", 3200.0, 8000)]
)
def test_a_filter_is_scipys_in_pieces_of_any_length(kind, cut_hz, rate_hz):
    x = np.random.default_rng(1).standard_normal((2, 5000))
    asked = sosfilt(butter(2, cut_hz, kind, fs=rate_hz, output="sos"), x, axis=1)
    make = SecondOrder.high_pass if kind == "high" else SecondOrder.low_pass
    one = make(cut_hz, rate_hz, 2)
    got = np.hstack([one.filtered(p) for p in np.split(x, [1, 2, 2, 7, 1000], axis=1)])
    assert got == pytest.approx(asked, abs=1e-10)


@pytest.mark.parametrize("hz", [27.5, 131.3, 415.0, 452.9, 8372.0, 11_000.0])
def test_a_note_is_librosas(hz):
    told = note_of(hz)
    assert told["note"] == librosa.hz_to_note(hz, unicode=False)
    assert abs(1200 * np.log2(librosa.note_to_hz(told["note"]) / hz) + told["cents"]) < 1e-6


def test_a_bands_filter_is_scipys():
    response, half_s = _lowpass(100, 8000, 8000, 60.0)
    taps = round(half_s * 8000) * 2 + 1
    kernel = np.fft.fft(
        np.roll(
            np.pad(firwin(taps, 60.0, fs=8000, window=("kaiser", 0.1102 * (60.0 - 8.7))), (0, 8000 - taps)),
            -(taps // 2),
        )
    )
    assert response == pytest.approx(np.concatenate([kernel[-100:], kernel[:100]]).real, abs=1e-9)
