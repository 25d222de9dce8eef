"""What the rules look at beside the modes: hard taps beside soft ones, steady tones before the taps, what is left late in the ring.

BesideModes(sounds, shared, settings, workers)   begins; others work on it while this process tells the modes
    .fields(modes)                               a dict of the Scan's fields; where a figure is missing its reason is there
"""

from collections.abc import Callable, Sequence
from statistics import median
from typing import Any, Literal

import numpy as np

from tapscan.records import ForceShift, LateSound, Mode, Pole, SteadyTone
from tapscan.settings import Settings
from tapscan.signal.observe.buzz import Late, late_sounds
from tapscan.signal.observe.force import force_step_db, shifts_by_force
from tapscan.signal.observe.strike_spectra import StrikeSpectra
from tapscan.signal.plate.joint_fit import SharedMode
from tapscan.signal.plate.joint_spectra import StationSound
from tapscan.workers import ALONE, Workers

NO_MODES = "needs two places or more with modes in common"


class BesideModes:
    """`sounds` are those that took part in the fit of all stations, `shared` its modes."""

    def __init__(
        self,
        sounds: Sequence[StationSound],
        shared: Sequence[SharedMode],
        settings: Settings,
        workers: Workers = ALONE,
    ) -> None:
        self.sounds, self.shared = sounds, shared
        if shared and sounds:
            columns = StrikeSpectra(sounds, shared)
            self._step = force_step_db(sounds)
            self._shifts = None if self._step is None else shifts_by_force(columns, settings, workers)
            self._late = late_sounds(columns, workers)

    def fields(self, modes: Sequence[Mode]) -> dict[str, Any]:
        """`modes` : the final list."""
        if not self.shared or not self.sounds:
            return {f"{name}_reason": NO_MODES for name in ("force_shifts", "steady_tones", "late_sounds")}
        names = {m.frequency_hz: m.id for m in modes}
        kept = [m for m in self.shared if m.frequency_hz in names]
        return {**self._by_force(names), **_steady(self.sounds, kept, names), **_late(self.sounds, self._late)}

    def _by_force(self, names: dict[float, str]) -> dict[str, Any]:
        if self._shifts is None:
            return {"force_shifts_reason": "needs soft and hard taps at the same places (--order soft,hard)"}
        rows = [(i, names[m.frequency_hz]) for i, m in enumerate(self.shared) if m.frequency_hz in names]
        shifts: list[ForceShift] = []
        begun: tuple[Literal["all taps", "soft taps"], ...] = ("all taps", "soft taps")
        for word, told in zip(begun, self._shifts(), strict=True):
            four = told.frequency_ppm, told.frequency_sd_ppm, told.log_decay, told.log_decay_sd
            shifts += [
                ForceShift(name, word, *(float(x[i]) for x in four)) for i, name in rows if np.isfinite(four[0][i])
            ]
        reason = None if shifts else "no mode could be told apart by force"
        return {"force_shifts": tuple(shifts), "force_shifts_reason": reason, "force_step_db": self._step}


def steady_at_places(sounds: Sequence[StationSound], modes: Sequence[Mode]) -> dict[str, Any]:
    """Steady tones where no fit of all places was made: each mode as the places gave it alone."""
    shared = [SharedMode(m.frequency_hz, 0.0, 0.0, 0.0, _nearest(m, sounds)) for m in modes]
    return _steady(sounds, shared, {m.frequency_hz: m.id for m in modes})


def _nearest(mode: Mode, sounds: Sequence[StationSound]) -> dict[str, Pole]:
    """The pole of each place that heard it."""
    heard = {a.station for a in mode.amplitudes}
    return {
        s.station: min(s.poles, key=lambda p: abs(p.frequency_hz - mode.frequency_hz))
        for s in sounds
        if s.station in heard and s.poles
    }


def _steady(sounds: Sequence[StationSound], shared: Sequence[SharedMode], found: dict[float, str]) -> dict[str, Any]:
    at_hz = np.array([m.frequency_hz for m in shared])
    before, clear = np.full((2, len(sounds), len(shared)), np.nan)
    for i, sound in enumerate(sounds):
        line, beside_db = sound.noise.lines(at_hz)
        ring = np.array([np.nan if (p := m.at.get(sound.station)) is None else _middle(p) for m in shared])
        before[i], clear[i] = 20 * np.log10((line + 1e-30) / (ring + 1e-30)), beside_db
    tones = []
    for j, mode in enumerate(shared):
        heard = np.isfinite(before[:, j])
        if heard.any():
            pair = median(before[heard, j].tolist()), median(clear[heard, j].tolist())
            tones.append(SteadyTone(found[mode.frequency_hz], *pair))
    return {
        "steady_tones": tuple(tones),
        "steady_tones_reason": None if tones else "no quiet before the taps to listen in",
    }


def _middle(pole: Pole) -> float:
    return median(map(abs, pole.amplitudes))


def _late(sounds: Sequence[StationSound], found: Callable[[], Late] | None) -> dict[str, Any]:
    if found is None:
        return {"late_sounds_reason": "the rings are too short to listen late in them"}
    late = found()
    names = [(n, s.station, f) for s in sounds for n, f in zip(s.named, s.forces, strict=True)]
    figures = zip(late.late_db, late.share_db, late.unevenness, strict=True)
    told = tuple(
        LateSound(n, station, force, *(float(x) for x in three))
        for (n, station, force), three in zip(names, figures, strict=True)
    )
    return {"late_sounds": told, "late_sounds_reason": None if told else "no tap was heard"}
