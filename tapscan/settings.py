"""Every threshold, with unit, reason and source; a TOML file can overlay it.

read_settings(path)    the defaults overlaid by a TOML file of `name = value` lines
settings_sha256(s)     hash stored with each scan, so that figures can be tied to thresholds
describe(s)            rows (name, value, unit, reason, source) for docs and reports
"""

import hashlib
import json
import math
import tomllib
from dataclasses import asdict, dataclass, fields, replace
from pathlib import Path

from tapscan.errors import BadSettings
from tapscan.rule_limits import JUDGEMENT, RuleLimits, limit


@dataclass(frozen=True)
class Settings(RuleLimits):
    """All thresholds. Change them with a TOML overlay, never in the code of a rule."""

    strike_rise_db: float = limit(12.0, "dB", "a tap rises this much within a few milliseconds", JUDGEMENT)
    strike_gate_db: float = limit(15.0, "dB", "a strike stands this far over the noise floor", JUDGEMENT)
    strike_range_db: float = limit(
        48.0, "dB", "an onset this far under the strongest is not a tap of the same scan", JUDGEMENT
    )
    strike_gap_s: float = limit(0.10, "s", "two onsets closer than this are one strike", JUDGEMENT)
    double_hit_db: float = limit(-12.0, "dB", "a second blow this strong, within the gap, is a double hit", JUDGEMENT)
    strike_alone_s: float = limit(
        0.20, "s", "a tap followed sooner by another sound is not heard alone and is not used", JUDGEMENT
    )
    record_lead_s: float = limit(0.35, "s", "quiet kept before each strike, to measure the noise in", JUDGEMENT)
    record_fallen_db: float = limit(
        25.0, "dB", "the last ring must have fallen so far under a new strike, or that one waits", JUDGEMENT
    )
    record_peaked_db: float = limit(
        16.0, "dB", "lines of ringing iron stand so far out of the spectrum; a thud's noise gives about 9", JUDGEMENT
    )
    undo_shortest_s: float = limit(0.12, "s", "two knocks closer than this are one double hit", JUDGEMENT)
    undo_longest_s: float = limit(0.45, "s", "two knocks within this take the last strike back", JUDGEMENT)
    undo_alike_db: float = limit(15.0, "dB", "the two knocks are about equally strong", JUDGEMENT)
    noise_good_db: float = limit(
        -65.0, "dB re full scale", "taps at a fifth of full scale then stand 50 dB over the noise", JUDGEMENT
    )
    noise_most_db: float = limit(-50.0, "dB re full scale", "above it the faint modes of a tap drown", JUDGEMENT)
    strike_longest_s: float = limit(4.0, "s", "longer ring adds no precision above 60 Hz", "Cramer-Rao bound")
    strike_shortest_s: float = limit(
        0.10, "s", "below this no decay above 100 Hz can be told from a thud", "Cramer-Rao bound"
    )
    weak_snr_db: float = limit(20.0, "dB", "under this few modes stand clear of the noise", JUDGEMENT)
    clip_run: float = limit(3, "samples", "this many equal samples at the extreme are a clipped peak", JUDGEMENT)
    strikes_per_station: float = limit(
        12, "strikes", "more strikes at one station add time, hardly precision", JUDGEMENT
    )
    lowest_hz: float = limit(50.0, "Hz", "supports rule the modes below", "finite-element study, simulated")
    highest_hz: float = limit(11220.0, "Hz", "upper end of the prominence criteria", "ECMA-418-1, scope")
    mode_clear_db: float = limit(
        17.0, "dB", "matched-filter level over noise; keeps noise peaks out of the mode list", JUDGEMENT
    )
    decay_spread: float = limit(0.25, "1", "a decay known worse than this, relative, is not given", JUDGEMENT)
    overlap: float = limit(
        0.5, "1", "above this modal overlap single modes are not told apart", "finite-element study, simulated"
    )
    explained_share: float = limit(
        0.6,
        "1",
        "where the modes explain less of the sound, they are not sure; plates .7 and more, talk under .55",
        "bench/accuracy, simulated",
    )
    time_constants: float = limit(
        2.0, "time constants", "a mode seen for less is cut short", "Cramer-Rao bound: 1.21 at two"
    )
    tone_window_start_s: float = limit(0.10, "s", "after the knock itself has passed", JUDGEMENT)
    tone_window_end_s: float = limit(0.40, "s", "a pitch is heard within this time", JUDGEMENT)
    tone_clear_db: float = limit(
        20.0, "dB", "a mode less clear of the noise is not judged for prominence", "design of the rule"
    )
    tone_share_db: float = limit(
        -10.0, "dB", "a fainter part of what is heard in the window is not the pitch of the strike", JUDGEMENT
    )
    high_tone_db: float = limit(
        -16.0,
        "dB",
        "above 2.5 kHz modes are looked for where a tone holds this much of what is heard in the window; -200: everywhere",
        JUDGEMENT,
    )
    ringing_t60_s: float = limit(0.30, "s", "shorter tones are a thud to the ear", JUDGEMENT)
    ringing_station_share: float = limit(
        0.5, "1", "share of the stations that hear a mode at which it must stand out", JUDGEMENT
    )
    heard_places_share: float = limit(
        0.6, "1", "of the places tapped; where fewer gave a good tap, silence of the rules says little", JUDGEMENT
    )
    plate_loss_factor: float = limit(
        0.0015,
        "1",
        "half of the modes less damped than this: below what flake iron with its supports is taken to have",
        "ASM handbook, iron castings, from memory; order of magnitude only",
    )
    area_score: float = limit(
        2.5,
        "standard deviations",
        "an area whose iron damps less or more than the rest; 5 in 1000 shuffled plates pass, each way",
        "simulated plates, docs/rules.md",
    )
    region_lowest_hz: float = limit(100.0, "Hz", "supports damp the modes below", "simulation")
    region_highest_hz: float = limit(2200.0, "Hz", "above, nothing was tried", "simulation")
    region_modes: float = limit(30, "modes", "fewer give no trend to compare with", JUDGEMENT)
    region_stations: float = limit(6, "stations", "fewer do not tell one place from another", JUDGEMENT)
    plate_modes: float = limit(8, "modes", "fewer modes say nothing about the whole plate", JUDGEMENT)
    pairing_widest_shift_ppm: float = limit(
        12000.0, "ppm", "temperature, finish and a general loss of stiffness move all modes by less", JUDGEMENT
    )
    pairing_reach: float = limit(
        0.08, "1", "no mode is looked for further from where it was, relative", "finite-element study, simulated"
    )
    pairing_drop_scale: float = limit(
        0.01, "1", "a flaw lowers a mode by this order, relative", "finite-element study, simulated"
    )
    pairing_rise_scale: float = limit(
        0.003, "1", "an open crack raises no mode; what was taken off the plate does", "finite-element study, simulated"
    )
    pairing_moved_cost: float = limit(3.0, "1", "about one mode in twenty moves, natural log units", JUDGEMENT)
    pairing_unlike_cost: float = limit(8.0, "1", "unrelated strength patterns, natural log units", JUDGEMENT)
    pairing_alone_cost: float = limit(5.0, "1", "a mode left without partner, natural log units", JUDGEMENT)
    pairing_merged_reach: float = limit(
        1.0,
        "linewidths",
        "a mode this near one that only one scan heard may be both in one, and is not judged",
        "simulation: an unchanged plate once read as changed for that",
    )
    repeat_low_ppm: float = limit(
        170.0, "ppm", "supports moved by up to 30 mm, at 100 Hz, one scan", "simulated plates, docs/comparison.md"
    )
    repeat_slope: float = limit(
        1.7, "1", "power by which the supports' part falls with frequency", "simulated plates, docs/comparison.md"
    )
    repeat_high_ppm: float = limit(
        4.0, "ppm", "what is left of it well above 300 Hz, contact pickup", "simulated plates, docs/comparison.md"
    )
    repeat_high_microphone_ppm: float = limit(
        50.0,
        "ppm",
        "the same by microphone in a room, corrected by repeated scans",
        "simulated plates, docs/comparison.md",
    )
    repeat_alone_microphone_ppm: float = limit(
        400.0, "ppm", "the same where no scan was repeated", "simulated plates, docs/comparison.md"
    )
    repeat_fit_factor: float = limit(
        2.0, "1", "close modes are this much worse than the fit's own sd says", "simulated plates, docs/comparison.md"
    )
    repeat_fit_factor_room: float = limit(
        0.5,
        "1",
        "the same for modes told in a room: their sd is wide, and most of it is the room's doing, which repeats from scan to scan",
        "simulated plates, docs/comparison.md",
    )
    repeat_loss: float = limit(
        0.02, "1", "scatter of ln loss factor, contact pickup", "simulated plates, docs/comparison.md"
    )
    repeat_loss_low: float = limit(
        0.02, "1", "scatter of ln loss factor by supports, at 100 Hz", "simulated plates, docs/comparison.md"
    )
    repeat_loss_microphone: float = limit(
        0.15, "1", "scatter of ln loss factor, microphone in a room", "simulated plates, docs/comparison.md"
    )
    repeat_prior_freedom: float = limit(
        10.0, "degrees of freedom", "weight of what ships against what this plate's neighbouring modes show", JUDGEMENT
    )
    repeat_own_freedom: float = limit(
        6.0, "degrees of freedom", "weight of the neighbouring modes against the mode's own few scans", JUDGEMENT
    )
    repeat_smoothing: float = limit(0.30, "ln frequency", "width over which scatter is smoothed", JUDGEMENT)
    compare_lowest_hz: float = limit(
        100.0, "Hz", "supports rule the modes below", "simulated plates, docs/comparison.md"
    )
    compare_highest_hz: float = limit(
        1500.0, "Hz", "above, modes overlap and pairs become doubtful", "simulated plates, docs/comparison.md"
    )
    compare_share_of_places: float = limit(
        0.3,
        "1",
        "a mode heard at a smaller share of the stations is not judged",
        "simulated plates, docs/comparison.md",
    )
    compare_rises_free: float = limit(
        4.0,
        "standard deviations",
        "by microphone with a single baseline scan: larger rises than this tell that the room moves modes, and raise the limit for drops",
        "simulation, 0.1 and 0.4 m in a room; chosen on the plates its rates are given for",
    )
    compare_modes: float = limit(12, "modes", "fewer pairs tell no common shift from a change", JUDGEMENT)
    compare_false_share: float = limit(
        0.05, "1", "share of false names allowed among the modes named as changed", "Benjamini and Hochberg 1995"
    )
    compare_freedom: float = limit(
        4.0,
        "degrees of freedom",
        "heavy tails of the normalised change (Student)",
        "simulated plates, docs/comparison.md",
    )
    score_cap: float = limit(
        10.0,
        "standard deviations",
        "no single mode counts for more: a wrong pair is wild but alone",
        "simulated plates, docs/comparison.md",
    )
    drop_limit_three: float = limit(
        6.0,
        "standard deviations",
        "mean of the three largest drops, three baseline scans or more",
        "simulated plates, docs/comparison.md",
    )
    drop_limit_two: float = limit(
        7.2, "standard deviations", "the same, two baseline scans", "simulated plates, docs/comparison.md"
    )
    drop_limit_one: float = limit(
        7.5, "standard deviations", "the same, one baseline scan", "simulated plates, docs/comparison.md"
    )
    fell_odds: float = limit(
        400.0,
        "to one",
        "by microphone with two baseline scans or more: that some modes fell, against none, were scatter normal",
        "simulated plates, docs/comparison.md",
    )
    loss_limit_three: float = limit(
        6.0,
        "standard deviations",
        "mean of the five largest rises of the loss factor, three baseline scans",
        "simulated plates, docs/comparison.md",
    )
    loss_limit_two: float = limit(
        6.5, "standard deviations", "the same, two baseline scans", "simulated plates, docs/comparison.md"
    )
    loss_limit_one: float = limit(
        7.0, "standard deviations", "the same, one baseline scan", "simulated plates, docs/comparison.md"
    )
    loss_least_rise: float = limit(
        0.15, "ln loss factor", "smaller rises are not called: iron damps more when hit harder", JUDGEMENT
    )
    finish_ppm: float = limit(
        250.0,
        "ppm",
        "0.3 mm of finish, left per mode after the common shift; added to the scatter",
        "simulated plates, docs/comparison.md",
    )
    supports_factor: float = limit(
        3.0, "1", "other supports scatter this much more than the same ones moved", JUDGEMENT
    )
    supports_lowest_hz: float = limit(
        300.0, "Hz", "with other supports, modes below are not judged", "simulated plates, docs/comparison.md"
    )
    temperature_per_k: float = limit(
        -1.6e-4, "1/K", "change of all frequencies with the iron's temperature", "ASME B31.1 modulus, expansion"
    )
    temperature_small_per_k: float = limit(-1.2e-4, "1/K", "the least it may be", "range of modulus tables")
    temperature_large_per_k: float = limit(-2.15e-4, "1/K", "the most it may be", "range of modulus tables")
    thermometer_sd_k: float = limit(1.5, "K", "thermometer, and iron that lags behind the air", JUDGEMENT)
    temperature_most: float = limit(0.004, "1", "a larger common shift is not temperature alone", "20 K")
    hours_in_room: float = limit(4.0, "h", "sooner the iron is warmer in one part than in another", JUDGEMENT)
    miss_chance: float = limit(0.005, "1", "a lost or new mode counts when a miss is less likely", JUDGEMENT)
    lost_or_new: float = limit(
        6.0, "modes", "so many lost or new modes that count are called", "simulated plates, docs/comparison.md"
    )
    lost_and_new: float = limit(
        2.0, "modes", "so many of each kind, lost and new; where one kind is missing a scan heard less", JUDGEMENT
    )
    mass_limit: float = limit(
        0.24, "log odds", "above, a weight is the likelier explanation", "simulated plates, docs/comparison.md"
    )


def read_settings(path: str | Path | None) -> Settings:
    """Defaults overlaid by the TOML file at `path` (None: the defaults).

    Raises BadSettings naming the file, the key and the nearest known names.
    """
    if path is None:
        return Settings()
    try:
        table = tomllib.loads(Path(path).read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as problem:
        raise BadSettings(f"{path}: not readable as TOML ({problem}); write lines like ringing_t60_s = 0.3") from None
    known = {f.name for f in fields(Settings)}
    for name, value in table.items():
        if name not in known:
            raise BadSettings(f"{path}: unknown threshold {name!r}; known are {', '.join(sorted(known))}")
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise BadSettings(f"{path}: {name} must be a number, not {value!r}")
        if not math.isfinite(value):
            raise BadSettings(f"{path}: {name} must be a finite number, not {value!r}")
    return replace(Settings(), **{name: float(value) for name, value in table.items()})


def settings_sha256(settings: Settings) -> str:
    """SHA-256 over the sorted names and values."""
    text = json.dumps({k: float(v) for k, v in asdict(settings).items()}, sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()


def describe(settings: Settings) -> list[tuple[str, float, str, str, str]]:
    """Rows (name, value, unit, reason, source), in the order of definition."""
    return [
        (f.name, getattr(settings, f.name), f.metadata["unit"], f.metadata["reason"], f.metadata["source"])
        for f in fields(settings)
    ]
