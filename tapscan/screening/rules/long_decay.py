"""A region, or the whole plate, rings on longer than its iron should.

Reason: the damping of cast iron comes from the shape of its graphite (R. D. Adams, J. Sound Vib. 23
(1972) 199). Chilled, nodular or white iron and steel ring several times longer than coarse flake iron.
A region of it shows in the modes that move most there; a whole plate of it in all modes.

Neither looks above iron.highest_hz, nor above the frequency at which a room hides the plate.

Limits: the region by how well the losses fit an area of other iron, averaged over all areas (screening/iron.py; the limit keeps simulated
sound plates out); the plate by the median loss factor of its modes, order of magnitude from handbook damping capacities (from memory).
Where the plate is as well told by a dull area, the likelier of the two speaks.
"""

import numpy as np
from msgspec import Struct

from tapscan.records import Indication, Mode, RuleNotRun, Scan
from tapscan.screening.in_words import places_in_words
from tapscan.screening.iron import TREND, TREND_MEANING, AreaScore, area_score
from tapscan.screening.mode_origins import of_plate
from tapscan.screening.rule import Outcome, Plain, Rule, condition, measured
from tapscan.screening.rules.buzz import held_first
from tapscan.settings import Settings
from tapscan.settings.definition import JUDGEMENT, stage, threshold


@stage("rules.long-decay", counted_in=("single",))
class LongDecayLimits(Struct, frozen=True):
    """When this rule speaks."""

    loss_factor: float = threshold(
        0.0006,
        "1",
        "half of the modes less damped than this: below what even fine-flake iron has by itself, supports not counted",
        "ASM handbook, iron castings, fine flake .0006 to .003, from memory; order of magnitude only",
    )
    low_loss_factor: float = threshold(
        0.0015,
        "1",
        "half of the modes less damped than this: fine flake or harder; told, and no finding by itself",
        "the same; coarse flake .003 to .016",
    )
    modes: float = threshold(8.0, "modes", "fewer modes say nothing about the whole plate", JUDGEMENT)


NAME = "long-decay"

HARD = "less than even fine-flake iron is taken to have: hard iron throughout, or no gray iron"
FINE = "unusually little for gray iron: fine-grained iron, or hard iron. That is no flaw by itself"
OTHERS = (
    "not gray iron at all, or a small part instead of a plate",
    "a recorder that raises the level of what dies away (automatic gain)",
)
REGION_OTHERS = (
    "thinner iron there: sound iron of less thickness may damp less",
    "supports, cloth or fittings that damp the rest of the plate and not this part",
    "an earlier repair in another metal",
)


def run(scan: Scan, settings: Settings) -> Outcome:
    """At most one indication for the plate as a whole and one for its longest ringing region."""
    if wait := held_first(scan, settings, "how fast the tones die away"):
        return RuleNotRun(NAME, wait)
    losses = [m.loss_factor for m in _judged(scan, settings) if m.loss_factor is not None]
    least = settings.of(LongDecayLimits).modes
    if len(losses) < least:
        where = f"up to {settings.iron.highest_hz:.0f} Hz and where no room hides the plate"
        return RuleNotRun(NAME, f"needs the decay of {least:.0f} modes, has {len(losses)} ({where})")
    return _whole(scan, losses, settings) + _region(scan, area_score(scan.modes, scan.map, settings), settings)


def _judged(scan: Scan, settings: Settings) -> list[Mode]:
    """The plate's modes, as high as the area rule looks and no higher than the room lets the plate be heard."""
    room = scan.room_limit
    highest = min(settings.iron.highest_hz, room.hidden_above_hz) if room else settings.iron.highest_hz
    return [m for m in of_plate(scan.modes) if m.frequency_hz <= highest]


def _region(scan: Scan, found: AreaScore | None, settings: Settings) -> list[Indication]:
    if found is None or found.lasting < settings.iron.area_score or found.lasting < max(found.dull, found.dull_uneven):
        return []
    area = found.lasting_area
    return [
        Indication(
            id="D2",
            rule=NAME,
            interpretation="relevant",
            status=None,
            stations=area.stations,
            modes=(),
            sentence=(
                f"The iron around {places_in_words(scan, area.stations)} rings on longer than the rest of this plate: "
                f"the tones strongest there lose {100 * (1 - area.loss_ratio):.0f} % less energy than its "
                "other tones do. Iron that is hard there, or chilled (cooled too fast in the mould), does that."
            ),
            conditions=(
                condition(settings.iron, "area_score", "area that rings on", found.lasting),
                measured(TREND, area.loss_ratio, "1"),
            ),
            other_explanations=REGION_OTHERS,
        )
    ]


def _whole(scan: Scan, losses: list[float], settings: Settings) -> list[Indication]:
    middle, limits = float(np.median(losses)), settings.of(LongDecayLimits)
    if middle >= limits.low_loss_factor:
        return []
    hard = middle < limits.loss_factor
    least = limits.loss_factor if hard else limits.low_loss_factor
    long = tuple(m.id for m in _judged(scan, settings) if (m.loss_factor or 1.0) < least)
    stations = tuple(sorted({s.station for m in scan.modes if m.id in long for s in m.amplitudes}))
    return [
        Indication(
            id="D1",
            rule=NAME,
            interpretation="relevant" if hard else "nonrelevant",
            status=None,
            stations=stations,
            modes=long,
            sentence=(
                f"The plate as a whole rings on: half of its {len(losses)} modes have a loss factor under {middle:.4f}, {HARD if hard else FINE}."
            ),
            conditions=(condition(limits, "loss_factor" if hard else "low_loss_factor", "median loss factor", middle),),
            other_explanations=OTHERS,
        )
    ]


BRITTLE = "Hard iron is common and no flaw by itself, but it is brittle. This test cannot tell whether the iron is hard, and the finding does not point to a crack."
PLAIN = (
    (
        "D2",
        Plain(
            "one area rings on longer than the rest",
            "One area of the plate rings on longer than the rest.",
            f"The iron there may be hard, because it cooled too fast when it was cast. {BRITTLE}",
        ),
    ),
    (
        "D1",
        Plain(
            "the whole plate rings on for long",
            "The whole plate rings on longer than grey iron is expected to.",
            f"The iron may be fine-grained, or hard, throughout. {BRITTLE}",
        ),
    ),
)

RULE = Rule(
    NAME,
    "Rings on too long",
    run,
    frozenset({"faint decays"}),
    bare_only=True,
    shows=frozenset({"hard iron"}),
    rates="by kind of flaw",
    limits=(LongDecayLimits,),
    aims=("chilled region, losses scatter 10 %", "chilled region, losses scatter 20 %"),
    meanings=(
        ("median loss factor", "how fast the plate's modes lose their energy, the middle one of them all"),
        (
            "area that rings on",
            "how well the tones' losses fit one part of the plate being of other iron; about 0.8 on a plate of one iron",
        ),
        TREND_MEANING,
    ),
    plain=PLAIN,
)
