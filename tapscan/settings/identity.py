"""Thresholds by which one plate is told from another, and its places from each other (screening/compare/identity.py)."""

from msgspec import Struct

from tapscan.settings.definition import JUDGEMENT, SIMULATED, stage, threshold


@stage("identity", counted_in=())
class Identity(Struct, frozen=True):
    """Whether two scans are of one plate, tapped in one order; their rates stand in bench/results/identity.txt."""

    stations: float = threshold(4.0, "stations", "fewer in common make no pattern", JUDGEMENT)
    modes: float = threshold(20.0, "modes", "fewer on either side tell no casting from another", JUDGEMENT)
    widest_shift: float = threshold(
        0.008, "1", "warmth, and a coat put on or taken off, move all modes of one plate by less, relative", SIMULATED
    )
    near: float = threshold(6e-4, "1", "a mode of the same plate lies within this, relative", SIMULATED)
    same_share: float = threshold(
        0.5, "1", "share of modes heard again, as near and as alike, above which a scan is of that plate", SIMULATED
    )
    other_share: float = threshold(
        0.15, "1", "below this share, with all patterns alike, it is another casting of the pattern", SIMULATED
    )
    doubtful_share: float = threshold(
        0.25, "1", "below this share it is another casting where modes rose as well as fell", SIMULATED
    )
    rose_share: float = threshold(
        0.1, "1", "share of modes that rose; a crack or a weight raises none", "finite-element study, simulated"
    )
    pattern_share: float = threshold(
        0.82,
        "1",
        "share of modes alike in pattern: of 640 castings of one pattern none had less than 0.85; a severed strut or a large crack leaves fewer",
        SIMULATED,
    )
    stranger_share: float = threshold(
        0.04, "1", "below this share, with no pattern alike, it is a plate of another pattern", SIMULATED
    )
    stranger_correlation: float = threshold(
        0.835,
        "1",
        "mean shape_correlation of patterns below which no pattern is alike; a severed strut leaves more",
        SIMULATED,
    )
    exchanged: float = threshold(
        0.15,
        "1",
        "gain in correlation for each place of a group, beyond which these places were tapped in each other's stead",
        SIMULATED,
    )
