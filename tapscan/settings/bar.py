"""Thresholds of what is measured beside the plate: the reference bar (screening/chain), two readings of the iron. No rate of the rules rests on them."""

from msgspec import Struct

from tapscan.settings.definition import JUDGEMENT, stage, threshold


@stage("gradient", counted_in=())
class Gradient(Struct, frozen=True):
    """A plate that is warmer at one end; it only ever refuses an answer."""

    end_to_end_k: float = threshold(
        1.0,
        "K",
        "from this difference between the two ends on, frequencies are not judged",
        "an outside reading of the comparison's model scans: at 2 K 46 of 150 unchanged plates were called",
    )


@stage("bar", counted_in=())
class Bar(Struct, frozen=True):
    """A steel bar struck first and last."""

    modes: float = threshold(3.0, "modes", "fewer tones found in both tell nothing", JUDGEMENT)
    mode_snr_db: float = threshold(30.0, "dB", "fainter tones of the bar are left out", JUDGEMENT)
    least_q: float = threshold(150.0, "1", "steel rings; what dies away sooner is a support or the room", JUDGEMENT)
    reach: float = threshold(0.015, "1", "a tone is looked for this far from where it was, relative", JUDGEMENT)
    together_ppm: float = threshold(400.0, "ppm", "tones that moved alike lie so close to one another", JUDGEMENT)
    repeat_ppm: float = threshold(
        20.0, "ppm", "one tone of a bar put back on its supports, or a pickup put back at its middle", JUDGEMENT
    )
    support_hz: float = threshold(
        300.0,
        "Hz",
        "at this frequency supports add as much again, and more by its square below",
        "a spring beside a mass",
    )
    odd_share: float = threshold(
        0.2, "1", "of the tones that may move by themselves; with more of them the bar did not move as one", JUDGEMENT
    )
    found_share: float = threshold(
        0.65,
        "1",
        "of the tones of the scan that has fewer; where fewer are found again, the bar has changed",
        JUDGEMENT,
    )
    limit: float = threshold(3.5, "standard deviations", "what goes further has changed", JUDGEMENT)
    per_k: float = threshold(
        -0.00014,
        "1/K",
        "change of all tones of steel with temperature: half of modulus slope and expansion",
        "carbon steel -3.3e-4 per K in ASME B31.1 as two tables quote it, generic steel -2.4e-4 to -3e-4 and expansion 11.7e-6 from memory",
    )
    small_per_k: float = threshold(-0.00011, "1/K", "the least it may be", "the same, -2.4e-4 per K")
    large_per_k: float = threshold(-0.00016, "1/K", "the most it may be", "the same, -3.3e-4 per K")
    indoors_k: float = threshold(20.0, "K", "without a thermometer a room may be so much warmer or colder", JUDGEMENT)
    hand_db: float = threshold(3.0, "dB", "three taps by hand differ so much from three others", JUDGEMENT)
    tone_db: float = threshold(2.0, "dB", "the same of one tone against the others", JUDGEMENT)
    noise_db: float = threshold(8.0, "dB", "rooms differ so much from hour to hour", JUDGEMENT)
    alike_db: float = threshold(
        3.0, "dB", "taps and noise that change by the same within this were turned up or down", JUDGEMENT
    )
