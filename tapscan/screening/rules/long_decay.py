"""The whole plate is less damped than flake iron is taken to be.

Reason: the damping of cast iron comes from the shape of its graphite (R. D. Adams, J. Sound Vib. 23
(1972) 199). Chilled, nodular or white iron and steel ring several times longer than coarse flake iron.
A real plate adds losses to air and supports, so a whole plate under the limit is unlike gray iron.

Limit: median loss factor of the modes, order of magnitude from handbook damping capacities (from memory).
A region that rings longer than the rest of its own plate needs station by station evidence and is not
looked for here yet.
"""

import numpy as np

from tapscan.records import Condition, Indication, RuleNotRun, Scan
from tapscan.settings import Settings

NAME = "long-decay"
TITLE = "Rings on too long"
HANDBOOK = "order of magnitude from handbook damping capacities of irons, from memory"

OTHERS = (
    "not gray iron at all, or a small part instead of a plate",
    "a recorder that raises the level of what dies away (automatic gain)",
    "chilled or hard iron throughout",
)


def run(scan: Scan, settings: Settings) -> list[Indication] | RuleNotRun:
    """At most one indication, for the plate as a whole."""
    losses = [m.loss_factor for m in scan.modes if m.loss_factor is not None]
    if len(losses) < settings.plate_modes:
        return RuleNotRun(NAME, f"needs the decay of {settings.plate_modes:.0f} modes, has {len(losses)}")
    middle = float(np.median(losses))
    if middle >= settings.plate_loss_factor:
        return []
    long = tuple(m.id for m in scan.modes if (m.loss_factor or 1.0) < settings.plate_loss_factor)
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
