"""Thresholds of the rules that read a single scan; Settings takes them in.

limit(value, unit, reason, source)   a field that carries its unit, reason and source
RuleLimits                           base of Settings
"""

from dataclasses import dataclass, field

JUDGEMENT = "engineering judgement"


def limit(value: float, unit: str, reason: str, source: str) -> float:
    """A dataclass field that carries its unit, reason and source."""
    return field(default=value, metadata={"unit": unit, "reason": reason, "source": source})


@dataclass(frozen=True)
class RuleLimits:
    """How they were chosen: docs/rules.md."""

    force_step_db: float = limit(6.0, "dB", "hard taps must be at least this much louder than soft ones", JUDGEMENT)
    force_modes: float = limit(30.0, "modes", "fewer do not tell a change of some from one that all share", JUDGEMENT)
    force_floor_ppm: float = limit(
        300.0,
        "ppm",
        "added to the scatter: modes of sound plates move by up to so much with force",
        "finite-element study, simulated",
    )
    force_rank: float = limit(
        16.0, "modes", "so many must have moved: close modes err by pairs", "simulated plates, docs/rules.md"
    )
    force_score: float = limit(
        3.0, "standard deviations", "by which the last of them must have moved", "simulated plates, docs/rules.md"
    )
    steady_before_db: float = limit(
        -6.0,
        "dB",
        "a tone this strong before the tap, beside its strength after, is not the tap's",
        "simulated plates, docs/rules.md",
    )
    steady_clear_db: float = limit(
        12.0,
        "dB",
        "noise alone seldom makes so clear a line at one place; the middle of n places comes nearer to what noise shows by the root of n",
        "simulated plates, docs/rules.md",
    )
    steady_clear_noise_db: float = limit(
        3.0, "dB", "what noise alone shows: the largest of three bins over the middle of those beside", "computed noise"
    )
    steady_t60_s: float = limit(10.0, "s", "what dies away sooner is no steady tone", JUDGEMENT)
    alike_spread_db: float = limit(
        1.0, "dB", "no mode of a plate moves so alike at all places", "simulated plates, docs/rules.md"
    )
    alike_stations: float = limit(8.0, "stations", "fewer may be alike by chance", JUDGEMENT)
    mains_reach: float = limit(0.01, "1", "mains wander, and a short listen tells no better", JUDGEMENT)
    local_ringing_on: float = limit(
        0.0,
        "0 or 1",
        "off: it spoke on plates without a flaw, and what it looks for was not simulated",
        "simulated plates, docs/rules.md",
    )
    local_participation: float = limit(
        0.25,
        "1",
        "share of the places that a mode moves; plates as a whole move more",
        "simulated plates, docs/rules.md",
    )
    local_places: float = limit(3.0, "stations", "where more places hear it the whole plate rings", JUDGEMENT)
    string_partials: float = limit(
        3.0, "partials", "fewer fit by chance", "inharmonicity of piano strings, docs/rules.md"
    )
    string_cents: float = limit(
        4.0, "cents", "partials of a string follow its series this closely", "Fletcher 1964, from memory; judgement"
    )
    string_decay_ratio: float = limit(3.0, "1", "partials of one string decay within this ratio", JUDGEMENT)
    string_longer: float = limit(2.0, "1", "strings ring this much longer than the plate's middle mode", JUDGEMENT)
    string_stiffness_factor: float = limit(
        4.0, "1", "scatter of inharmonicity about its usual value at a pitch", "Young 1952, bass from memory"
    )
    buzz_late_db: float = limit(
        8.0, "dB", "what is left late in the ring stands this far over the noise", "simulated plates, docs/rules.md"
    )
    buzz_share_db: float = limit(
        -22.0,
        "dB",
        "under this share of all that is heard it may be an error of the fit",
        "simulated plates, docs/rules.md",
    )
    buzz_unevenness: float = limit(
        1.0,
        "1",
        "bursts; noise through a fit is about 0.25, what a fit missed 0.4 to 1.7 but far fainter",
        "simulated plates, docs/rules.md",
    )
    buzz_strikes: float = limit(3.0, "strikes", "one noise by chance is no buzz", JUDGEMENT)
