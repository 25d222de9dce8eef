"""Thresholds by which the modes of two scans are paired."""

from msgspec import Struct

from tapscan.settings.definition import JUDGEMENT, stage, threshold


@stage("pairing", counted_in=("comparison",))
class Pairing(Struct, frozen=True):
    """Which mode of one scan is which of another."""

    widest_shift_ppm: float = threshold(
        12000.0, "ppm", "temperature, finish and a general loss of stiffness move all modes by less", JUDGEMENT
    )
    reach: float = threshold(
        0.08, "1", "no mode is looked for further from where it was, relative", "finite-element study, simulated"
    )
    drop_scale: float = threshold(
        0.01, "1", "a flaw lowers a mode by this order, relative", "finite-element study, simulated"
    )
    rise_scale: float = threshold(
        0.003, "1", "an open crack raises no mode; what was taken off the plate does", "finite-element study, simulated"
    )
    moved_cost: float = threshold(3.0, "1", "about one mode in twenty moves, natural log units", JUDGEMENT)
    unlike_cost: float = threshold(8.0, "1", "unrelated amplitude patterns, natural log units", JUDGEMENT)
    alone_cost: float = threshold(5.0, "1", "a mode left without partner, natural log units", JUDGEMENT)
    merged_reach: float = threshold(
        1.0,
        "linewidths",
        "a mode this near one that only one scan heard may be both in one, and is not judged",
        "simulation: an unchanged plate once read as changed for that",
    )
