"""Thresholds of a comparison out of the piano by which what supports did, and a few tones alone, leave a change open (screening/compare/moved_supports.py)."""

from msgspec import Struct

from tapscan.settings.definition import SIMULATED, stage, threshold


@stage("supports", counted_in=("bare",))
class Supports(Struct, frozen=True):
    """How far supports moved a bare plate's tones between the very scans compared."""

    below_hz: float = threshold(
        600.0,
        "Hz",
        "the middle change of the tones below tells how far supports moved this plate; above they move little",
        "Rayleigh's principle: springs act by the inverse square of the frequency; where, judgement",
    )
    most_ppm: float = threshold(
        20_000.0,
        "ppm",
        "at 100 Hz; where the low tones moved further, no more than this is laid to the supports, so that a severed strut is not",
        "simulated: of unchanged pairs on the setting families one in a hundred moved by 15,000 and more, most of them on rails",
    )
    most_loss: float = threshold(
        0.3,
        "1",
        "of ln loss factor at 100 Hz; where the low tones' losses changed by more, no more than this is laid to the supports, so that a closed crack that rubs is not",
        "simulated: of unchanged pairs on the setting families one in a hundred changed by 0.29 and more",
    )
    last_tone_times: float = threshold(
        2.0,
        "1",
        "no tone counts for more than so many times the third largest drop, or the fifth largest rise of the loss: a close pair told badly makes two tones stand out, a crack more",
        SIMULATED,
    )
