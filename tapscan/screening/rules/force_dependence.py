"""The plate answers otherwise when it is hit harder.

Reason: iron in one piece gives the same modes to a hard tap as to a soft one, only louder. Faces of a crack that touch during the hard
tap and not during the soft one, or the other way round, change stiffness as they do so: some modes fall or rise (Chati, Rand and
Mukherjee 1997, from memory). Of two ways to fit (signal/observe/force.py) the plainer counts. The sign is not presumed. A crack that stands wide open or is firmly clamped does not do it, so no
change proves nothing. Flake iron itself is slightly dependent on amplitude (Golovin 2012): what all modes share is taken out and a floor
is added. A few modes err in pairs where they overlap, and in a room several together, so the sixteenth largest change is judged, not the largest.

Decays, and the start against the rest of one ring, were tried and are not used: on simulated sound plates close modes make both differ as much as
a crack does (docs/rules.md).

Limits: chosen on simulated plates of five patterns, tried on other castings (bench/force_limits.py, docs/rules.md). Needs soft and hard taps at the same places, and a bare plate
on which nothing buzzes: a loose part depends on force as well.
"""

from collections.abc import Sequence

import numpy as np
from msgspec import Struct

from tapscan.records import FloatArray, Force, ForceShift, Indication, RuleNotRun, Scan
from tapscan.screening.in_words import NAMED_PLACES, places_in_words
from tapscan.screening.rule import Outcome, Plain, Rule, condition
from tapscan.screening.rules.buzz import held_first
from tapscan.screening.untold_room import left_in
from tapscan.settings import Settings
from tapscan.settings.definition import JUDGEMENT, SIMULATED, stage, threshold


@stage("rules.force-dependence", counted_in=("single",))
class ForceLimits(Struct, frozen=True):
    """When this rule speaks."""

    step_db: float = threshold(6.0, "dB", "hard taps must be at least this much louder than soft ones", JUDGEMENT)
    modes: float = threshold(30.0, "modes", "fewer do not tell a change of some from one that all share", JUDGEMENT)
    floor_ppm: float = threshold(
        300.0,
        "ppm",
        "added to the scatter: modes of sound plates move by up to so much with force",
        "finite-element study, simulated",
    )
    rank: float = threshold(16.0, "modes", "so many must have moved: close modes err by pairs", SIMULATED)
    score: float = threshold(3.0, "standard deviations", "by which the last of them must have moved", SIMULATED)


NAME = "force-dependence"
STRONG = 0.6  # places at which the moved modes are at least this share of the strongest place's
OTHER: dict[Force, Force] = {"soft": "hard", "hard": "soft"}
WAYS = ("all taps", "soft taps")  # what the fit began from
OTHERS = (
    "a screw, hook, pad or pickup that is loose and moves under the hard tap",
    "a part of the plate that rests against something",
    "a recorder that squeezes loud sounds (automatic gain, limiter)",
    "a joint, repair or insert in the plate",
)


def run(scan: Scan, settings: Settings) -> Outcome:
    """At most one indication."""
    if wanting := lacking(scan, settings):
        return RuleNotRun(NAME, wanting)
    last, shifts = plainest(scan, settings)
    if last < settings.of(ForceLimits).score:
        return []
    change, score = scores(shifts, settings)
    moved = [int(i) for i in np.argsort(-score) if score[i] >= settings.of(ForceLimits).score]
    return [_indication(scan, shifts, moved, change, last, settings)]


def plainest(scan: Scan, settings: Settings) -> tuple[float, list[ForceShift]]:
    """The larger score of the two ways to fit, and its shifts; 0 and none where neither has modes enough."""
    best: tuple[float, list[ForceShift]] = (0.0, [])
    for way in WAYS:
        shifts = _shifts(scan, way)
        if len(shifts) >= settings.of(ForceLimits).modes:
            best = max(best, (_ranked(shifts, settings), shifts), key=lambda one: one[0])
    return best


def _shifts(scan: Scan, way: str) -> list[ForceShift]:
    """Of modes that are not known for a string's, a room's or the mains'."""
    gone = {m.id for m in scan.modes if m.origin not in {"plate", "unknown"}}
    return [s for s in scan.force_shifts if s.mode not in gone and s.begun == way]


def _ranked(shifts: Sequence[ForceShift], settings: Settings) -> float:
    """By how many standard deviations the last of the modes that must have moved did so."""
    return float(np.sort(scores(shifts, settings)[1])[-round(settings.of(ForceLimits).rank)])


def lacking(scan: Scan, settings: Settings) -> str | None:
    """What the rule lacks, in words."""
    if scan.force_shifts_reason:
        return scan.force_shifts_reason
    if room := left_in(scan):
        return room
    if scan.force_step_db is None or scan.force_step_db < settings.of(ForceLimits).step_db:
        step = "unknown" if scan.force_step_db is None else f"{scan.force_step_db:.0f} dB"
        if exchanged(scan, settings):
            return f"soft and hard seem exchanged: the taps called hard were softer ({step})"
        return f"the hard taps were hardly louder than the soft ones ({step}; needs {settings.of(ForceLimits).step_db:.0f} dB)"
    told = max(len(_shifts(scan, way)) for way in WAYS)
    if told < settings.of(ForceLimits).modes:
        return f"only {told} modes could be told in both soft and hard taps; needs {settings.of(ForceLimits).modes:.0f}"
    return held_first(scan, settings, "the answer to hard taps")


def exchanged(scan: Scan, settings: Settings) -> tuple[Force, ...] | None:
    """The order that would be right, where the taps called hard were as much softer as they must be louder."""
    if scan.force_step_db is None or scan.force_step_db > -settings.of(ForceLimits).step_db:
        return None
    return turned(scan) or None


def turned(scan: Scan) -> tuple[Force, ...]:
    """Soft and hard the other way round, at the first place that has both."""
    by_place: dict[str, list[Force]] = {}
    for strike in scan.strikes:
        if strike.force:
            by_place.setdefault(strike.station, []).append(strike.force)
    told = next((f for f in by_place.values() if {"soft", "hard"} <= set(f)), [])
    return tuple(OTHER[f] for f in told)


def scores(shifts: Sequence[ForceShift], settings: Settings) -> tuple[FloatArray, FloatArray]:
    """(M,) change of each mode in ppm with the common part taken out, and that over its scatter."""
    ppm = np.array([s.frequency_ppm for s in shifts])
    sd = np.array([s.frequency_sd_ppm for s in shifts])
    change = ppm - np.median(ppm)
    return change, np.abs(change) / np.hypot(sd, settings.of(ForceLimits).floor_ppm)


def _indication(
    scan: Scan, shifts: Sequence[ForceShift], moved: Sequence[int], change: FloatArray, last: float, settings: Settings
) -> Indication:
    by_id = {m.id: m for m in scan.modes}
    first = shifts[moved[0]]
    hz, percent = by_id[first.mode].frequency_hz, change[moved[0]] / 1e4
    stations = _where(scan, [shifts[i].mode for i in moved])
    sentence = (
        f"The plate responds differently to hard and soft taps: {len(moved)} of {len(shifts)} modes move, the clearest, near {hz:.0f} Hz, "
        f"{'up' if percent > 0 else 'down'} by {abs(percent):.2f} % (± {2e-4 * first.frequency_sd_ppm:.2f} %). Iron in one piece only gets "
        f"louder; faces of a crack that touch under the blow do this. The moved modes are strongest at {places_in_words(scan, stations)}: look there first."
    )
    limits = settings.of(ForceLimits)
    conditions = (
        condition(limits, "score", f"change of the {limits.rank:.0f}th mode, by size", last),
        condition(limits, "rank", "modes moved", float(len(moved))),
        condition(limits, "step_db", "hard taps over soft ones", scan.force_step_db),
    )
    modes = tuple(shifts[i].mode for i in moved)
    return Indication("F1", NAME, "relevant", None, stations, modes, sentence, conditions, OTHERS)


def _where(scan: Scan, modes: Sequence[str]) -> tuple[str, ...]:
    """Places where these modes are strongest, each mode's energy over all places counted as one."""
    weight: dict[str, float] = {}
    for mode in (m for m in scan.modes if m.id in set(modes)):
        energy = {s.station: 10 ** (s.amplitude_db / 10) for s in mode.amplitudes}
        total = sum(energy.values())
        for station, e in energy.items():
            weight[station] = weight.get(station, 0.0) + e / total
    top = max(weight.values())
    strongest = sorted((s for s in weight if weight[s] >= STRONG * top), key=lambda s: -weight[s])
    return tuple(strongest[:NAMED_PLACES])


PLAIN = (
    (
        "",
        Plain(
            "hard and soft taps sound different",
            "The plate responds differently to hard and soft taps.",
            "Faces of a crack that touch can do that, and so can anything loose. This test cannot tell which.",
        ),
    ),
)

RULE = Rule(
    NAME,
    "The answer changes with the force of the tap",
    run,
    frozenset({"waveform"}),
    bare_only=True,
    rates="by kind of flaw",
    limits=(ForceLimits,),
    aims=("breathing crack, half a strut deep",),
    plain=PLAIN,
)
