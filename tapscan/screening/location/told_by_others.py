"""Measured patterns as sums of a plate's motions near in frequency: what the places tell of each other, and of what lies between them.

    Covariance(patterns, frequency_hz, shape, settings)   of the patterns over the places, if such a plate made them
    Covariance.squares(targets)                           expected squares of what is looked for
    Covariance.slopes(shape)                              how the evidence changes with the plate

Each pattern is taken as a sum of motions whose weights fall with the distance in ln frequency, read as a prior of the motions' variance (ridge
regression; Gaussian processes of one variance a mode). Of each mode the variance that fits best counts.
"""

import numpy as np
from msgspec import Struct

from tapscan.records import FloatArray
from tapscan.settings import Settings

ALIKE = 1e-6  # squared frequencies closer than this share


class Patterns(Struct, frozen=True, eq=False):
    """Modes over the places; nan where the sign is not told."""

    frequency_hz: FloatArray  # (k,)
    motion: FloatArray  # (k, places), signed, any scale for each mode


class Slopes(Struct, frozen=True, eq=False):
    """Of the evidence."""

    shape: FloatArray  # (places, m)
    log_scale: float  # all frequencies of the plate higher
    stiffness: FloatArray  # (m, m) between the plate's motions, mass-normalised
    mass: FloatArray  # (m, m)


class Covariance:
    """`frequency_hz` (m,) and `shape` (places, m) of the plate."""

    def __init__(self, patterns: Patterns, frequency_hz: FloatArray, shape: FloatArray, settings: Settings) -> None:
        self.ridge, self.frequency_hz, self.shape = settings.location.ridge, frequency_hz, shape
        self.away = np.log(patterns.frequency_hz[:, None] / frequency_hz) / settings.location.window**2
        self.weight = np.exp(-0.5 * (self.away * settings.location.window) ** 2)
        self.known = np.isfinite(patterns.motion)
        self.count = self.known.sum(axis=1)
        self.both = self.known[:, :, None] & self.known[:, None, :]
        gram = np.where(self.both, np.matmul(shape * self.weight[:, None], shape.T), 0.0)
        here = np.arange(shape.shape[0])
        noise = self.ridge * gram[:, here, here].sum(axis=1) / self.count
        gram[:, here, here] += np.where(self.known, noise[:, None], 1.0)
        self.gram, self.inverse = gram, np.linalg.inv(gram)
        self.seen = np.where(self.known, patterns.motion, 0.0)
        self.pull = np.einsum("kpq,kq->kp", self.inverse, self.seen)
        self.spread = np.einsum("kp,kp->k", self.seen, self.pull) / self.count  # variance for a weight of one

    @property
    def evidence(self) -> float:
        """Ln of the probability of the patterns, but for a constant."""
        return float(-0.5 * (np.linalg.slogdet(self.gram)[1] + self.count * np.log(self.spread)).sum())

    @property
    def fit(self) -> FloatArray:
        """(k,) share of the pattern told of each place from the others, at most 1."""
        diagonal = np.einsum("kpp->kp", self.inverse)
        return np.asarray(1 - np.sum((self.pull / diagonal) ** 2, axis=1) / np.sum(self.seen**2, axis=1))

    def squares(self, targets: FloatArray) -> FloatArray:
        """(t, k) expected square of each target, (t, m) in the plate's motions, each mode of unit modal mass; what the places leave open counts."""
        return np.array([self._squares(k, targets) for k in range(len(self.seen))]).reshape(-1, len(targets)).T

    def _squares(self, k: int, targets: FloatArray) -> FloatArray:
        weight, shape = self.weight[k], self.shape * self.known[k][:, None]
        mix = weight * (shape.T @ self.pull[k])
        weighed, own = targets * weight, shape * weight
        across = weighed @ shape.T
        open_ = np.sum(weighed * targets, axis=1) - np.sum((across @ self.inverse[k]) * across, axis=1)
        size = mix @ mix + self.spread[k] * (weight.sum() - np.sum(self.inverse[k] * (own @ own.T)))
        return np.asarray(((targets @ mix) ** 2 + self.spread[k] * np.maximum(open_, 0.0)) / size)

    def slopes(self) -> Slopes:
        """By the covariance's own derivative; of motions that mix, by divided differences of the weights (Daleckii and Krein), so that near ones need no order."""
        by_gram = self._by_gram()
        half = np.matmul(by_gram, self.shape)
        bent = self.weight * self.away
        stiffness, mass = self._by_matrices(half, bent)
        return Slopes(
            2 * np.einsum("kpm,km->pm", half, self.weight),
            float(np.sum(bent * np.einsum("pm,kpm->km", self.shape, half))),
            stiffness,
            mass,
        )

    def _by_gram(self) -> FloatArray:
        """(k, places, places) of the evidence by what the motions add to each covariance."""
        found = (
            np.where(self.both, self.inverse, 0.0)
            - self.pull[:, :, None] * self.pull[:, None, :] / (self.spread[:, None, None])
        )
        here = np.arange(found.shape[1])
        noise = self.ridge * found[:, here, here].sum(axis=1) / self.count
        found[:, here, here] += np.where(self.known, noise[:, None], 0.0)
        return np.asarray(-0.5 * found)

    def _by_matrices(self, half: FloatArray, bent: FloatArray) -> tuple[FloatArray, FloatArray]:
        square = (2 * np.pi * self.frequency_hz) ** 2
        apart, middle = square[:, None] - square, 0.5 * (square[:, None] + square)
        alike = np.abs(apart) < ALIKE * middle
        left = (self.shape * self.weight[:, None]).reshape(-1, len(square)).T @ half.reshape(-1, len(square))
        right = self.shape.T @ np.einsum("kpm,km->pm", half, self.weight)
        stiffness = (left - right) / np.where(alike, 1.0, apart)
        (i, j), steep = np.nonzero(alike), 0.5 * bent / (2 * square)
        inner = np.einsum("pn,kpn->kn", self.shape[:, i], half[:, :, j])
        stiffness[i, j] = np.sum((steep[:, i] + steep[:, j]) * inner, axis=0)
        return stiffness, -(0.5 * (left + right) + middle * stiffness)
