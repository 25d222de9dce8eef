"""The change that all modes of the plate share, where the plate agrees on one.

common_change(measured, later, baselines, settings)    a comparison's `common` and `common_reason`
"""

from collections.abc import Sequence
from typing import Any

import numpy as np

from tapscan.records import ScanForComparison
from tapscan.screening.compare.measure import Measured
from tapscan.screening.compare.shared_shift import agree
from tapscan.screening.compare.thermal_shift import common_shift, iron_c
from tapscan.settings import Settings


def common_change(
    measured: Measured,
    later: ScanForComparison,
    baselines: Sequence[ScanForComparison],
    settings: Settings,
    chain: str | None = None,
) -> dict[str, Any]:
    """`chain`: why the recorder's clock is not trusted. `common` against the mean of the baseline scans, and `common_reason`; None with the reason where too few modes, or faint ones only, agree on it."""
    if reason := chain or _none_shared(measured, settings):
        return {"common": None, "common_reason": reason}
    mean = float(np.mean(measured.baseline.shifts))
    known = [t for t in (iron_c(b.conditions) for b in baselines) if t is not None]
    before = float(np.mean(known)) if len(known) == len(baselines) else None
    shift = common_shift(measured.shift - mean, measured.shift_sd, iron_c(later.conditions), before, settings)
    return {"common": shift, "common_reason": None}


def _none_shared(measured: Measured, settings: Settings) -> str | None:
    """Faint and spurious modes agree with one another while the plate's own have moved (seen on measured beams)."""
    careful = measured.small or measured.frequency
    together = careful.judged & agree(careful.value, careful.sd)
    if together.sum() < settings.compare.common_modes:
        return f"{int(together.sum())} tones moved alike, {settings.compare.common_modes:.0f} are needed to tell a common change"
    f, energy = measured.later.frequency_hz, measured.later.energy
    inside = (f >= settings.compare.lowest_hz) & (f <= settings.compare.highest_hz)
    share = float(energy[measured.later_index[together]].sum() / max(energy[inside].sum(), 1e-300))
    if share < settings.compare.common_energy:
        return f"the tones that moved alike hold {100 * share:.0f} % of the sound only, so it is no change of the whole plate"
    return None
