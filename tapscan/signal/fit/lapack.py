"""BLAS and LAPACK as scipy carries them, and two things made of them.

blas, lapack             scipy.linalg.blas and scipy.linalg.lapack
strongest(matrix, many)  largest eigenvalues of a Hermitian matrix, and their vectors
inverse(matrix)          of a symmetric positive one; None where it is none
inverse_of_any(matrix)   of any complex one

The rest of scipy.linalg, which takes longer to import than a tap takes to read, is left out where scipy keeps these routines in the
files where it has kept them so far; else all of it is imported. The figures are the same.
"""

from importlib import import_module

import numpy as np

from tapscan.records import ComplexArray, FloatArray
from tapscan.signal.fit.compiled import compiled

blas = compiled("linalg", "_fblas") or import_module("scipy.linalg.blas")
lapack = compiled("linalg", "_flapack") or import_module("scipy.linalg.lapack")


def strongest(matrix: ComplexArray, many: int) -> tuple[FloatArray, ComplexArray]:
    """(many,) in falling order, and (n, many)."""
    n = len(matrix)
    space = (int(np.real(x)) for x in lapack.zheevr_lwork(n, lower=1)[:3])
    sizes = dict(zip(("lwork", "lrwork", "liwork"), space, strict=True))
    values, vectors, found, _, wrong = lapack.zheevr(matrix, range="I", il=n - many + 1, iu=n, lower=1, **sizes)
    if wrong:
        raise np.linalg.LinAlgError(f"zheevr {wrong}")
    return values[:found][::-1], vectors[:, :found][:, ::-1]


def inverse(matrix: FloatArray) -> FloatArray | None:
    """(n, n) by Cholesky's factors."""
    if not len(matrix):
        return matrix
    factor, wrong = lapack.dpotrf(matrix, lower=False, clean=False)
    if wrong:
        return None
    solved, wrong = lapack.dpotrs(factor, np.eye(len(matrix)), lower=False)
    return None if wrong else np.asarray(solved)


def inverse_of_any(matrix: ComplexArray) -> ComplexArray:
    """(n, n) by triangular factors. Raises LinAlgError where it has none."""
    factors, rows, wrong = lapack.zgetrf(matrix)
    if not wrong:
        space = int(np.real(lapack.zgetri_lwork(len(matrix))[0]))
        found, wrong = lapack.zgetri(factors, rows, lwork=space)
    if wrong:
        raise np.linalg.LinAlgError("a matrix has no inverse")
    return np.asarray(found)
