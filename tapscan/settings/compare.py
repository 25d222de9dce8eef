"""Thresholds by which a plate counts as changed since its baseline."""

from msgspec import Struct

from tapscan.settings.definition import JUDGEMENT, SIMULATED, stage, threshold


@stage("compare", counted_in=("comparison",))
class Compare(Struct, frozen=True):
    """What counts as a change since the baseline."""

    lowest_hz: float = threshold(100.0, "Hz", "supports rule the modes below", SIMULATED)
    highest_hz: float = threshold(1500.0, "Hz", "above, modes overlap and pairs become doubtful", SIMULATED)
    share_of_places: float = threshold(
        0.3, "1", "a mode heard at a smaller share of the stations is not judged", SIMULATED
    )
    rises_free: float = threshold(
        4.0,
        "standard deviations",
        "by microphone, one baseline scan: larger rises tell that the room moves modes, and raise the limit",
        "simulation, 0.1 and 0.4 m in a room; chosen on the plates its rates are given for",
    )
    modes: float = threshold(12.0, "modes", "fewer pairs tell no common shift from a change", JUDGEMENT)
    common_modes: float = threshold(
        12.0, "modes", "so many must agree on a change that all share; fewer may agree by chance", "measured beams"
    )
    common_energy: float = threshold(
        0.5, "1", "share of the sound's energy that the modes which agree must hold", JUDGEMENT
    )
    false_share: float = threshold(
        0.05, "1", "share of false names allowed among the modes named as changed", "Benjamini and Hochberg 1995"
    )
    freedom: float = threshold(4.0, "degrees of freedom", "heavy tails of the normalised change (Student)", SIMULATED)
    score_cap: float = threshold(
        10.0, "standard deviations", "no single mode counts for more: a wrong pair is wild but alone", SIMULATED
    )
    drop_limit_three: float = threshold(
        6.8, "standard deviations", "mean of the three largest drops, three baseline scans or more", SIMULATED
    )
    usual_modes: float = threshold(
        70.0,
        "modes",
        "with more of them judged the limit for the largest drops rises, by the power that tails of Student's t have",
        "order statistics of heavy tails; the patterns that set limits have so many",
    )
    drop_limit_two: float = threshold(7.5, "standard deviations", "the same, two baseline scans", SIMULATED)
    drop_limit_one: float = threshold(7.5, "standard deviations", "the same, one baseline scan", SIMULATED)
    fall_likelihood_ratio: float = threshold(
        70_000.0,
        "to 1",
        "by microphone with two baseline scans or more: that some modes fell, against none, were scatter normal; it is not, and of 80 scores with the tails of Student's t (4) one "
        "unchanged plate in a hundred passes this, and one in twelve passed 400",
        "computed, bench/results/supports.txt",
    )
    loss_limit_three: float = threshold(
        6.0, "standard deviations", "mean of the five largest rises of the loss factor, three baseline scans", SIMULATED
    )
    loss_limit_two: float = threshold(6.5, "standard deviations", "the same, two baseline scans", SIMULATED)
    loss_limit_one: float = threshold(7.0, "standard deviations", "the same, one baseline scan", SIMULATED)
    loss_least_rise: float = threshold(
        0.15, "ln loss factor", "smaller rises are not called: iron damps more when hit harder", JUDGEMENT
    )
    miss_chance: float = threshold(0.005, "1", "a lost or new mode counts when a miss is less likely", JUDGEMENT)
    lost_or_new: float = threshold(6.0, "modes", "so many lost or new modes that count are called", SIMULATED)
    lost_and_new: float = threshold(
        2.0, "modes", "so many of each kind, lost and new; where one kind is missing a scan heard less", JUDGEMENT
    )
    mass_limit: float = threshold(0.24, "log odds", "above, a weight is the likelier explanation", SIMULATED)
