"""Thresholds by which a change is given a place on the plate (screening/location)."""

from msgspec import Struct

from tapscan.settings.definition import JUDGEMENT, SIMULATED, stage, threshold


@stage("location", counted_in=("location",))
class Location(Struct, frozen=True):
    """When a place is told, and how sharply."""

    places: float = threshold(11.0, "places", "fewer tell nothing of where", SIMULATED)
    modes: float = threshold(20.0, "modes", "fewer leave too many parts alike", JUDGEMENT)
    fit: float = threshold(
        0.5,
        "1",
        "of a mode's motion at a place told from all other places, middle of the modes; below, the drawing is not of this plate",
        SIMULATED,
    )
    fit_places: float = threshold(20.0, "places", "with fewer, less is told: the limit of fit in proportion", SIMULATED)
    lowest_hz: float = threshold(60.0, "Hz", "supports rule the modes below", SIMULATED)
    highest_hz: float = threshold(1300.0, "Hz", "above, places lie too far apart for the shapes", SIMULATED)
    window: float = threshold(0.12, "ln frequency", "model modes further off than this weigh little", SIMULATED)
    ridge: float = threshold(0.02, "1", "of the mean square at a place that no model shape explains", SIMULATED)
    sharpness: float = threshold(
        77.0, "1", "ln odds between two parts for each 1 of difference in cosine, usually", SIMULATED
    )
    sharper_by_likeness: float = threshold(
        2.7, "ln for each 1 of cosine", "where the best candidate explains more, odds are steeper", SIMULATED
    )
    sharper_by_fit: float = threshold(
        0.6, "ln for each 1 of fit", "where the drawing fits better, odds are steeper", SIMULATED
    )
    doubt: float = threshold(0.016, "1", "of the belief, spread evenly: no candidate may be right", SIMULATED)
    thickness: float = threshold(0.15, "ln thickness", "how far off a part's thickness is usually drawn", JUDGEMENT)
    proportion: float = threshold(
        0.05, "ln height over width", "how far off a plate's proportions are usually drawn", JUDGEMENT
    )
    scale: float = threshold(0.3, "ln frequency", "how far off a model's frequencies are together", JUDGEMENT)
    places_m: float = threshold(0.010, "m", "how far off a place is usually drawn, each way", JUDGEMENT)
    evidence: float = threshold(
        0.25, "1", "share of the patterns' evidence that counts when the drawing is put right", SIMULATED
    )
