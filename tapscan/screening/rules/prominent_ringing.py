"""One mode stands out as a pitch and lasts.

Reason: slow sand casting gives coarse flake graphite and much damping, so a plate answers with
resonance but no pitch; quick cooling, stress, a part ringing on its own or a loose fitting gives a tone
(common practice, no source). The tone alone cannot tell which. A bare, freely hung plate does ring; that
alone is nothing, so a mode must dominate its critical band in the manner of ECMA-418-1 AND last. At one spot in a room a tone
may be lifted by some dB; where the room cannot be told from the plate, more is asked (settings/untold_room.py).

Limits: prominence by ECMA-418-1; duration and share of stations by engineering judgement.
"""

import math

from msgspec import Struct

from tapscan.records import Condition, Indication, Mode, RuleNotRun, Scan
from tapscan.screening.mode_origins import of_plate
from tapscan.screening.rule import Outcome, Plain, Rule, by_standard, condition
from tapscan.screening.rules.long_decay import LongDecayLimits
from tapscan.settings import Settings
from tapscan.settings.definition import JUDGEMENT, stage, threshold
from tapscan.signal.plate.tones import prominence_limit_db, tone_to_noise_limit_db


@stage("rules.prominent-ringing", counted_in=("single",))
class RingingLimits(Struct, frozen=True):
    """When this rule speaks."""

    t60_s: float = threshold(0.3, "s", "shorter tones are a thud to the ear", JUDGEMENT)


NAME = "prominent-ringing"
STANDARD = "in the manner of ECMA-418-1 (written for steady sound)"

OTHERS = (
    "a loose fitting, hook, screw or clamp that rings on its own",
    "a string, pin or tool nearby that answers the tap",
)


def run(scan: Scan, settings: Settings) -> Outcome:
    """One indication for each mode that stands out and lasts."""
    if not scan.modes:
        return RuleNotRun(NAME, "no mode was found")
    ringing = [m for m in of_plate(scan.modes) if m.prominent and (m.t60_s or 0.0) > settings.of(RingingLimits).t60_s]
    told = [(m, why) for m in ringing if (why := _no_rooms_doing(m, scan, settings)) is not None]
    return [_indication(i, scan, m, why, settings) for i, (m, why) in enumerate(told, 1)]


def _no_rooms_doing(mode: Mode, scan: Scan, settings: Settings) -> tuple[Condition, ...] | None:
    """Nothing more is asked where no room is in the sound; None where it may have lifted the tone."""
    if not scan.room_left_in:
        return ()
    limits = settings.untold_room
    if (over_db := over_limit_db(mode)) >= limits.over_db:
        return (condition(limits, "over_db", "over the limit", over_db),)
    least = settings.of(LongDecayLimits).loss_factor
    if (mode.t60_s or 0.0) > limits.lasting_s and mode.loss_factor is not None and mode.loss_factor < least:
        lasts = condition(limits, "lasting_s", "longer than a room", mode.t60_s)
        return lasts, condition(settings.of(LongDecayLimits), "loss_factor", "loss factor", mode.loss_factor)
    return None


def over_limit_db(mode: Mode) -> float:
    """How far it stands over the limit that it exceeds by more; minus infinity where no limit is set."""
    f = mode.frequency_hz
    told = ((mode.tone_to_noise_db, tone_to_noise_limit_db(f)), (mode.prominence_ratio_db, prominence_limit_db(f)))
    return max((db - limit for db, limit in told if db is not None and limit is not None), default=-math.inf)


def _indication(number: int, scan: Scan, mode: Mode, no_room: tuple[Condition, ...], settings: Settings) -> Indication:
    stations = tuple(s.station for s in mode.amplitudes)
    heard = f"at {mode.stations_prominent} of the {mode.stations_judged} stations that hear it"
    where = f"at station {scan.where(stations[0])}" if len(stations) == 1 else heard
    sentence = (
        f"One tone stands out, {mode.frequency_hz:.0f} Hz (near {mode.note}), and rings for "
        f"{mode.t60_s:.1f} s, {where}. A plate usually answers without a pitch."
    )
    return Indication(
        id=f"R{number}",
        rule=NAME,
        interpretation="relevant",
        status=None,
        stations=stations,
        modes=(mode.id,),
        sentence=sentence,
        conditions=(
            by_standard(
                "tone to noise",
                mode.tone_to_noise_db,
                tone_to_noise_limit_db(mode.frequency_hz),
                "dB",
                STANDARD,
            ),
            by_standard("prominence", mode.prominence_ratio_db, prominence_limit_db(mode.frequency_hz), "dB", STANDARD),
            condition(settings.of(RingingLimits), "t60_s", "time to -60 dB", mode.t60_s),
            *no_room,
        ),
        other_explanations=OTHERS,
    )


PLAIN = (
    (
        "",
        Plain(
            "one tone stands out",
            "One tone of the plate stands out and rings on, as a pitch does.",
            "The iron may be hard or under stress, or a loose part may be ringing. This test cannot tell which.",
        ),
    ),
)

RULE = Rule(
    NAME,
    "Rings at a pitch",
    run,
    frozenset({"levels", "decays"}),
    bare_only=False,
    shows=frozenset({"hard iron"}),
    rates="by kind of flaw",
    limits=(RingingLimits,),
    beyond="None of the flaws tried makes a pitch.",
    meanings=(
        ("tone to noise", "how far the tone stands over the other sound close to its pitch"),
        ("prominence", "how far the band around the tone stands over the bands beside it"),
        ("time to -60 dB", "how long until the tone has faded to a thousandth of its strength"),
        (
            "over the limit",
            "how far it stands over one of these limits: more is asked where a room may have lifted the tone",
        ),
    ),
    plain=PLAIN,
)
