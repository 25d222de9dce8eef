"""Thresholds by which iron that damps otherwise than the rest is told, and how much of a plate must have been heard."""

from msgspec import Struct

from tapscan.settings.definition import JUDGEMENT, SIMULATED, stage, threshold


@stage("iron", counted_in=("single",))
class Iron(Struct, frozen=True):
    """Losses of areas of iron against the plate's trend."""

    area_score: float = threshold(
        2.8,
        "standard deviations",
        "an area whose iron damps less or more than the rest; with 2.5 sound iron that damps by place passed too often",
        SIMULATED,
    )
    lowest_hz: float = threshold(100.0, "Hz", "supports damp the modes below", "simulation")
    highest_hz: float = threshold(2200.0, "Hz", "above, nothing was tried", "simulation")
    modes: float = threshold(30.0, "modes", "fewer give no trend to compare with", JUDGEMENT)
    stations: float = threshold(6.0, "stations", "fewer do not tell one place from another", JUDGEMENT)


@stage("scan", counted_in=("single",))
class WholeScan(Struct, frozen=True):
    """What a whole scan must bring before silence means anything."""

    heard_places_share: float = threshold(
        0.6, "1", "of the places tapped; where fewer gave a good tap, silence of the rules says little", JUDGEMENT
    )
