"""The modes of one plate followed through all its scans: steady, drifting, or one step.

    follow(scans, contact, settings)    Trend over scans in order of date; the first is the reference
    judge_course(days, values, sd)      steady, drift or step for one series

Each scan is paired with the first, and what all modes share (as in the comparison) is taken out scan by scan, so a series shows what one mode did beside the others.
Three courses are fitted by weighted least squares: a constant, a straight line over time, and one step between two scans. The
constant stands unless another is plainly better: the sum of squares must fall by more than chance would let it in one mode of many, and a step is
searched over every place it could be, so it must do better still (Bayesian information criterion, Schwarz 1978, from memory).
"""

from collections.abc import Sequence
from datetime import date
from typing import Literal

import numpy as np
from msgspec import Struct

from tapscan.records import FloatArray, ScanForComparison
from tapscan.screening.compare.pairing import mode_table, pair_modes
from tapscan.screening.compare.repeatability import fit_factor, prior_frequency_sd, shared_stations
from tapscan.screening.compare.shared_shift import shared_shift
from tapscan.screening.mode_origins import of_plate
from tapscan.settings import Settings

Course = Literal["steady", "drift", "step"]
FEWEST = 4  # scans: three cannot tell a drift from a step
SHARED_BY = {False: "as warmth does", True: "as wood, screws and warmth do"}
NEIGHBOURS = 0.3  # ln frequency, width over which scatter is smoothed
HELD, ROUNDS = 9.0, 8
MANY_MODES = 10.0  # sum of squares that chance must not reach in one mode of a hundred


def shared_by(in_piano: bool) -> str:
    """What moves all tones together, completing a sentence."""
    return SHARED_BY[in_piano]


class ModeCourse(Struct, frozen=True):
    """One mode of the first scan through time."""

    mode: str  # Mode.id in the first scan
    frequency_hz: float  # in the first scan
    change_ppm: tuple[float | None, ...]  # against the first scan, shared shift taken out; None: not heard
    sd_ppm: tuple[float | None, ...]
    course: Course | None  # None: too few scans hear it
    step_before: int | None  # number of the scan at which a step shows
    size_ppm: float | None  # step, or drift from first to last scan
    reason: str | None = None


class Trend(Struct, frozen=True):
    """All scans of a plate."""

    scans: tuple[str, ...]
    dates: tuple[str, ...]
    shared_ppm: tuple[float, ...]  # common shift of each scan against the first
    modes: tuple[ModeCourse, ...]


def follow(scans: Sequence[ScanForComparison], contact: bool, settings: Settings) -> Trend:
    """Every mode of the earliest of the `scans`; they may come in any order."""
    ordered = sorted(scans, key=lambda s: (s.date, s.name))
    stations = shared_stations([s.scan for s in ordered]) if ordered else []
    tables = [mode_table(of_plate(s.scan.modes), stations) for s in ordered]
    if not tables:
        return Trend((), (), (), ())
    first = tables[0]
    prior = prior_frequency_sd(first.frequency_hz, contact, settings)
    change, sd = np.full((len(first), len(tables)), np.nan), np.full((len(first), len(tables)), np.nan)
    shared = []
    for k, (table, scan) in enumerate(zip(tables, [s.scan for s in ordered], strict=True)):
        found = pair_modes(first, table, np.sqrt(2) * prior, settings)
        i, j = found.pairs[:, 0], found.pairs[:, 1]
        apart = table.log_frequency[j] - first.log_frequency[i]
        sd[i, k] = np.hypot(prior[i], fit_factor(scan, settings) * table.frequency_sd[j])
        f = first.frequency_hz[i]
        inside = (f >= settings.compare.lowest_hz) & (f <= settings.compare.highest_hz)
        shift = shared_shift(apart, sd[i, k], inside)[0]
        change[i, k] = apart - shift
        shared.append(1e6 * shift)
    sd = sd * _overdispersion(first.frequency_hz, change, sd)
    days = _days([s.date for s in ordered])
    modes = tuple(
        _course(first.names[i], float(first.frequency_hz[i]), days, change[i], sd[i]) for i in range(len(first))
    )
    return Trend(tuple(s.name for s in ordered), tuple(s.date for s in ordered), tuple(shared), modes)


def _overdispersion(frequency_hz: FloatArray, change: FloatArray, sd: FloatArray) -> FloatArray:
    """(n, 1) how much more than given the modes around each scatter, never under 1.

    From differences of neighbouring scans: a step spoils but one of them, and wild ones are held back.
    """
    if change.shape[1] < FEWEST:
        return np.ones((len(change), 1))
    ratio = np.diff(change, axis=1) ** 2 / (sd[:, 1:] ** 2 + sd[:, :-1] ** 2)
    known = np.isfinite(ratio)
    x = np.log(frequency_hz)
    near = np.exp(-0.5 * ((x[:, None] - x[None, :]) / NEIGHBOURS) ** 2)
    level = np.ones((len(change), 1))
    for _ in range(ROUNDS):
        held = np.where(known, np.minimum(np.where(known, ratio, 0.0), HELD * level), 0.0)
        level = (near @ held.sum(axis=1, keepdims=True)) / np.maximum(near @ known.sum(axis=1, keepdims=True), 1e-9)
    return np.asarray(np.sqrt(np.maximum(level, 1.0)))


def _days(dates: Sequence[str]) -> FloatArray:
    """Days since the first; scans of one day, or without a readable date, follow in order."""
    try:
        raw = np.array([date.fromisoformat(d[:10]).toordinal() for d in dates], dtype=float)
    except ValueError:
        return np.arange(len(dates), dtype=float)
    return np.asarray(raw - raw[0] + 1e-3 * np.arange(len(raw)))


def _course(name: str, frequency_hz: float, days: FloatArray, change: FloatArray, sd: FloatArray) -> ModeCourse:
    known = np.isfinite(change)
    listed = tuple(float(1e6 * c) if k else None for c, k in zip(change, known, strict=True))
    spread = tuple(float(1e6 * s) if k else None for s, k in zip(sd, known, strict=True))
    if known.sum() < FEWEST:
        why = f"heard in {int(known.sum())} scans, {FEWEST} are needed"
        return ModeCourse(name, frequency_hz, listed, spread, None, None, None, why)
    course, place, size = judge_course(days[known], change[known], sd[known])
    at = None if place is None else int(np.nonzero(known)[0][place])
    return ModeCourse(name, frequency_hz, listed, spread, course, at, None if size is None else 1e6 * size)


def judge_course(days: FloatArray, values: FloatArray, sd: FloatArray) -> tuple[Course, int | None, float | None]:
    """Course, number of the value at which a step shows, and its size (a drift: from first to last).

    days, values, sd : (n,), n at least 4; sd > 0.
    """
    weight = 1 / sd**2
    flat = _left(np.ones((len(days), 1)), values, weight)
    line = _left(np.stack([np.ones_like(days), days], axis=1), values, weight)
    steps, sizes = _two_levels(values, weight)
    place = int(np.argmin(steps)) + 1
    step = float(steps[place - 1]), float(sizes[place - 1])
    searched = 2 * np.log(len(steps))  # the step's place was chosen among these
    if flat[0] - min(line[0], step[0] + searched) < MANY_MODES + np.log(len(days)):
        return "steady", None, None
    if line[0] <= step[0] + searched:
        return "drift", None, float(line[1][1] * (days[-1] - days[0]))
    return "step", place, step[1]


def _left(columns: FloatArray, values: FloatArray, weight: FloatArray) -> tuple[float, FloatArray]:
    """Weighted sum of squares left by a linear fit, and its coefficients."""
    root = np.sqrt(weight)
    fit = np.linalg.lstsq(columns * root[:, None], values * root, rcond=None)[0]
    return float(np.sum(weight * (values - columns @ fit) ** 2)), np.asarray(fit)


def _two_levels(values: FloatArray, weight: FloatArray) -> tuple[FloatArray, FloatArray]:
    """(n - 1,) weighted sum of squares left by one level before each value but the first and another from there on, and the second less the first."""
    apart = values - np.average(values, weights=weight)
    told, pull = np.cumsum([weight, weight * apart], axis=1)
    before, after = pull[:-1] / told[:-1], (pull[-1] - pull[:-1]) / (told[-1] - told[:-1])
    taken = before * pull[:-1] + after * (pull[-1] - pull[:-1])
    return np.sum(weight * apart**2) - taken, after - before
