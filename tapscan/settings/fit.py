"""Thresholds of the fit: from where to where modes are looked for, and how clear a mode must be to count."""

from msgspec import Struct

from tapscan.settings.definition import JUDGEMENT, stage, threshold


@stage("fit", counted_in=("single", "comparison"))
class Fit(Struct, frozen=True):
    """Fitting the modes."""

    lowest_hz: float = threshold(50.0, "Hz", "supports rule the modes below", "finite-element study, simulated")
    highest_hz: float = threshold(11220.0, "Hz", "upper end of the prominence criteria", "ECMA-418-1, scope")
    mode_snr_db: float = threshold(
        17.0, "dB", "matched-filter level over noise; keeps noise peaks out of the mode list", JUDGEMENT
    )
    decay_spread: float = threshold(0.25, "1", "a decay known worse than this, relative, is not given", JUDGEMENT)
    high_tone_db: float = threshold(
        -16.0,
        "dB",
        "above 2.5 kHz modes are looked for where a tone holds this much of what is heard in the tone window; -200: everywhere",
        JUDGEMENT,
    )
    overlap: float = threshold(
        0.5, "1", "above this modal overlap single modes are not told apart", "finite-element study, simulated"
    )
    explained_share: float = threshold(
        0.6,
        "1",
        "where the modes explain less of the sound, they are not sure; plates .7 and more, talk under .55",
        "bench/accuracy, simulated",
    )
    time_constants: float = threshold(
        2.0, "time constants", "a mode seen for less is cut short", "Cramer-Rao bound: 1.21 at two"
    )
