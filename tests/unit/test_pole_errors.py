"""Errors of poles where the sound shows nothing of a mode."""

import warnings

import numpy as np

from tapscan.signal.polefit import fit_poles


def test_a_mode_that_nothing_shows_has_no_finite_error_and_no_warning():
    bins = np.arange(100.0, 200.0)
    silence = np.zeros((len(bins), 2), dtype=complex)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        fit = fit_poles(bins, silence, np.array([150.0]), np.array([5.0]), length=8000, rate_hz=8000.0, noise=1e12)
    assert not np.isfinite(np.diag(fit.covariance)).any()
