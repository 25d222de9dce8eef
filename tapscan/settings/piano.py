"""Thresholds by which two scans of a plate in its piano are compared (screening/piano)."""

from msgspec import Struct

from tapscan.settings.definition import JUDGEMENT, SIMULATED, stage, threshold


@stage("piano", counted_in=("piano",))
class Piano(Struct, frozen=True):
    """When a plate in its piano counts as changed. Chosen on two simulated patterns and eight varied ones, and raised once after a look at some castings of three others; bench/in_piano.py counts on none of these. The limits for two scans before and two after were chosen on the five unvaried patterns and, after a first limit had called 3 of 107 unflawed ones, on four varied ones (seed 401). Those for two scans at either visit across seasons were chosen on the five unvaried and six varied ones (seeds 91 and 401) and, after first ones had found 30 of 36 plates with a screw gone, on six more (seeds 406 to 408). Screws differed by 1.5 % around one job and by 5 to 20 % across seasons."""

    job_days: float = threshold(
        1.0, "days", "scans this close are before and after one job; the wood has hardly moved", JUDGEMENT
    )
    places: float = threshold(4.0, "places", "fewer do not tell which tone is which", SIMULATED)
    modes: float = threshold(16.0, "modes", "fewer tell too little", JUDGEMENT)
    lowest_hz: float = threshold(50.0, "Hz", "the case rules the tones below", SIMULATED)
    highest_hz: float = threshold(900.0, "Hz", "above, tones overlap so far that none is told apart", SIMULATED)
    pair_job_ppm: float = threshold(800.0, "ppm", "how far a tone is looked for, around one job", SIMULATED)
    pair_season_ppm: float = threshold(2500.0, "ppm", "the same across seasons", SIMULATED)
    job_ppm: float = threshold(450.0, "ppm", "what screws that differ by 1.5 % do to a tone", SIMULATED)
    season_ppm: float = threshold(
        1700.0, "ppm", "what screws that differ by 5 % do; more where this pair shows more", SIMULATED
    )
    fit_factor: float = threshold(4.0, "1", "tones that overlap are known worse than their fit says", SIMULATED)
    alike: float = threshold(0.9, "1", "a pair whose strengths over the places are less alike tells no drop", SIMULATED)
    score_cap: float = threshold(12.0, "standard deviations", "no tone counts for more", JUDGEMENT)
    pattern_weight: float = threshold(
        6.0, "1", "weight of how unlike the strengths over the places are, beside the drops", SIMULATED
    )
    job_limit_many: float = threshold(9.5, "1", "around one job, more than `places` places; chosen at eight", SIMULATED)
    job_limit_few: float = threshold(7.5, "1", "around one job, no more than `places`", SIMULATED)
    twice_drops_hz: float = threshold(1400.0, "Hz", "with two scans before and two after, drops up to here", SIMULATED)
    twice_cap: float = threshold(6.0, "standard deviations", "the same: no tone counts for more", JUDGEMENT)
    twice_highest_hz: float = threshold(
        2000.0,
        "Hz",
        "the same: how unlike strengths are, up to here; how tones are told apart is then measured on the piano",
        SIMULATED,
    )
    twice_limit: float = threshold(
        3.7, "1", "around one job, two scans before and two after, at more than `places` places", SIMULATED
    )
    twice_low_hz: float = threshold(
        230.0, "Hz", "across seasons, two scans at either visit: tones up to here lie apart", SIMULATED
    )
    twice_high_hz: float = threshold(900.0, "Hz", "the same: from here on tones hardly reach the screws", SIMULATED)
    season_twice_high_limit: float = threshold(
        1.25, "1", "the same: how unlike strengths of these may have become", SIMULATED
    )
    season_twice_limit: float = threshold(
        12.3, "1", "across seasons, two scans at either visit, at more than `places` places", SIMULATED
    )
    season_limit_many: float = threshold(
        12.5, "1", "across seasons, more than `places` places; chosen at eight", SIMULATED
    )
    season_limit_few: float = threshold(11.5, "1", "across seasons, no more than `places`", SIMULATED)
