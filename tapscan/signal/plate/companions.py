"""A strong mode is one mode although the places put it some hundred parts per million apart.

    united(joint, shared, part_at, workers)     the shared modes, companions made one with the mode they came from

A mass that roves with the hammer, or a support that yields, moves each mode at each place by its own amount. A fit that has one frequency for all
places then needs two or three poles, close together, where there is one mode. Such a group is held against one pole a place, of that place's own frequency and
decay: where that explains the sound as well for the unknowns it has (Akaike's criterion, IEEE Trans. Automatic Control 19 (1974) 716, from memory), it is one mode. Two modes of the structure
are not taken for one: no single pole follows both, at most places, once they stand clear of the noise.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple

import numpy as np
from msgspec.structs import replace

from tapscan.records import ComplexArray, FloatArray, Pole
from tapscan.signal.fit.mode_arrays import ModeArrays
from tapscan.signal.fit.one_pole import OnePole, fit_one_pole
from tapscan.signal.fit.polefit import BACKGROUND_TERMS, STEPS, smooth_terms
from tapscan.signal.plate.joint_spectra import JointSpectra, WeighedBand, by_shift
from tapscan.workers import ALONE, Workers

REACH = 2e-3  # of the frequency: farther apart no roving mass of a usual hammer puts one mode
WIDTHS = 6.0  # linewidths either side that are looked at
LEAST_BINS = 12
SAME_DECAY, MORE_ALLOWED = (
    0.005,
    4.0,
)  # a mass moves no decay: where the places' own agree so closely, this much more may stay unexplained
GATES = 4.0  # reaches: a place's own pole that went farther has lost its way


class _Sound(NamedTuple):
    """Poles so close together, and the sound around them without all others, of which each place is asked by itself."""

    poles: list[Pole]
    bins: FloatArray  # (K,)
    values: ComplexArray  # (K, S)
    scale: FloatArray  # (S,) what the spectra were multiplied by
    length: int
    rate: int
    owner: np.ndarray  # (S,)
    drift: FloatArray  # (places,) shift that the sound holds


class _Group(NamedTuple):
    """The same twice: as recorded, since a shift is taken out to first order only, and as the group was fitted."""

    raw: _Sound
    corrected: _Sound


def united(
    joint: JointSpectra, poles: Sequence[Pole], part_of: Callable[[float], WeighedBand], workers: Workers = ALONE
) -> list[Pole]:
    """Poles in order of frequency, amplitudes (S,) of all strikes at sample 0. part_of : the band's spectra around a frequency."""
    modes, groups = ModeArrays.of(poles), _groups(poles)

    def work() -> Iterator[_Group]:
        for group in groups:
            if len(group) > 1:
                others = modes.where(~np.isin(np.arange(len(poles)), group))
                chosen = [poles[i] for i in group]
                yield _around(chosen, others, part_of(chosen[0].frequency_hz), joint)

    ones = iter(workers.map(_as_one, work()))
    out: list[Pole] = []
    for group in groups:
        one = next(ones) if len(group) > 1 else None
        out += [one] if one is not None else [poles[i] for i in group]
    return out


def _groups(poles: Sequence[Pole]) -> list[list[int]]:
    """Numbers of poles that hang together by REACH."""
    groups: list[list[int]] = []
    for i, pole in enumerate(poles):
        if groups and pole.frequency_hz - poles[groups[-1][-1]].frequency_hz < REACH * pole.frequency_hz:
            groups[-1].append(i)
        else:
            groups.append([i])
    return groups


def _around(poles: list[Pole], others: ModeArrays, part: WeighedBand, joint: JointSpectra) -> _Group:
    kept = part.spectra
    f = np.array([p.frequency_hz for p in poles])
    reach = max(
        WIDTHS * max(p.decay_rate_per_s for p in poles) / np.pi,
        2 * REACH * f.max(),
        LEAST_BINS * kept.rate / kept.length,
    )
    bins, values = kept.bins(float(f.min() - reach), float(f.max() + reach))
    heard = others.spectra(bins, kept.length, kept.rate) + others.images(bins, kept.length, kept.rate)
    rung = next(r for r in joint.rungs if r.length == kept.length)
    _, raw = rung.bins(float(bins[0] - 0.1 * rung.rate / rung.length), float(bins[-1] + 0.1 * rung.rate / rung.length))
    moved = by_shift(bins, others, kept)[1] * joint.drift if len(others) else 0.0
    drift = np.array([joint.drift[joint.owner == k][0] for k in range(len(joint.sounds))])
    sound = _Sound(
        poles, bins, (raw - heard - moved) * part.scale, part.scale, kept.length, kept.rate, joint.owner, drift
    )
    return _Group(sound, sound._replace(values=values - heard * part.scale, drift=np.zeros_like(drift)))


def _as_one(group: _Group) -> Pole | None:
    """One pole, or None where the places do not hold one each."""
    sound, ways = group.corrected, [told for told in map(_alone, group) if told is not None]
    if not ways:
        return None
    f, d, amplitudes, left = min(ways, key=lambda told: told.left)
    energy = np.bincount(sound.owner, np.abs(amplitudes * sound.scale) ** 2)
    weight = energy / energy.sum()
    middle, apart = _over_places(f, weight)
    decay, decay_apart = _over_places(d, weight)
    more = 2 * len(sound.poles) * (1 + len(sound.owner)) - 2 * (len(f) + len(sound.owner))  # unknowns over one a place
    allowed = more * (MORE_ALLOWED if decay_apart[0] < SAME_DECAY * decay else 1.0)
    rest = _rest(sound)
    if left - rest > allowed * max(float(sound.length), rest / sound.values.size):
        return None
    lead = max(sound.poles, key=lambda p: p.snr_db)
    return replace(
        lead,
        frequency_hz=middle,
        frequency_sd_hz=float(np.hypot(apart[1], lead.frequency_sd_hz)),
        decay_rate_per_s=decay,
        decay_rate_sd_per_s=float(np.hypot(decay_apart[1], lead.decay_rate_sd_per_s)),
        amplitudes=tuple(amplitudes.tolist()),
    )


def _over_places(values: FloatArray, weight: FloatArray) -> tuple[float, tuple[float, float]]:
    """Mean by weight (K,), standard deviation from place to place, and that of the mean."""
    middle = float(weight @ values)
    many = 1 / float(np.sum(weight**2))  # places as heavy as each other that would tell as much
    apart = float(np.sqrt(weight @ (values - middle) ** 2))
    return middle, (apart, apart / max(1.0, many - 1) ** 0.5)


class _Told(NamedTuple):
    """Each place's own frequency and decay rate (places,), amplitudes (S,) and the residual's energy over all."""

    frequency_hz: FloatArray
    decay_rate_per_s: FloatArray
    amplitudes: ComplexArray
    left: float


def _alone(sound: _Sound) -> _Told | None:
    """None where it holds too few bins. A place is asked from each of the group's poles on; the best is what it tells."""
    if len(sound.bins) < LEAST_BINS:
        return None
    lead = max(sound.poles, key=lambda p: p.snr_db)
    places = int(sound.owner.max()) + 1
    fits = _one_pole(sound, sound.poles, STEPS)
    near = np.abs(fits.frequency_hz / lead.frequency_hz - 1) < GATES * REACH
    best = np.where(near, fits.left, np.inf).argmin(axis=0)
    lost = ~near.any(axis=0)  # a place that does not show the mode tells no frequency of its own
    held = _one_pole(sound, [lead], 0) if lost.any() else fits

    def told(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return np.where(lost.reshape(-1, *[1] * (x.ndim - 2)), y[0], x[best, np.arange(places)])

    f, d, amplitudes, left = (told(x, y) for x, y in zip(fits, held, strict=True))
    number = np.arange(len(sound.owner)) - np.searchsorted(sound.owner, sound.owner)  # of each strike at its place
    own = amplitudes[sound.owner, number] / sound.scale
    return _Told(f / (1 + sound.drift), d, own, float(left.sum()))


def _one_pole(sound: _Sound, starts: Sequence[Pole], steps: int) -> OnePole:
    """(starts, places, ...) of each place from each of these poles on."""
    strikes = np.bincount(sound.owner)
    places, many = len(strikes), len(starts)
    values = np.zeros((places, len(sound.bins), strikes.max()), dtype=complex)
    for place in range(places):
        values[place, :, : strikes[place]] = sound.values[:, sound.owner == place]
    fit = fit_one_pole(
        sound.bins,
        np.tile(values, (many, 1, 1)),
        np.repeat([p.frequency_hz for p in starts], places),
        np.repeat([p.decay_rate_per_s for p in starts], places),
        length=sound.length,
        rate_hz=sound.rate,
        noise=float(sound.length),
        strikes=np.tile(strikes, many),
        steps=steps,
    )
    f, d, left = (x.reshape(many, places) for x in (fit.frequency_hz, fit.decay_rate_per_s, fit.left))
    return OnePole(f, d, fit.amplitudes.reshape(many, places, -1), left)


def _rest(sound: _Sound) -> float:
    """What the group itself leaves, a smooth background for each strike taken away."""
    heard = ModeArrays.of(sound.poles).spectra(sound.bins, sound.length, sound.rate) * sound.scale
    smooth, _ = np.linalg.qr(smooth_terms(sound.bins, BACKGROUND_TERMS))
    rest = sound.values - heard
    rest = rest - smooth @ (smooth.conj().T @ rest)
    return float(np.sum(np.abs(rest) ** 2))
