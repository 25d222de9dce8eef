"""Poles of a sum of damped exponentials shared by several series: a shift-invariance method.

    shared_poles(series, noise_power, most)   complex poles z, |z| < 1, of (S, m) series
    Covariance(most).add(series) ... .poles(noise_power)    the same for many sets of series

Method: signal subspace of the covariance of all series' Hankel windows, rotational invariance solved
by total least squares (ESPRIT; Roy and Kailath, IEEE Trans. ASSP 37 (1989) 984; from memory). Order
rule: eigenvalues above what white noise of the measured power can reach (the upper edge of the
Marchenko-Pastur law with a reserve), and within 60 dB of the largest.
"""

import numpy as np
from numpy.lib.stride_tricks import as_strided

from tapscan.records import ComplexArray
from tapscan.signal.fit.lapack import lapack, strongest

RESERVE = 2.0
RANGE = 1e-6
LONGEST_WINDOW = 110


def shared_poles(series: ComplexArray, noise_power: float, most: int) -> ComplexArray:
    """Poles common to all series, at most `most`; empty when nothing stands above the noise.

    series : (S, m) complex; noise_power : mean square of the noise per sample of the series.
    """
    gathered = Covariance(most)
    gathered.add(series)
    return gathered.poles(noise_power)


class Covariance:
    """Sum of the windows' covariances over sets of series, which may be of unlike length."""

    def __init__(self, most: int) -> None:
        self.most, self.window, self.columns = most, 0, 0
        self._sum = np.zeros((0, 0), dtype=complex)

    def add(self, series: ComplexArray) -> None:
        """(S, m) more series; the first set fixes the length of the windows, shorter sets are left out."""
        if not self.window:
            self.window = min(LONGEST_WINDOW, series.shape[1] // 3)
            self._sum = np.zeros((self.window, self.window), dtype=complex, order="F")  # as LAPACK takes it
        if self.window >= 4 and series.shape[1] >= 2 * self.window:
            self._sum += _covariance(series, self.window)
            self.columns += len(series) * (series.shape[1] - self.window + 1)

    def poles(self, noise_power: float) -> ComplexArray:
        """Poles whose eigenvalues stand above what white noise of this mean square can reach."""
        window, columns = self.window, self.columns
        if window < 4 or not columns:
            return np.empty(0, dtype=complex)
        edge = RESERVE * noise_power * columns * (1 + np.sqrt(window / columns)) ** 2
        if _under(self._sum, edge):
            return np.empty(0, dtype=complex)
        values, vectors = strongest(self._sum, min(window, self.most))
        order = int(np.sum(values > max(edge, RANGE * values[0])))
        order = min(order, self.most, window - 2)
        return _rotation(vectors[:, :order]) if order else np.empty(0, dtype=complex)


def _under(matrix: ComplexArray, edge: float) -> bool:
    """Whether all eigenvalues of a Hermitian matrix lie below `edge`: a tenth of the work of finding them, where nothing rings."""
    left = -matrix
    left.flat[:: len(matrix) + 1] += edge
    return bool(lapack.zpotrf(left, lower=True, overwrite_a=True, clean=False)[1] == 0)


def _covariance(series: ComplexArray, window: int) -> ComplexArray:
    """H H^* of all series' Hankel windows, its lower triangle alone: each entry is its upper left neighbour, one product in, one out."""
    columns = series.shape[1] - window + 1
    head, tail = series[:, : window - 1].T, series[:, columns:].T
    change = np.zeros((window + 1, window), dtype=complex)  # a row more, for the last diagonal's view
    change[0] = np.sum([np.correlate(one, one[:columns], "valid") for one in series], axis=0)
    np.subtract((tail @ tail.conj().T).conj(), (head @ head.conj().T).conj(), out=change[1:window, 1:])
    upper = np.zeros_like(change)  # the view leaves out the entries under the diagonal
    np.add.accumulate(_from_diagonal(change), axis=0, out=_from_diagonal(upper))
    return upper[:window].T


def _from_diagonal(matrix: ComplexArray) -> ComplexArray:
    """(n, n) view of (n + 1, n): row i from its diagonal on, and behind its end what lies under the next row's diagonal."""
    down, right = matrix.strides
    n = matrix.shape[1]
    return as_strided(matrix, (n, n), (down + right, right))


def _rotation(subspace: ComplexArray) -> ComplexArray:
    """Eigenvalues of the total-least-squares rotation from the upper to the lower rows."""
    order = subspace.shape[1]
    both = np.hstack([subspace[:-1], subspace[1:]])
    _, _, v = np.linalg.svd(both, full_matrices=both.shape[1] > both.shape[0])  # of the right vectors all are asked for
    v = v.conj().T
    v12, v22 = v[:order, order:], v[order:, order:]
    return np.linalg.eigvals(-np.linalg.lstsq(v22.T, v12.T, rcond=None)[0].T)
