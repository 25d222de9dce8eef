"""Drops by pickup as they decide on a finding: what supports did between these very scans is allowed for, and two tones alone make none.

    beyond_supports(value, sd, frequency_hz, judged, settings)    (k,) drops over the scatter, and over what the low tones show that supports did
    held_to_third(score, judged, settings)                        (k,) none for much more than the third largest

A spring k under a place that a mode moves by phi (per root of modal mass) raises the square of the mode's angular frequency by k phi squared (Rayleigh). Another spring there, or one
elsewhere, so moves modes by the inverse square of their frequency, and most of the low ones at once, up or down; a crack moves those that bend the iron where it lies. The middle change of the
low tones tells what supports did, and nothing of a crack that moves few of them. One that moves most of them moves high ones, too, which supports leave.
"""

import numpy as np

from tapscan.records import FloatArray
from tapscan.screening.compare.shared_shift import Flags
from tapscan.settings import Settings

REFERENCE_HZ = 100.0
SPRING_POWER = 2.0
FEW = 8  # low tones; fewer have no middle to trust
TO_SD = 1.4826  # from the middle size of normal deviations
THIRD = 3


def beyond_supports(
    value: FloatArray, sd: FloatArray, frequency_hz: FloatArray, judged: Flags, settings: Settings
) -> FloatArray:
    """(k,) in standard deviations, positive downwards.

    value : (k,) changes of ln frequency, what all tones share taken out. sd : (k,) without what supports did. frequency_hz, judged : (k,).
    """
    return np.asarray(-value / np.hypot(sd, _moved_sd(value, sd, frequency_hz, judged, settings)))


def _moved_sd(
    value: FloatArray, sd: FloatArray, frequency_hz: FloatArray, judged: Flags, settings: Settings
) -> FloatArray:
    """(k,) 0 where the low tones moved no further than `sd` gives."""
    low = judged & (frequency_hz < settings.supports.below_hz)
    if low.sum() < FEW:
        return np.zeros(len(value))
    times = TO_SD * float(np.median(np.abs(value[low]) / sd[low]))
    if times <= 1:
        return np.zeros(len(value))
    spring = (REFERENCE_HZ / frequency_hz) ** SPRING_POWER
    seen = TO_SD * float(np.median(np.abs(value[low]) / spring[low])) * np.sqrt(1 - times**-2)
    return np.asarray(min(seen, 1e-6 * settings.supports.most_ppm) * spring)


def held_to_third(score: FloatArray, judged: Flags, settings: Settings) -> FloatArray:
    """A close pair told badly, or one point of support, makes two tones stand out; a crack more.

    score : (k,) in standard deviations. judged : (k,). Returns (k,).
    """
    known = np.sort(score[judged])
    if len(known) < THIRD:
        return score
    return np.minimum(score, settings.supports.third_tone_times * max(known[-THIRD], 0.0))
