"""The thresholds of every stage, one frozen dataclass a stage; those that one rule alone reads stand in the rule's file.

How they were chosen: docs/rules.md and docs/comparison.md.
"""

from dataclasses import dataclass

from tapscan.settings.threshold import JUDGEMENT, SIMULATED, stage, threshold


@stage("strikes", counted_in=("single", "comparison"))
@dataclass(frozen=True)
class Strikes:
    """Finding and cutting the taps."""

    rise_db: float = threshold(12.0, "dB", "a tap rises this much within a few milliseconds", JUDGEMENT)
    gate_db: float = threshold(15.0, "dB", "a strike stands this far over the noise floor", JUDGEMENT)
    range_db: float = threshold(
        48.0, "dB", "an onset this far under the strongest is not a tap of the same scan", JUDGEMENT
    )
    gap_s: float = threshold(0.1, "s", "two onsets closer than this are one strike", JUDGEMENT)
    double_hit_db: float = threshold(
        -12.0, "dB", "a second blow this strong, within the gap, is a double hit", JUDGEMENT
    )
    alone_s: float = threshold(
        0.2, "s", "a tap followed sooner by another sound is not heard alone and is not used", JUDGEMENT
    )
    longest_s: float = threshold(4.0, "s", "longer ring adds no precision above 60 Hz", "Cramer-Rao bound")
    shortest_s: float = threshold(
        0.1, "s", "below this no decay above 100 Hz can be told from a thud", "Cramer-Rao bound"
    )
    weak_snr_db: float = threshold(20.0, "dB", "under this few modes stand clear of the noise", JUDGEMENT)
    clip_run: float = threshold(3.0, "samples", "this many equal samples at the extreme are a clipped peak", JUDGEMENT)
    per_station: float = threshold(12.0, "strikes", "more strikes at one station add time, hardly precision", JUDGEMENT)


@stage("recorder", counted_in=())
@dataclass(frozen=True)
class Recorder:
    """The recorder at the plate and the check of its input; no rate depends on them."""

    lead_s: float = threshold(0.35, "s", "quiet kept before each strike, to measure the noise in", JUDGEMENT)
    fallen_db: float = threshold(
        25.0, "dB", "the last ring must have fallen so far under a new strike, or that one waits", JUDGEMENT
    )
    peaked_db: float = threshold(
        16.0, "dB", "lines of ringing iron stand so far out of the spectrum; a thud's noise gives about 9", JUDGEMENT
    )
    undo_shortest_s: float = threshold(0.12, "s", "two knocks closer than this are one double hit", JUDGEMENT)
    undo_longest_s: float = threshold(0.45, "s", "two knocks within this take the last strike back", JUDGEMENT)
    undo_alike_db: float = threshold(15.0, "dB", "the two knocks are about equally strong", JUDGEMENT)
    noise_good_db: float = threshold(
        -65.0, "dB re full scale", "taps at a fifth of full scale then stand 50 dB over the noise", JUDGEMENT
    )
    noise_most_db: float = threshold(-50.0, "dB re full scale", "above it the faint modes of a tap drown", JUDGEMENT)


@stage("fit", counted_in=("single", "comparison"))
@dataclass(frozen=True)
class Fit:
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


@stage("tones", counted_in=("single",))
@dataclass(frozen=True)
class Tones:
    """How far a mode stands out as a tone."""

    window_start_s: float = threshold(0.1, "s", "after the knock itself has passed", JUDGEMENT)
    window_end_s: float = threshold(0.4, "s", "a pitch is heard within this time", JUDGEMENT)
    snr_db: float = threshold(
        20.0, "dB", "a mode less clear of the noise is not judged for prominence", "design of the rule"
    )
    share_db: float = threshold(
        -10.0, "dB", "a fainter part of what is heard in the window is not the pitch of the strike", JUDGEMENT
    )
    station_share: float = threshold(
        0.5, "1", "share of the stations that hear a mode at which it must stand out", JUDGEMENT
    )


@stage("origins", counted_in=("single", "comparison"))
@dataclass(frozen=True)
class Origins:
    """Telling tones of the room, the mains and the test from the plate's."""

    steady_before_db: float = threshold(
        -6.0, "dB", "a tone this strong before the tap, beside its strength after, is not the tap's", SIMULATED
    )
    steady_snr_db: float = threshold(
        12.0,
        "dB",
        "noise alone seldom makes so clear a line at one place; the middle of n places comes nearer to what noise shows by the root of n",
        SIMULATED,
    )
    steady_snr_noise_db: float = threshold(
        3.0, "dB", "what noise alone shows: the largest of three bins over the middle of those beside", "computed noise"
    )
    steady_t60_s: float = threshold(10.0, "s", "what dies away sooner is no steady tone", JUDGEMENT)
    alike_spread_db: float = threshold(1.0, "dB", "no mode of a plate moves so alike at all places", SIMULATED)
    alike_stations: float = threshold(8.0, "stations", "fewer may be alike by chance", JUDGEMENT)
    mains_reach: float = threshold(0.01, "1", "mains wander, and a short listen tells no better", JUDGEMENT)


@stage("strings", counted_in=("single", "comparison"))
@dataclass(frozen=True)
class Strings:
    """Telling tones of strings from the plate's."""

    partials: float = threshold(3.0, "partials", "fewer fit by chance", "inharmonicity of piano strings; judgement")
    cents: float = threshold(
        4.0, "cents", "partials of a string follow its series this closely", "Fletcher 1964, from memory; judgement"
    )
    decay_ratio: float = threshold(3.0, "1", "partials of one string decay within this ratio", JUDGEMENT)
    longer: float = threshold(2.0, "1", "strings ring this much longer than the plate's middle mode", JUDGEMENT)
    stiffness_factor: float = threshold(
        4.0, "1", "scatter of inharmonicity about its usual value at a pitch", "Young 1952, bass from memory"
    )


@stage("iron", counted_in=("single",))
@dataclass(frozen=True)
class Iron:
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
@dataclass(frozen=True)
class WholeScan:
    """What a whole scan must bring before silence means anything."""

    heard_places_share: float = threshold(
        0.6, "1", "of the places tapped; where fewer gave a good tap, silence of the rules says little", JUDGEMENT
    )


@stage("pairing", counted_in=("comparison",))
@dataclass(frozen=True)
class Pairing:
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


@stage("repeatability", counted_in=("comparison",))
@dataclass(frozen=True)
class Repeatability:
    """How far an unchanged plate differs from scan to scan."""

    low_ppm: float = threshold(170.0, "ppm", "supports moved by up to 30 mm, at 100 Hz, one scan", SIMULATED)
    slope: float = threshold(1.7, "1", "power by which the supports' part falls with frequency", SIMULATED)
    high_ppm: float = threshold(4.0, "ppm", "what is left of it well above 300 Hz, contact pickup", SIMULATED)
    high_microphone_ppm: float = threshold(
        50.0, "ppm", "the same by microphone in a room, corrected by repeated scans", SIMULATED
    )
    alone_microphone_ppm: float = threshold(400.0, "ppm", "the same where no scan was repeated", SIMULATED)
    supports_ppm: float = threshold(
        3000.0,
        "ppm",
        "supports of any usual kind, one scan, at 100 Hz; falls by the same power; counts until the plate was seen to repeat on two days",
        SIMULATED,
    )
    supports_high_ppm: float = threshold(
        80.0, "ppm", "what is left of it well above 300 Hz, until the plate was seen to repeat three times", SIMULATED
    )
    supports_high_seen_ppm: float = threshold(40.0, "ppm", "the same once it was", SIMULATED)
    supports_left_two: float = threshold(
        0.3, "1", "share of it that stays after two scans: few supports, few degrees of freedom", SIMULATED
    )
    supports_left_three: float = threshold(0.125, "1", "the same, three scans or more", SIMULATED)
    fit_factor: float = threshold(2.0, "1", "close modes are this much worse than the fit's own sd says", SIMULATED)
    fit_factor_room: float = threshold(
        0.5,
        "1",
        "the same for modes told in a room: their sd is wide, and most of it is the room's doing, which repeats from scan to scan",
        SIMULATED,
    )
    loss: float = threshold(0.02, "1", "scatter of ln loss factor, contact pickup", SIMULATED)
    loss_low: float = threshold(0.02, "1", "scatter of ln loss factor by supports, at 100 Hz", SIMULATED)
    loss_microphone: float = threshold(0.15, "1", "scatter of ln loss factor, microphone in a room", SIMULATED)
    prior_freedom: float = threshold(
        10.0, "degrees of freedom", "weight of what ships against what this plate's neighbouring modes show", JUDGEMENT
    )
    own_freedom: float = threshold(
        6.0, "degrees of freedom", "weight of the neighbouring modes against the mode's own few scans", JUDGEMENT
    )
    least_level: float = threshold(
        1.0,
        "1",
        "of the variance that ships, by pickup: scans of one day on chalked pads repeat better than the next one years later",
        "an outside reading of the comparison's model scans: softer pads called 25 of 60 without it and 1 of 60 with it",
    )
    smoothing: float = threshold(0.3, "ln frequency", "width over which scatter is smoothed", JUDGEMENT)
    finish_ppm: float = threshold(
        250.0, "ppm", "0.3 mm of finish, left per mode after the common shift; added to the scatter", SIMULATED
    )
    supports_factor: float = threshold(
        3.0, "1", "other supports scatter this much more than the same ones moved", JUDGEMENT
    )
    supports_lowest_hz: float = threshold(300.0, "Hz", "with other supports, modes below are not judged", SIMULATED)
    sensor_mass_g: float = threshold(
        5.0,
        "g",
        "a sensor up to this mass repeats when it is put back within 10 mm",
        "simulation and Rayleigh's principle",
    )
    sensor_mass_apart_g: float = threshold(
        1.0,
        "g",
        "sensors further apart in mass than this are not the same: 1 g moves modes as far as an unchanged plate scatters at 1 kHz",
        "Rayleigh's principle, on a plate of 104 kg",
    )


@stage("compare", counted_in=("comparison",))
@dataclass(frozen=True)
class Compare:
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


@stage("thermal", counted_in=("comparison",))
@dataclass(frozen=True)
class Thermal:
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
