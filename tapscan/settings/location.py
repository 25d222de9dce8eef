"""Thresholds by which a change is given a place on the plate (screening/location)."""

from dataclasses import dataclass

from tapscan.settings.threshold import JUDGEMENT, SIMULATED, stage, threshold


@stage("location", counted_in=("location",))
@dataclass(frozen=True)
class Location:
    """When a place is told, and how sharply."""

    places: float = threshold(11.0, "places", "fewer tell nothing of where", SIMULATED)
    modes: float = threshold(20.0, "modes", "fewer leave too many parts alike", JUDGEMENT)
    fit: float = threshold(
        0.1,
        "1",
        "of a mode's motion at a place told from all other places, middle of the modes; below, the drawing is not of this plate",
        SIMULATED,
    )
    lowest_hz: float = threshold(60.0, "Hz", "supports rule the modes below", SIMULATED)
    highest_hz: float = threshold(1300.0, "Hz", "above, places lie too far apart for the shapes", SIMULATED)
    window: float = threshold(0.12, "ln frequency", "model modes further off than this weigh little", SIMULATED)
    ridge: float = threshold(0.02, "1", "of the mean square at a place that no model shape explains", SIMULATED)
    sharpness: float = threshold(34.0, "1", "ln odds between two parts for each 1 of difference in cosine", SIMULATED)
