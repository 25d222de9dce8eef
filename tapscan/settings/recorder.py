"""Thresholds of the recorder: when it listens, takes a strike and takes it back."""

from msgspec import Struct

from tapscan.settings.definition import JUDGEMENT, stage, threshold


@stage("recorder", counted_in=())
class Recorder(Struct, frozen=True):
    """The recorder at the plate and the check of its input; no rate depends on them."""

    lead_s: float = threshold(0.35, "s", "quiet kept before each tap, to measure the noise in", JUDGEMENT)
    fallen_db: float = threshold(
        25.0, "dB", "the last ring must have fallen so far under a new tap, or that one waits", JUDGEMENT
    )
    peaked_db: float = threshold(
        16.0, "dB", "lines of ringing iron stand so far out of the spectrum; a thud's noise gives about 9", JUDGEMENT
    )
    undo_shortest_s: float = threshold(0.12, "s", "two knocks closer than this are one double hit", JUDGEMENT)
    undo_longest_s: float = threshold(0.45, "s", "two knocks within this take the last tap back", JUDGEMENT)
    undo_alike_db: float = threshold(15.0, "dB", "the two knocks are about equally strong", JUDGEMENT)
    noise_good_db: float = threshold(
        -65.0, "dB re full scale", "taps at a fifth of full scale then stand 50 dB over the noise", JUDGEMENT
    )
    noise_most_db: float = threshold(-50.0, "dB re full scale", "above it the faint modes of a tap drown", JUDGEMENT)
