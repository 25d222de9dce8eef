"""Thresholds by which a shift that all modes share is read as a temperature."""

from msgspec import Struct

from tapscan.settings.definition import JUDGEMENT, stage, threshold


@stage("thermal", counted_in=("comparison",))
class Thermal(Struct, frozen=True):
    """The shared shift read as a temperature."""

    per_k: float = threshold(
        -0.0001,
        "1/K",
        "change of all frequencies with the iron's temperature: half of modulus slope and expansion, 21 to 93 C",
        "ASME B31.1 gray iron 13.4 and 13.2 million psi at 70 and 200 F, first column from memory; pages that align the row to -325 F give -1.6e-4",
    )
    small_per_k: float = threshold(-0.00005, "1/K", "the least it may be", "rounding of that table, 0.05 million psi")
    large_per_k: float = threshold(-0.000215, "1/K", "the most it may be", "range of modulus tables, however aligned")
    thermometer_sd_k: float = threshold(1.5, "K", "thermometer, and iron that lags behind the air", JUDGEMENT)
    most: float = threshold(0.004, "1", "a larger common shift is not temperature alone", "20 K")
    hours_in_room: float = threshold(4.0, "h", "sooner the iron is warmer in one part than in another", JUDGEMENT)
