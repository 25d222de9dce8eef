"""What stands in for parts of scipy that take long to import gives their figures: to the last digit where it does what they do."""

import subprocess
import sys

import numpy as np
import pytest
import scipy.fft
import scipy.linalg
import scipy.ndimage
import scipy.special

from tapscan.signal.fit.fast_length import down_from, up_from
from tapscan.signal.fit.lapack import inverse, inverse_of_any, strongest
from tapscan.signal.fit.subspace import _covariance
from tapscan.signal.plate.special import beyond, digamma, student, tetragamma, trigamma
from tapscan.signal.strikes import running
from tapscan.signal.strikes.running import by_turns, largest_on_end, low_around, mean_around, median_after

LENGTHS = (1, 2, 5, 30, 200, 4000)
MANY = (1, 2, 3, 5, 9, 24, 30)


def noise(n: int) -> np.ndarray:
    return np.random.default_rng(n).standard_normal(n) ** 2


def test_running_filters() -> None:
    for n in LENGTHS:
        x = noise(n)
        median = scipy.ndimage.median_filter(x, 5, mode="constant", origin=-2)
        assert np.array_equal(median_after(x, 5), median)
        for many in MANY:
            mean = scipy.ndimage.uniform_filter1d(x, many, mode="nearest")
            assert np.array_equal(mean_around(x, many), mean), (n, many)
            mirrored = scipy.ndimage.uniform_filter1d(x, many)
            assert np.array_equal(mean_around(x, many, mirrored=True), mirrored), (n, many)
            if many <= n:
                largest = scipy.ndimage.maximum_filter1d(x, many)[many // 2 :][: n - many + 1]
                assert np.array_equal(largest_on_end(x, many), largest), (n, many)


def test_a_low_rank_is_the_same_whichever_part_of_scipy_there_is(monkeypatch) -> None:
    found = [low_around(noise(n), 10, many) for n in (4000, 501) for many in (500, 41)]
    asked = [
        scipy.ndimage.percentile_filter(noise(n), 10, size=many, mode="reflect")
        for n in (4000, 501)
        for many in (500, 41)
    ]
    assert running._of_scipy() is not None
    monkeypatch.setattr(running, "_of_scipy", lambda: None)
    own = [low_around(noise(n), 10, many) for n in (4000, 501) for many in (500, 41)]
    monkeypatch.setattr(running, "LONG", 100)
    public = [low_around(noise(n), 10, many) for n in (4000, 501) for many in (500, 41)]
    for others in (found, own, public):
        assert all(np.array_equal(a, b) for a, b in zip(asked, others, strict=True))


def test_a_rank_that_scipy_gives_otherwise_than_it_did_is_not_taken(monkeypatch) -> None:
    class Changed:
        def __init__(self, does) -> None:
            self.rank_filter = does

    def shifted(values, rank, many, found, *_) -> None:
        found[many // 2 - 1 :][: len(values) - many + 1] = by_turns(values, rank, many)

    def fewer(values, rank) -> None: ...

    for module in (Changed(shifted), Changed(fewer), object(), None):
        monkeypatch.setattr(running, "compiled", lambda *_, module=module: module)
        assert running._of_scipy.__wrapped__() is None


def test_lengths_that_transforms_take_fast() -> None:
    for n in (*range(1, 2000), 44_100, 48_001, 131_071, 1_000_003):
        assert up_from(n) == scipy.fft.next_fast_len(n)
        assert down_from(n) == scipy.fft.prev_fast_len(n)
        assert down_from(n, real=True) == scipy.fft.prev_fast_len(n, real=True)


def test_eigenvectors_and_inverses() -> None:
    rng = np.random.default_rng(0)
    for n, many in ((110, 40), (30, 18), (5, 5)):
        x = rng.standard_normal((n, 2 * n)) + 1j * rng.standard_normal((n, 2 * n))
        matrix = x @ x.conj().T
        values, vectors = scipy.linalg.eigh(matrix, subset_by_index=[n - many, n - 1])
        found = strongest(matrix, many)
        assert np.array_equal(found[0], values[::-1]) and np.array_equal(found[1], vectors[:, ::-1])
        same = scipy.linalg.cho_solve(scipy.linalg.cho_factor(matrix.real), np.eye(n))
        own = inverse(matrix.real)
        assert own is not None and np.array_equal(own, same)
        np.testing.assert_allclose(inverse_of_any(x[:, :n]), scipy.linalg.inv(x[:, :n]), rtol=1e-10)
    with pytest.raises(np.linalg.LinAlgError):
        inverse_of_any(np.zeros((2, 2), complex))
    assert inverse(np.diag([1.0, -1.0])) is None
    none = inverse(np.empty((0, 0)))
    assert none is not None and none.shape == (0, 0)


def test_covariance_of_hankel_windows() -> None:
    """Of scipy's Hankel matrices; the lower triangle is what LAPACK is given."""
    rng = np.random.default_rng(3)
    for window, columns, many in ((110, 290, 1), (20, 21, 3), (4, 5, 2)):
        series = rng.standard_normal((many, window + columns - 1)) + 1j * rng.standard_normal(
            (many, window + columns - 1)
        )
        hankel = np.hstack([scipy.linalg.hankel(x[:window], x[window - 1 :]) for x in series])
        np.testing.assert_allclose(
            np.tril(_covariance(series, window)), np.tril(hankel @ hankel.conj().T), atol=1e-9, rtol=0
        )
        assert not np.diag(_covariance(series, window), 1).any()  # what the sum does not reach is no old memory


def test_chi_square() -> None:
    rng = np.random.default_rng(1)
    free = rng.choice([1, 2, 3, 5, 20, 100, 800, 3000], 3000) * rng.uniform(0.5, 2, 3000)
    value = free * rng.uniform(0, 2.5, 3000)
    found = [beyond(float(v), float(f)) for v, f in zip(value, free, strict=True)]
    np.testing.assert_allclose(found, scipy.special.chdtrc(free, value), rtol=1e-9, atol=1e-14)


def test_students_t() -> None:
    free = np.concatenate([np.geomspace(0.3, 1e6, 400), [0.5, 1.0, 2.0, 19.0, 1000.0, 1000.1]])
    np.testing.assert_allclose(student(free), scipy.special.stdtrit(free, 0.975), rtol=2e-12)


def test_derivatives_of_ln_gamma() -> None:
    x = np.geomspace(0.05, 1e6, 400)
    np.testing.assert_allclose(digamma(x), scipy.special.digamma(x), rtol=1e-13, atol=1e-14)
    np.testing.assert_allclose(trigamma(x), scipy.special.polygamma(1, x), rtol=1e-13)
    np.testing.assert_allclose(tetragamma(x), scipy.special.polygamma(2, x), rtol=1e-13)


def test_reading_of_a_scan_imports_nothing_that_takes_long() -> None:
    """Neither in this process nor in those that share the work; and what is imported later finds the routines that are here already."""
    heavy = "scipy.linalg", "scipy.fft", "scipy.special", "scipy.ndimage", "scipy.signal", "scipy.stats"
    script = (
        "import sys, tapscan.workflow.check, tapscan.cli.summary\n"
        f"assert not [m for m in {heavy} if m in sys.modules]\n"
        "import scipy.linalg\n"
        "from tapscan.signal.fit.lapack import blas, lapack\n"
        "assert scipy.linalg.blas.zherk is blas.zherk and scipy.linalg.lapack.zposv is lapack.zposv\n"
    )
    subprocess.run([sys.executable, "-c", script], check=True, timeout=120)


def test_neither_the_page_nor_a_stored_scan_imports_what_takes_long() -> None:
    """What one question in a hundred needs is imported when it is asked."""
    heavy = (
        "scipy.linalg",
        "scipy.fft",
        "scipy.special",
        "scipy.ndimage",
        "scipy.signal",
        "scipy.stats",
        "scipy.cluster",
    )
    heavy += "scipy.spatial", "matplotlib", "alembic", "librosa", "shapely", "jsonschema"
    script = (
        "import sys, tapscan.page.server, tapscan.workflow.import_scan, tapscan.workflow.record, tapscan.workflow.plate\n"
        f"print(*[m for m in {heavy} if m in sys.modules])\n"
    )
    done = subprocess.run([sys.executable, "-c", script], check=True, timeout=120, capture_output=True, text=True)
    assert done.stdout.strip() == ""
