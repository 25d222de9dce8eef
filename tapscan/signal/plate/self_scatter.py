"""A scan held against itself: whether strikes and places agree as closely as the standard deviations say.

    held(joint, poles, parts, workers)      Held: what was seen, and the poles with honest standard deviations
    held_alone(sound, bands)                the same of one place, which has strikes alone to tell by

A pole's standard deviation follows from the noise alone. Hands, supports and a plate that warms move each mode from strike to strike and from place to place by
more. One linear step from the finished fit tells each strike's own frequency and decay rate of each mode. Odd strikes against even ones give a z for each mode; its root mean
square over modes should be 1. Where it is more than chance makes it (chi-square, LEVEL), all standard deviations are multiplied by it (by what the middle mode shows, where there are many modes). Where the places disagree by more than
chance makes them (chi-square, LEVEL), each mode's standard deviation is at least the sandwich estimate over places (Huber 1967; White, Econometrica 48 (1980) 817; from memory), with Student's t for the few places that
tell most; where hardly more than one place shows a mode, it is multiplied by what the places of all modes show. Where neither is so, nothing is touched.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from tapscan.records import ComplexArray, FloatArray, Pole, SelfScatter
from tapscan.signal.fit.mode_arrays import ModeArrays
from tapscan.signal.fit.polefit import BACKGROUND_TERMS, mode_spectra, smooth_terms
from tapscan.signal.fit.subbands import Band
from tapscan.signal.plate.joint_spectra import HIGHEST_HZ, JointSpectra, StationSound, WeighedBand, gathered, weighed
from tapscan.signal.plate.moderated import moderated
from tapscan.signal.plate.special import beyond, student
from tapscan.workers import ALONE, Workers

LEVEL = 0.01
LEAST_MODES = 3
FLOOR = (
    1.12  # times: less is not widened; where the truth scatters so much more than stated, a 95 % interval holds 92 %
)
LEAST_PLACES = 2.0  # that tell of a mode; of fewer no scatter of its own is told, and that of all modes stands for it
LEAST_FREE = 0.5  # degrees of freedom
LEAST_TREND = 3.0  # places: through fewer no straight line is drawn
MEDIAN = np.pi / 2  # variance of a median over that of a mean, normal distribution
SHARE_SHIFT = 4.0  # modes, as strong as each other: of fewer a shift that they share is no shift of the plate
NORMAL_95, HALF_WITHIN = 1.96, 0.6745  # of a normal distribution
MANY_MODES = 5  # from here on the middle of all tells the scatter; a few odd modes do not widen the others
MOST_Z = 4.0  # more counts as so much: a few modes that one linear step does not follow would speak for all
LEAST_FALL = 0.3  # time constants within the record: what fades less is no mode
LEAST_SHARE = 1e-6  # of a mode's information: a place that shows less tells nothing of a shift
LEAST_TOLD = 1e-12  # of a mode's information: a strike that shows less tells nothing


class Held(Struct, frozen=True, eq=False):
    """None: see reason."""

    poles: list[Pole]
    told: SelfScatter | None = None
    reason: str | None = None


class _Own(Struct, frozen=True, eq=False):
    """What each strike (or group) adds to the mode's figure, and the share of what is known of it that it holds; (M, S) both."""

    adds: FloatArray
    share: FloatArray


def held(joint: JointSpectra, poles: Sequence[Pole], parts: dict[Band, WeighedBand], workers: Workers = ALONE) -> Held:
    """Poles in order of frequency, amplitudes (S,) at sample 0. parts : the bands' spectra that they were fitted to."""
    owner = joint.owner
    if np.bincount(owner).max() < 2:
        return Held(list(poles), None, "each place was tapped once")
    f, d, share, asked = _own(poles, parts, workers)
    asked &= np.isfinite(f).all(axis=1) & np.isfinite(d).all(axis=1)
    asked &= np.array([p.decay_rate_per_s > LEAST_FALL / joint.rungs[0].duration_s for p in poles])  # no hum
    asked &= np.array([0 < p.frequency_sd_hz < np.inf and 0 < p.decay_rate_sd_per_s < np.inf for p in poles])
    if asked.sum() < LEAST_MODES:
        return Held(list(poles), None, f"fewer than {LEAST_MODES} modes")
    sds = [np.array([p.frequency_sd_hz for p in poles]), np.array([p.decay_rate_sd_per_s for p in poles])]
    rates = np.array([p.decay_rate_per_s for p in poles])
    most = rates / (2 * np.pi), rates  # half a linewidth, and the decay itself: a linear step tells no more
    shifts = _shifts(joint, poles, asked), None
    seen = [
        _judged(_Own(x[asked], share[asked]), sd[asked], owner, top[asked], shift)
        for x, sd, top, shift in zip((f, d), sds, most, shifts, strict=True)
    ]
    noise = [x.copy() for x in sds]
    for (_, wide), sd in zip(seen, sds, strict=True):
        sd[asked] = wide
    if seen[0][0].places_widened and shifts[0] is None:
        sds[0][asked] = np.hypot(sds[0][asked], _middle_sd(_by(_Own(f[asked], share[asked]), owner), poles, asked))
    with np.errstate(invalid="ignore", divide="ignore"):
        times = [np.where(asked, sd / was, 1.0).tolist() for sd, was in zip(sds, noise, strict=True)]
    out = [
        replace(p, frequency_sd_hz=float(a), decay_rate_sd_per_s=float(b), widened=both)
        for p, a, b, both in zip(poles, *sds, zip(*times, strict=True), strict=True)
    ]
    return Held(out, seen[0][0])


def held_alone(sound: StationSound, bands: Sequence[Band]) -> Held:
    """Of one place; poles in the place's order, amplitudes at the onset."""
    onset = np.array([np.exp((-p.decay_rate_per_s + 2j * np.pi * p.frequency_hz) * sound.free_s) for p in sound.poles])
    free = [
        replace(p, amplitudes=tuple((np.array(p.amplitudes) * turn).tolist()))
        for p, turn in zip(sound.poles, onset, strict=True)
        if p.frequency_hz < HIGHEST_HZ
    ]
    if not free:
        return Held(list(sound.poles), None, f"fewer than {LEAST_MODES} modes")
    joint, modes = gathered([sound]), ModeArrays.of(free)
    seen = held(joint, free, {b: weighed(joint, b, modes) for b in bands if b.low_hz < HIGHEST_HZ})
    wide = {p.frequency_hz: p for p in seen.poles}
    poles = [
        replace(wide[p.frequency_hz], amplitudes=p.amplitudes) if p.frequency_hz in wide else p for p in sound.poles
    ]
    return Held(poles, seen.told, seen.reason)


class _BandWork(NamedTuple):
    """One band, and all modes; bands do not wait for each other."""

    bins: FloatArray  # (K,)
    values: ComplexArray  # (K, S), in one piece
    scale: FloatArray  # (S,)
    length: int
    rate: int
    modes: ModeArrays
    near: np.ndarray  # (M,) which reach into the band
    inside: np.ndarray  # (M,) which lie in it


def _own(
    poles: Sequence[Pole], parts: dict[Band, WeighedBand], workers: Workers
) -> tuple[FloatArray, FloatArray, FloatArray, np.ndarray]:
    """(M, S) what each strike adds to the frequencies in Hz and the decay rates in 1/s, its shares; (M,) which were told."""
    modes = ModeArrays.of(poles)
    f, d, share = (np.zeros(modes.amplitudes.shape) for _ in range(3))
    told = np.zeros(len(modes), dtype=bool)
    work = _band_work(modes, parts)
    for one, (step, part_share) in zip(work, workers.map(_by_strike, work), strict=True):
        f[one.inside], d[one.inside] = step.imag * one.rate / (2 * np.pi), -step.real * one.rate
        share[one.inside] = part_share
        told |= one.inside
    return f, d, share, told


def _band_work(modes: ModeArrays, parts: dict[Band, WeighedBand]) -> list[_BandWork]:
    """Bands with more bins than unknowns."""
    work = []
    for band, part in parts.items():
        low_hz, high_hz, kept = band.low_hz - band.margin_hz, band.high_hz + band.margin_hz, part.spectra
        inside, near = modes.between(band.low_hz, band.high_hz), modes.between(low_hz, high_hz)
        bins, values = kept.bins(low_hz, high_hz)
        if inside.any() and len(bins) >= 2 * near.sum() + BACKGROUND_TERMS + 2:
            cut = np.asfortranarray(values)
            work.append(_BandWork(bins, cut, part.scale, kept.length, kept.rate, modes, near, inside))
    return work


def _by_strike(work: _BandWork) -> tuple[ComplexArray, FloatArray]:
    """Of the modes inside."""
    bins, modes, length, rate = work.bins, work.modes, work.length, work.rate
    heard = modes.spectra(bins, length, rate) + modes.images(bins, length, rate)
    rest = work.values - heard * work.scale
    near = modes.where(work.near)
    model, slope = mode_spectra(bins, near.frequency_hz, near.decay_rate_per_s, length, rate)
    taken, _ = np.linalg.qr(np.hstack([model, smooth_terms(bins, BACKGROUND_TERMS)]))
    slope = slope - taken @ (taken.conj().T @ slope)
    mine = np.isin(near.frequency_hz, modes.frequency_hz[work.inside])
    step, share = _influence(slope, rest, near.amplitudes * work.scale)
    return step[mine], share[mine]


def _influence(slope: ComplexArray, rest: ComplexArray, size: ComplexArray) -> tuple[ComplexArray, FloatArray]:
    """What each strike adds to the log z of each mode (M, S), and its share of what is known of it.

    slope : (K, M) change of the spectra at unit amplitude, without what free amplitudes take up. rest : (K, S). size : (M, S).
    """
    gram = slope.conj().T @ slope
    score = size.conj() * (slope.conj().T @ rest)
    inverse = np.linalg.pinv(gram * (size.conj() @ size.T), hermitian=True)
    # diag(inverse H_s inverse) with H_s = diag(size_s)* gram diag(size_s)
    turned = size.T[:, :, None] * inverse[None]
    each = np.einsum("smi,mn,sni->is", turned.conj(), gram, turned).real
    share = each / np.maximum(np.sum(each, axis=1, keepdims=True), 1e-300)
    return inverse @ score, share


def _shifts(joint: JointSpectra, poles: Sequence[Pole], asked: np.ndarray) -> FloatArray | None:
    """(M, S) in Hz, what the fit took out of each strike as the shift that all modes share, where few modes tell of it; else None."""
    f_hz, told = _told(poles, asked)
    return f_hz[:, None] * joint.drift if told.sum() ** 2 / np.sum(told**2) < SHARE_SHIFT else None


def _told(poles: Sequence[Pole], asked: np.ndarray) -> tuple[FloatArray, FloatArray]:
    """Frequencies (M,) and what each mode tells of a shift that all share."""
    f_hz, sd_hz = (np.array([getattr(p, k) for p in poles])[asked] for k in ("frequency_hz", "frequency_sd_hz"))
    return f_hz, (f_hz / sd_hz) ** 2


def _middle_sd(by_place: _Own, poles: Sequence[Pole], asked: np.ndarray) -> FloatArray:
    """(M,) in Hz, standard deviation of the middle over places of the shift that all modes of a place share, from how the modes agree on it."""
    f_hz, told = _told(poles, asked)
    seen = by_place.share > LEAST_SHARE
    weight = by_place.share * told[:, None]
    apart = np.where(seen, by_place.adds / np.maximum(by_place.share, LEAST_SHARE) / f_hz[:, None], 0.0)
    variance = np.sum((weight * apart) ** 2, axis=0) / np.maximum(weight.sum(axis=0), LEAST_TOLD) ** 2
    return f_hz * np.sqrt(MEDIAN * variance.mean() / len(variance))


def _judged(
    own: _Own, sd: FloatArray, owner: np.ndarray, most: FloatArray, shift: FloatArray | None = None
) -> tuple[SelfScatter, FloatArray]:
    """What was seen, and the standard deviations (M,) widened where it is too much."""
    strikes, many, factor = _of_strikes(own, sd, len(owner))
    wide, places, beyond = sd * factor, None, False
    if owner.max() > 0:
        shifted = own if shift is None else _Own(own.adds + own.share * shift, own.share)
        by_place = _by(shifted, owner)
        places, chance = _of_places(by_place, wide)
        beyond = not chance and places > FLOOR
        if beyond:
            scatter = np.minimum(_sandwich(by_place, wide), most)
            wide = np.where(scatter > FLOOR * wide, scatter, wide)
    return SelfScatter(strikes, many, factor, places, beyond, LEVEL), wide


def _of_strikes(own: _Own, sd: FloatArray, strikes: int) -> tuple[float, int, float]:
    """Root mean square z of odd strikes against even ones, of how many modes, and what standard deviations are to be multiplied by."""
    by_half = _by(own, np.arange(strikes) % 2)
    spread = np.sqrt(by_half.share[:, 0] * by_half.share[:, -1])
    both = spread > LEAST_TOLD
    z = np.clip(by_half.adds[both, 0] / (sd[both] * spread[both]), -MOST_Z, MOST_Z)
    rms = float(np.sqrt(np.mean(z**2))) if len(z) else 1.0
    beyond_chance = beyond(float(np.sum(z**2)), max(len(z), 1)) < LEVEL
    middle = float(np.median(np.abs(z))) / HALF_WITHIN if len(z) >= MANY_MODES else rms
    factor = min(rms, middle)
    return rms, len(z), factor if beyond_chance and factor > FLOOR else 1.0


def _of_places(by_place: _Own, sd: FloatArray) -> tuple[float, bool]:
    """Root mean square z of the places, and whether chance makes as much."""
    told = by_place.share > LEAST_TOLD
    z = by_place.adds / (np.sqrt(np.maximum(by_place.share, LEAST_TOLD)) * sd[:, None])
    q = float(np.sum(np.where(told, np.clip(z, -MOST_Z, MOST_Z) ** 2, 0)))
    free = float(np.sum(told.sum(axis=1) - 1))
    return float(np.sqrt(q / free)), beyond(q, free) >= LEVEL


def _by(own: _Own, group: np.ndarray) -> _Own:
    """Of groups of strikes (M, groups), without what all add together."""
    kinds = np.eye(int(group.max()) + 1)[group]
    share, adds = own.share @ kinds, own.adds @ kinds
    return _Own(adds - share * adds.sum(axis=1, keepdims=True), share)


def _sandwich(by_place: _Own, sd: FloatArray) -> FloatArray:
    """(M,) standard deviation of each mode's mean from how its places scatter and drift; 1.96 of it hold 95 %."""
    many = 1 / np.sum(by_place.share**2, axis=1)  # places that tell as much, each as the others
    free = np.maximum(many - 1, LEAST_FREE)
    ratio = np.sum(by_place.adds**2, axis=1) * (free + 1) / free / sd**2
    enough = many >= LEAST_PLACES
    if enough.sum() < LEAST_MODES:
        enough = np.ones(len(many), dtype=bool)
    held = moderated(ratio, free, enough)
    scatter = sd * np.sqrt(held.ratio) * student(held.free) / NORMAL_95
    return np.asarray(np.hypot(scatter, np.where(many >= LEAST_TREND, _off_middle(by_place), 0.0)))


def _off_middle(by_place: _Own) -> FloatArray:
    """(M,) how far a mode's mean lies off the middle of the scan, by a straight line through its places in their order."""
    order = np.linspace(-1.0, 1.0, by_place.share.shape[1])
    mean = by_place.share @ order
    apart = order[None, :] - mean[:, None]
    slope = np.sum(by_place.adds * apart, axis=1) / np.maximum(np.sum(by_place.share * apart**2, axis=1), LEAST_TOLD)
    return np.asarray(slope * mean)
