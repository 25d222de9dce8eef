"""Simulated taps one after the other, as one recorder hears them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tapscan.demo.taps import Tap


def one_recording(taps: Sequence[Tap], pause_s: float = 0.0) -> tuple[np.ndarray, list[float]]:
    """All taps one after the other, ``pause_s`` of silence between them: samples and onsets in s."""
    rate = taps[0].sample_rate_hz
    gap = np.zeros(round(pause_s * rate))
    pieces, onsets, at = [], [], 0
    for tap in taps:
        onsets.append(at / rate + tap.onset_s)
        pieces += [tap.samples, gap]
        at += len(tap.samples) + len(gap)
    return np.concatenate(pieces), onsets
