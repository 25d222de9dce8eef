"""Own filters and note names against the libraries they stand in for."""

import librosa
import numpy as np
import pytest
from scipy.signal import butter, firwin, sosfilt

from tapscan.screening.notes import note_of
from tapscan.signal.fit.subbands import _lowpass
from tapscan.signal.strikes.hop_power import HopPower


@pytest.mark.parametrize("rate_hz", [8000, 11_025, 44_100, 48_000, 191_000])
def test_the_power_hop_by_hop_is_that_of_scipys_filters_in_pieces_of_any_length(rate_hz):
    hop = round(rate_hz / 1000)
    x = np.random.default_rng(1).standard_normal((2, 400 * hop)) + np.array([[0.0], [0.3]])
    zero = np.array([[0.1], [0.0]])
    high = sosfilt(butter(2, 40.0, "high", fs=rate_hz, output="sos"), x - zero)
    low = sosfilt(butter(2, min(6000.0, 0.4 * rate_hz), "low", fs=rate_hz, output="sos"), x - zero)
    asked = [np.mean(y.reshape(2, -1, hop) ** 2, axis=2) for y in (high, np.diff(low, axis=1, prepend=0.0))]
    meter = HopPower(hop, rate_hz, 2)
    got = np.concatenate([meter.of(p, zero) for p in np.split(x, [hop, 2 * hop, 9 * hop, 200 * hop], axis=1)], axis=2)
    assert got == pytest.approx(np.stack(asked, axis=1), rel=1e-9)


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
