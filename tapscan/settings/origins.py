"""Thresholds by which a mode is told to be a string's or the room's and not the plate's."""

from msgspec import Struct

from tapscan.settings.definition import JUDGEMENT, SIMULATED, stage, threshold


@stage("origins", counted_in=("single", "comparison"))
class Origins(Struct, frozen=True):
    """Telling tones of the room, the mains and the test from the plate's."""

    steady_before_db: float = threshold(
        -6.0, "dB", "a tone this strong before the tap, beside its strength after, is not the tap's", SIMULATED
    )
    steady_snr_db: float = threshold(
        12.0,
        "dB",
        "noise alone seldom makes so clear a line at one place; the middle of n places comes nearer to what noise shows by the root of n",
        SIMULATED,
    )
    steady_snr_noise_db: float = threshold(
        3.0, "dB", "what noise alone shows: the largest of three bins over the middle of those beside", "computed noise"
    )
    steady_t60_s: float = threshold(10.0, "s", "what dies away sooner is no steady tone", JUDGEMENT)
    alike_spread_db: float = threshold(1.0, "dB", "no mode of a plate moves so alike at all places", SIMULATED)
    alike_stations: float = threshold(8.0, "stations", "fewer may be alike by chance", JUDGEMENT)
    mains_reach: float = threshold(0.01, "1", "mains wander, and a short listen tells no better", JUDGEMENT)


@stage("strings", counted_in=("single", "comparison"))
class Strings(Struct, frozen=True):
    """Telling tones of strings from the plate's."""

    partials: float = threshold(3.0, "partials", "fewer fit by chance", "inharmonicity of piano strings; judgement")
    cents: float = threshold(
        4.0, "cents", "partials of a string follow its series this closely", "Fletcher 1964, from memory; judgement"
    )
    decay_ratio: float = threshold(3.0, "1", "partials of one string decay within this ratio", JUDGEMENT)
    longer: float = threshold(2.0, "1", "strings ring this much longer than the plate's middle mode", JUDGEMENT)
    stiffness_factor: float = threshold(
        4.0, "1", "scatter of inharmonicity about its usual value at a pitch", "Young 1952, bass from memory"
    )
