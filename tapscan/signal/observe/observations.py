"""What the rules look at beside the modes: hard taps beside soft ones, steady tones before the taps, what is left late in the ring.

beside_modes(sounds, shared, modes, settings)   a dict of the Scan's fields; where a figure is missing its reason is there
"""

from collections.abc import Sequence
from typing import Any, Literal

import numpy as np

from tapscan.records import ForceShift, LateSound, Mode, SteadyTone
from tapscan.settings import Settings
from tapscan.signal.observe.buzz import late_sounds
from tapscan.signal.observe.force import force_step_db, shifts_by_force
from tapscan.signal.observe.strike_spectra import Columns
from tapscan.signal.plate.columns import StationSound
from tapscan.signal.plate.joint_fit import SharedMode

NO_MODES = "needs two places or more with modes in common"


def beside_modes(
    sounds: Sequence[StationSound], shared: Sequence[SharedMode], modes: Sequence[Mode], settings: Settings
) -> dict[str, Any]:
    """Fields of Scan. `sounds` are those that took part in the fit of all stations, `modes` the final list."""
    if not shared or not sounds:
        names = ("force_shifts", "steady_tones", "late_sounds")
        return {f"{name}_reason": NO_MODES for name in names}
    found = {m.frequency_hz: m.id for m in modes}
    kept = [m for m in shared if m.frequency_hz in found]
    columns = Columns(sounds, shared)
    return {
        **_shifts(columns, kept, found, settings),
        **_steady(sounds, kept, found),
        **_late(columns),
    }


def _shifts(
    columns: Columns, shared: Sequence[SharedMode], found: dict[float, str], settings: Settings
) -> dict[str, Any]:
    step = force_step_db(columns.sounds)
    if step is None:
        return {"force_shifts_reason": "needs soft and hard taps at the same places (--order soft,hard)"}
    rows = [(columns.frequency_hz.tolist().index(m.frequency_hz), found[m.frequency_hz]) for m in shared]
    shifts: list[ForceShift] = []
    begun: tuple[Literal["all taps", "soft taps"], ...] = ("all taps", "soft taps")
    for word in begun:
        told = shifts_by_force(columns, settings, from_soft=word == "soft taps")
        four = told.frequency_ppm, told.frequency_sd_ppm, told.log_decay, told.log_decay_sd
        shifts += [ForceShift(name, word, *(float(x[i]) for x in four)) for i, name in rows if np.isfinite(four[0][i])]
    reason = None if shifts else "no mode could be told apart by force"
    return {"force_shifts": tuple(shifts), "force_shifts_reason": reason, "force_step_db": step}


def _steady(sounds: Sequence[StationSound], shared: Sequence[SharedMode], found: dict[float, str]) -> dict[str, Any]:
    tones = []
    for mode in shared:
        rows = []
        for sound in sounds:
            line = sound.noise.line(mode.frequency_hz)
            if line is not None and sound.station in mode.at:
                ring = float(np.median(np.abs(mode.at[sound.station].amplitudes)))
                rows.append((20 * np.log10((line[0] + 1e-30) / (ring + 1e-30)), line[1]))
        if rows:
            before, clear = np.median(rows, axis=0)
            tones.append(SteadyTone(found[mode.frequency_hz], float(before), float(clear)))
    return {
        "steady_tones": tuple(tones),
        "steady_tones_reason": None if tones else "no quiet before the taps to listen in",
    }


def _late(columns: Columns) -> dict[str, Any]:
    late = late_sounds(columns)
    if late is None:
        return {"late_sounds_reason": "the rings are too short to listen late in them"}
    names = [(n, s.station, f) for s in columns.sounds for n, f in zip(s.named, s.forces, strict=True)]
    figures = zip(late.late_db, late.share_db, late.unevenness, strict=True)
    sounds = tuple(
        LateSound(n, station, force, *(float(x) for x in three))
        for (n, station, force), three in zip(names, figures, strict=True)
    )
    return {"late_sounds": sounds, "late_sounds_reason": None if sounds else "no strike was heard"}
