"""Thresholds by which taps are found in a recording and judged."""

from msgspec import Struct

from tapscan.settings.definition import JUDGEMENT, stage, threshold


@stage("strikes", counted_in=("single", "comparison"))
class Strikes(Struct, frozen=True):
    """Finding and cutting the taps."""

    rise_db: float = threshold(12.0, "dB", "a tap rises this much within a few milliseconds", JUDGEMENT)
    gate_db: float = threshold(15.0, "dB", "a tap stands this far over the noise floor", JUDGEMENT)
    range_db: float = threshold(
        48.0, "dB", "an onset this far under the strongest is not a tap of the same scan", JUDGEMENT
    )
    gap_s: float = threshold(0.1, "s", "two onsets closer than this are one tap", JUDGEMENT)
    double_hit_db: float = threshold(
        -12.0, "dB", "a second blow this strong, within the gap, is a double hit", JUDGEMENT
    )
    alone_s: float = threshold(
        0.2, "s", "a tap followed sooner by another sound is not heard alone and is not used", JUDGEMENT
    )
    longest_s: float = threshold(4.0, "s", "longer ring adds no precision above 60 Hz", "Cramer-Rao bound")
    shortest_s: float = threshold(
        0.1, "s", "below this no decay above 100 Hz can be told from a thud", "Cramer-Rao bound"
    )
    weak_snr_db: float = threshold(20.0, "dB", "under this few modes stand clear of the noise", JUDGEMENT)
    clip_run: float = threshold(3.0, "samples", "this many equal samples at the extreme are a clipped peak", JUDGEMENT)
    per_station: float = threshold(12.0, "taps", "more taps at one station add time, hardly precision", JUDGEMENT)
