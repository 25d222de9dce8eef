"""From a measured change to the likeliest parts of the plate, or why they cannot be told.

    whereabouts(measured, scans, which, models, settings)   Whereabouts of what lowered or damped the modes, or of a weight

A cut lowers a mode in proportion to the square of what the mode bends across it, a rubbing crack adds loss in the same proportion, and a weight
lowers it in proportion to the square of its motion there (Rayleigh). What cannot be told is said, never guessed: too few places or modes, signs
not measured, a layout without an outline, or a drawing that does not fit the plate.
"""

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from tapscan.errors import BadLayout
from tapscan.model.candidates import Words
from tapscan.model.rough import RoughModel, rough_model
from tapscan.places import Outline
from tapscan.records import FloatArray, LikelyPlace, Mode, Scan, Whereabouts
from tapscan.records.places import From
from tapscan.screening.compare.measure import Measured
from tapscan.screening.location.belief import Belief, beliefs
from tapscan.screening.location.expansion import Expansion, expanded
from tapscan.screening.location.fitted import fitted
from tapscan.screening.location.told_by_others import Patterns
from tapscan.settings import Settings

NAMED = 3
LEAST_TOLD = 6  # places at which a mode's sign must be known
LEAST_SHARE = 0.01  # of the belief; parts with less are not listed
GRID = 8  # a weight's place is told to an eighth of the picture each way
NO_OUTLINE = "the layout has no outline to make a model of; draw one"
NO_SIGNS = "which way each place moves was not measured in this scan; `tapscan scan rescreen` measures it from the kept recordings"


def whereabouts(
    measured: Measured, reference: Scan, which: From, settings: Settings, models: Path | None = None
) -> Whereabouts:
    """`reference`: the baseline scan whose modes `measured` numbers; its layout must be the later scan's, too. `models`: folder where models are kept."""
    change, names = change_of(measured, which)
    return located(change, names, reference, which, settings, models)


def located(
    change: FloatArray, names: Sequence[str], scan: Scan, which: From, settings: Settings, models: Path | None = None
) -> Whereabouts:
    """Change : (k,) of the modes `names` of the scan, in the direction of a flaw, relative; losses as loss factors."""
    patterns, places, told = signed_patterns(scan, names, settings)
    outline, change = scan.map.outline if scan.map else None, change[told]
    if outline is None or (why := _lacking(len(places), change, settings)):
        return Whereabouts((), which, reason=NO_OUTLINE if outline is None else why)
    try:
        model = rough_model(outline, models)
    except BadLayout as problem:
        return Whereabouts((), which, reason=str(problem))
    every, _, _ = signed_patterns(scan, [m.id for m in scan.modes], settings)
    plate = fitted(every, model, places, settings)
    spread = expanded(patterns, plate, settings, motion=which == "weight")
    if spread.middle_fit < settings.location.fit * min(1.0, len(places) / settings.location.fit_places):
        return Whereabouts((), which, fit=spread.middle_fit, reason=_misfit(outline, spread.middle_fit))
    found = _places(change, patterns, spread, model, which, outline, settings)
    return Whereabouts(found, which, len(places), spread.middle_fit)


def _lacking(places: int, change: FloatArray, settings: Settings) -> str | None:
    """Why nothing can be told; None where it can."""
    limits = settings.location
    if places < limits.places:
        return _few("places", places, limits.places)
    if not len(change):
        return NO_SIGNS
    if len(change) < limits.modes:
        return _few("tones whose signs are known", len(change), limits.modes)
    return None if (change > 0).any() else "no tone changed that way"


def change_of(measured: Measured, which: From) -> tuple[FloatArray, list[str]]:
    """(k,) and the names of those modes in the reference scan; what is not known is left out."""
    found = measured.loss if which == "losses" else measured.frequency
    known = found.judged & np.isfinite(found.value)
    value = found.value if which == "losses" else -found.value
    if which == "losses":  # added loss, not its ratio: the iron's own differs from mode to mode
        value = np.expm1(np.clip(value, 0.0, None)) * np.exp(measured.baseline.log_loss.mean[measured.earlier_index])
    names = [measured.baseline.table.names[int(i)] for i in measured.earlier_index[known]]
    return np.asarray(value[known]), names


def signed_patterns(scan: Scan, names: Sequence[str], settings: Settings) -> tuple[Patterns, FloatArray, FloatArray]:
    """Of the modes whose signs are told: patterns, places (p, 2) in the picture, and their numbers among `names`."""
    placed = {s.name: (s.x, s.y) for s in scan.map.stations if s.direction != "sideways"} if scan.map else {}
    tapped = [s for s in dict.fromkeys(s.station for s in scan.strikes if s.usable) if s in placed]
    modes = {m.id: m for m in scan.modes}
    rows, hz, told = [], [], []
    for k, name in enumerate(names):
        row = _row(modes[name], tapped)
        inside = settings.location.lowest_hz <= modes[name].frequency_hz <= settings.location.highest_hz
        if inside and np.isfinite(row).sum() >= LEAST_TOLD and np.nansum(np.abs(row)) > 0:
            rows.append(row)
            hz.append(modes[name].frequency_hz)
            told.append(k)
    motion = np.array(rows).reshape(len(rows), len(tapped))
    return (
        Patterns(np.array(hz), motion),
        np.array([placed[s] for s in tapped]).reshape(-1, 2),
        np.array(told, dtype=int),
    )


def _row(mode: Mode, stations: Sequence[str]) -> FloatArray:
    """Signed amplitude; 0 where the mode was too faint to be heard, nan where its sign is not known."""
    at = {a.station: a for a in mode.amplitudes}
    signs = [0 if s not in at else at[s].sign for s in stations]
    return np.array(
        [
            np.nan if g is None else g and g * 10 ** (at[s].amplitude_db / 20)
            for s, g in zip(stations, signs, strict=True)
        ],
        dtype=float,
    )


def _places(
    change: FloatArray,
    patterns: Patterns,
    spread: Expansion,
    model: RoughModel,
    which: From,
    outline: Outline,
    settings: Settings,
) -> tuple[LikelyPlace, ...]:
    """Largest share first."""
    if which == "weight":
        found = beliefs(change, spread.squares, spread.fit, _squares(model), settings)
        words = Words(outline, model.size_m)
        return tuple(_spot(b, model, words) for b in found[:NAMED])
    made = spread.squares / patterns.frequency_hz**2
    found = beliefs(change, made, spread.fit, [c.part for c in model.cuts], settings)
    return tuple(_cut(b, model, b.candidate) for b in found if b.share >= LEAST_SHARE)


def _cut(belief: Belief, model: RoughModel, number: int) -> LikelyPlace:
    cut = model.cuts[number]
    x, y = model.in_picture((np.array(cut.start_m) + cut.end_m) / 2)
    return LikelyPlace(cut.part, cut.kind, cut.where, x, y, belief.share, belief.share_sd)


def _squares(model: RoughModel) -> list[str]:
    """The square of the picture that each point of the model lies in."""
    at = np.minimum((model.points_m / model.size_m * GRID).astype(int), GRID - 1)
    return [f"{x} {y}" for x, y in at]


def _spot(belief: Belief, model: RoughModel, words: Words) -> LikelyPlace:
    at = model.points_m[belief.candidate]
    x, y = model.in_picture(at)
    return LikelyPlace("plate", "anywhere", words.side(at), x, y, belief.share, belief.share_sd)


def _few(what: str, count: int, needed: float) -> str:
    return f"{needed:.0f} {what} are needed to say where; here are {count}"


def _misfit(outline: Outline, fit: float) -> str:
    return (
        f"the drawing of {outline.name} does not fit what was measured (the tones' motion at a place is told from the others to {100 * max(fit, 0):.0f} %): "
        "is it the layout of another kind of plate, or were places mixed up?"
    )
