"""Modes whose ring something goes on driving, as a room does: told apart by their patterns over the strikes.

    state_fit(series, rate_hz, fastest_per_s)          StateFit of one band: poles and their errors, patterns, what drives them
    patterns_over_noise(singular_values, ...)          how many patterns strikes have in common

The hammer roves and the microphone stays put, so a room works on a mode alike at every strike: it bends the mode's course in
time, not its pattern of amplitudes over the strikes. Over many strikes the sound of M modes lies in M patterns, whatever the room
does; M is the rank of the strikes, and the courses s(t) of the patterns obey s(t+1) = F s(t) + g h(t+1), where h is the
room's response: the blow at first, then the decaying noise of its echoes. Regression of the courses on themselves one
sample earlier gives F, whose eigenvalues are the poles, as long as that noise is white within the band; a sample
weighs the less the more it is driven. In a short record decays lean to more damping by a part of their standard error. (Vector
autoregression with a driving noise of changing variance: Luetkepohl, New Introduction to Multiple Time Series Analysis, 2005,
chapters 3 and 17; from memory.)

Two rounds. Least squares first: what is no mode comes out as damped within a few periods, and is dropped. Then the rest
once more with the sample before as instrument, because noise in the courses makes least squares give too much damping (Young,
Recursive Estimation and Time-Series Analysis, 2011, chapter 7; from memory).

Needs more strikes at unlike places than a band has modes; modes of one pattern are told as one.
"""

from collections.abc import Callable
from functools import partial

import numpy as np
from msgspec import Struct

from tapscan.records import ComplexArray, FloatArray
from tapscan.signal.fit.lapack import inverse_of_any
from tapscan.signal.strikes.running import mean_around

RESERVE = 2.0  # in amplitude, over what white noise alone can reach
MOST_IN_BAND = 40
ROUNDS, LAST_ROUNDS = 4, 2
SMOOTH_S = 0.1  # over which the driving noise is taken as steady
FLOOR, LAST_FLOOR = 100.0, 0.5  # over the noise: samples driven by less weigh as if driven by this
USED = 0.9  # of the record; what a band's edges ring backwards from the onset wraps round to its end
DOUBT = 1.4  # on the standard errors: by so much they fell short on simulated rooms (the driving is not quite white)


Smooth = Callable[[FloatArray], FloatArray]


class StateFit(Struct, frozen=True, eq=False):
    """M modes of one band from S strikes; the series were scaled to noise of mean square 1."""

    z: ComplexArray  # (M,) poles per sample
    z_sd: FloatArray  # (M,) standard error of the real and of the imaginary part of log z, each
    patterns: ComplexArray  # (S, M) of unit length
    courses: ComplexArray  # (M, n): the modes' share of the series is patterns @ courses
    driven: FloatArray  # (n - 1,) energy of what no pole explains, from sample 1 on, over all patterns; noise adds some 2 `rank`
    rank: int  # how many patterns stood above the noise, M or more


def state_fit(series: ComplexArray, rate_hz: float, fastest_per_s: float) -> StateFit | None:
    """Poles of one band's series (S, n), sample 0 at the onset, the noise of every strike white and of mean square 1.

    fastest_per_s : what decays faster is no mode. None where nothing stands above the noise or nothing rings.
    Raises LinAlgError where the sums have no solution.
    """
    strikes, samples = series.shape
    vectors, values, courses = np.linalg.svd(series, full_matrices=False)
    rank = patterns_over_noise(values, strikes, samples)
    rank = min(rank, MOST_IN_BAND, strikes - 2, samples // 4)
    if rank < 1:
        return None
    state = (values[:rank, None] * courses[:rank])[:, : max(2 * rank + 3, int(USED * samples))]
    return _fitted(vectors[:, :rank], state, rate_hz, fastest_per_s)


def patterns_over_noise(singular_values: FloatArray, strikes: int, samples: int) -> int:
    """How many singular values of (strikes, samples) stand above what white noise of mean square 1 can reach."""
    return int(np.sum(singular_values > RESERVE * (np.sqrt(samples) + np.sqrt(strikes))))


def _fitted(vectors: ComplexArray, state: ComplexArray, rate_hz: float, fastest_per_s: float) -> StateFit | None:
    smooth = partial(mean_around, many=max(3, int(SMOOTH_S * rate_hz)), mirrored=True)
    step, driven = _least_squares(state, smooth)
    z, mixed = np.linalg.eig(step)
    rings = -np.log(np.abs(z)) * rate_hz < fastest_per_s
    if not rings.any():
        return None
    patterns, apart = vectors @ mixed[:, rings], inverse_of_any(mixed)[rings]
    noise = np.linalg.norm(apart, axis=1)  # of each course
    poles, sd, mixed, courses = _by_instrument(apart @ state / noise[:, None], z[rings], smooth)
    patterns = patterns * noise @ mixed
    length = np.linalg.norm(patterns, axis=0)
    return StateFit(poles, sd, patterns / length, courses * length[:, None], driven, len(state))


def _least_squares(state: ComplexArray, smooth: Smooth) -> tuple[ComplexArray, FloatArray]:
    """F (M, M) of all courses (M, n), and the energy (n - 1,) of what drives them."""
    before, after = state[:, :-1], state[:, 1:]
    driven = _energy(after)
    weight = 1 / (smooth(driven) + len(state) * FLOOR)
    for _ in range(ROUNDS):
        step = _regression(before, after, before, weight)
        driven = _energy(after - step @ before)
        weight = 1 / (smooth(driven) + FLOOR)
    return step, driven


def _by_instrument(
    state: ComplexArray, z: ComplexArray, smooth: Smooth
) -> tuple[ComplexArray, FloatArray, ComplexArray, ComplexArray]:
    """Poles (M,) of courses (M, n) that are nearly apart, errors of their logarithms, what turns them quite apart (M, M), and the courses then."""
    earlier, before, after = state[:, :-2], state[:, 1:-1], state[:, 2:]
    step = np.diag(z)
    for _ in range(LAST_ROUNDS):
        weight = 1 / (smooth(_energy(after - step @ before)) + len(z) * LAST_FLOOR)
        step = _regression(before, after, earlier, weight)
    z, mixed = np.linalg.eig(step)
    apart = inverse_of_any(mixed)
    rest = _energy_each(apart @ (after - step @ before), weight) / max(1, after.shape[1] - len(z))
    return (
        z,
        DOUBT * np.sqrt(0.5 * rest * _spread(apart @ before, apart @ earlier, weight)) / np.abs(z),
        mixed,
        apart @ state,
    )


def _regression(
    before: ComplexArray, after: ComplexArray, instrument: ComplexArray, weight: FloatArray
) -> ComplexArray:
    """(M, M) F of after = F before, each sample with its weight; the instrument itself carries no noise of the same moment."""
    weighed = (instrument * weight).conj().T
    return np.asarray(np.linalg.solve((before @ weighed).T, (after @ weighed).T).T)


def _spread(before: ComplexArray, instrument: ComplexArray, weight: FloatArray) -> FloatArray:
    """(M,) variance of each pole for driving noise of weighed mean square 1."""
    gram = np.linalg.inv(before @ (instrument * weight).conj().T)
    return np.abs(np.diag(gram.conj().T @ ((instrument * weight) @ instrument.conj().T) @ gram))


def _energy(series: ComplexArray) -> FloatArray:
    return np.asarray(np.sum(np.abs(series) ** 2, axis=0))


def _energy_each(series: ComplexArray, weight: FloatArray) -> FloatArray:
    return np.asarray(np.sum(weight * np.abs(series) ** 2, axis=1))
