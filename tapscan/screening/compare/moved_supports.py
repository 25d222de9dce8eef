"""Drops, and rises of the loss, by pickup as they decide on a finding: what supports did between these very scans is allowed for, and one or two tones alone make none.

    supports_allowed(drops, losses, frequency_hz, settings)             both Changes so judged
    beyond_supports(value, sd, frequency_hz, judged, most, settings)    (k,) changes over the scatter, and over what the low tones show that supports did
    held_to_last(score, judged, top, settings)                          (k,) none for much more than the last of the largest that are meant

A spring k under a place that a mode moves by phi (per root of modal mass) raises the square of the mode's angular frequency by k phi squared (Rayleigh). Another spring there, or one
elsewhere, so moves modes by the inverse square of their frequency, and most of the low ones at once, up or down; a crack moves those that bend the iron where it lies. The middle change of the
low tones tells what supports did, and nothing of a crack that moves few of them. One that moves most of them moves high ones, too, which supports leave.
The loss of a support counts by the share of the mode's energy that lies in its spring, which is k phi squared over the square of the angular frequency: by the same law.
"""

import numpy as np
from msgspec.structs import replace

from tapscan.records import FloatArray
from tapscan.screening.compare.change import TOP_DROPS, TOP_RISES, Change, HeldBack, largest_capped
from tapscan.screening.compare.shared_shift import Flags
from tapscan.settings import Settings

REFERENCE_HZ = 100.0
SPRING_POWER = 2.0
FEW = 8  # low tones; fewer have no middle to trust
TO_SD = 1.4826  # from the middle size of normal deviations


def supports_allowed(
    drops: Change, losses: Change, frequency_hz: FloatArray, settings: Settings
) -> tuple[Change, Change]:
    """frequency_hz : (k,) of the pairs."""
    most_ppm, most_loss = settings.supports.most_ppm, settings.supports.most_loss
    return (
        _decided(drops, -1.0, TOP_DROPS, 1e-6 * most_ppm, frequency_hz, settings),
        _decided(losses, 1.0, TOP_RISES, most_loss, frequency_hz, settings),
    )


def _decided(
    change: Change, sign: float, top: int, most: float, frequency_hz: FloatArray, settings: Settings
) -> Change:
    """By pickup: with what supports did between these scans allowed for (no more than `most`), and by more than a few tones."""
    if change.statistic is None:
        return change
    beyond = sign * beyond_supports(change.value, change.sd, frequency_hz, change.judged, most, settings)
    held = held_to_last(beyond, change.judged, top, settings)
    alone, statistic = (largest_capped(s[change.judged], top, settings) for s in (beyond, held))
    if statistic > change.limit or change.statistic <= change.limit:
        return replace(change, statistic=statistic)
    why: HeldBack = "supports" if alone <= change.limit else "few tones"
    none = np.zeros(len(change.value))
    return replace(change, statistic=statistic, named=none > 0, weight=none, held_back=why)


def beyond_supports(
    value: FloatArray, sd: FloatArray, frequency_hz: FloatArray, judged: Flags, most: float, settings: Settings
) -> FloatArray:
    """(k,) in standard deviations, positive where the value is.

    value : (k,) changes of ln frequency or of ln loss factor, what all tones share taken out. sd : (k,) without what supports did. frequency_hz, judged : (k,).
    most : of the value, at 100 Hz, that is laid to supports.
    """
    return np.asarray(value / np.hypot(sd, _moved_sd(value, sd, frequency_hz, judged, most, settings)))


def _moved_sd(
    value: FloatArray, sd: FloatArray, frequency_hz: FloatArray, judged: Flags, most: float, settings: Settings
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
    return np.asarray(min(seen, most) * spring)


def held_to_last(score: FloatArray, judged: Flags, top: int, settings: Settings) -> FloatArray:
    """A close pair told badly, or one point of support, makes one or two tones stand out; a crack more.

    score : (k,) in standard deviations. judged : (k,). top : how many of the largest make the statistic. Returns (k,).
    """
    known = np.sort(score[judged])
    if len(known) < top:
        return score
    return np.minimum(score, settings.supports.last_tone_times * max(known[-top], 0.0))
