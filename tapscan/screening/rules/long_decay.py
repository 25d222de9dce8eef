"""A region, or the whole plate, rings on longer than its iron should.

Reason: the damping of cast iron comes from the shape of its graphite (R. D. Adams, J. Sound Vib. 23
(1972) 199). Chilled, nodular or white iron and steel ring several times longer than coarse flake iron.
A region of it shows in the modes that move most there; a whole plate of it in all modes.

Limits: the region by the score of one place, or of all places together, against the plate's own trend (screening/iron.py; the
limits keep simulated sound plates out); the plate by the median loss factor of its modes, order of magnitude from handbook damping
capacities (from memory).
"""

import numpy as np

from tapscan.records import Condition, Indication, RuleNotRun, Scan
from tapscan.screening.iron import PlaceScore, SpreadScore, place_scores, spread_score
from tapscan.screening.origins import of_plate
from tapscan.screening.rules.buzz import held_first
from tapscan.settings import Settings

NAME = "long-decay"
HANDBOOK = "order of magnitude from handbook damping capacities of irons, from memory"
NAMED_PLACES = 3
SIMULATED = "limit set on simulated sound plates; no iron was measured"

OTHERS = (
    "not gray iron at all, or a small part instead of a plate",
    "a recorder that raises the level of what dies away (automatic gain)",
    "chilled or hard iron throughout",
)
REGION_OTHERS = (
    "chilled or hard iron there (thin section, quick cooling)",
    "supports, cloth or fittings that damp the rest of the plate and not this part",
    "an earlier repair in another metal",
)


def run(scan: Scan, settings: Settings) -> list[Indication] | RuleNotRun:
    """At most one indication for the plate as a whole and one for its longest ringing region."""
    if wait := held_first(scan, settings, "how fast the tones die away"):
        return RuleNotRun(NAME, wait)
    losses = [m.loss_factor for m in of_plate(scan.modes) if m.loss_factor is not None]
    if len(losses) < settings.plate_modes:
        return RuleNotRun(NAME, f"needs the decay of {settings.plate_modes:.0f} modes, has {len(losses)}")
    places, spread = place_scores(scan.modes, settings), spread_score(scan.modes, settings)
    return _whole(scan, losses, settings) + _region(scan, places, spread, settings)


def _region(scan: Scan, places: list[PlaceScore], spread: SpreadScore | None, settings: Settings) -> list[Indication]:
    """By one place that rings on, or by several that do a little each."""
    together = spread is not None and spread.lasting and spread.score >= settings.spread_score
    long = [p for p in places if p.score <= -settings.region_score] or (places[:NAMED_PLACES] if together else [])
    if not long or spread is None:
        return []
    worst = long[0]
    return [
        Indication(
            id="D2",
            rule=NAME,
            interpretation="relevant",
            status=None,
            stations=tuple(p.station for p in long),
            modes=(),
            sentence=(
                f"The iron around {_listed([scan.where(p.station) for p in long])} rings on longer than the rest of this plate: "
                f"the tones strongest there lose {100 * (1 - worst.loss_ratio):.0f} % less energy in each swing than its "
                "other tones do. Iron that is hard there, or chilled (cooled too fast in the mould), does that."
            ),
            conditions=(
                Condition(
                    f"score at {worst.station}", worst.score, -settings.region_score, "standard deviations", SIMULATED
                ),
                Condition(
                    "loss that goes with place", spread.score, settings.spread_score, "standard deviations", SIMULATED
                ),
                Condition("loss beside the plate's trend", worst.loss_ratio, None, "1", SIMULATED),
            ),
            other_explanations=REGION_OTHERS,
        )
    ]


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _whole(scan: Scan, losses: list[float], settings: Settings) -> list[Indication]:
    middle = float(np.median(losses))
    if middle >= settings.plate_loss_factor:
        return []
    long = tuple(m.id for m in of_plate(scan.modes) if (m.loss_factor or 1.0) < settings.plate_loss_factor)
    stations = tuple(sorted({s.station for m in scan.modes if m.id in long for s in m.strengths}))
    return [
        Indication(
            id="D1",
            rule=NAME,
            interpretation="relevant",
            status=None,
            stations=stations,
            modes=long,
            sentence=(
                f"The plate as a whole rings on: half of its {len(losses)} modes have a loss factor under {middle:.4f}, "
                f"where flake iron is taken to have {settings.plate_loss_factor:.4f} or more."
            ),
            conditions=(Condition("median loss factor", middle, settings.plate_loss_factor, "1", HANDBOOK),),
            other_explanations=OTHERS,
        )
    ]
