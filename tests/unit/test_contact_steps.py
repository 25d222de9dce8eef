"""A block of steps of a crack whose faces touch, against the same steps one at a time."""

import numpy as np
import pytest

from bench.simulate.contact_steps import Motion

TAPS, MODES = 3, 6


def motion(gap_m: float, sub: int) -> Motion:
    """Modes of 40 to 900 Hz, and a mouth that each of them opens by some micrometres."""
    rng = np.random.default_rng(5)
    omega = 2 * np.pi * np.linspace(40.0, 900.0, MODES)
    mouth = 1e-2 * rng.standard_normal((MODES, 2))
    linear = np.array([2e5, 3e5]) / 96000.0
    hear = rng.standard_normal(MODES) + 1j * rng.standard_normal(MODES)
    return Motion(
        np.exp((-8.0 + 1j * omega) / 96000.0), mouth / omega[:, None], linear[:, None] * mouth.T, hear, gap_m, sub
    )


@pytest.mark.parametrize("gap_m", [2e-6, -2e-6])
@pytest.mark.parametrize("sub", [1, 3, 12])
def test_a_block_of_steps_is_the_same_steps_one_at_a_time(gap_m, sub):
    run, rng = motion(gap_m, sub), np.random.default_rng(6)
    state = 0.5 * (rng.standard_normal((TAPS, MODES)) + 1j * rng.standard_normal((TAPS, MODES)))
    by_block, by_step, heard, touched = state.copy(), state.copy(), [], 0
    for _ in range(4):
        sound, by_block = run.block.after(by_block)
        heard.append(sound)
    single = np.empty((TAPS, 4 * run.block.samples))
    for sample in range(single.shape[1]):
        single[:, sample] = run.sound(by_step)
        for _ in range(sub):
            touched += np.count_nonzero(-(by_step.imag @ run.opening_of) > gap_m)
            run.step(by_step, np.zeros_like(by_step, dtype=float))
    share = touched / (2 * TAPS * single.shape[1] * sub)
    assert 0.1 < share < 0.9, "faces touch and let go"
    assert np.allclose(np.hstack(heard), single, rtol=0, atol=1e-12 * np.abs(single).max())
    assert np.allclose(by_block, by_step, rtol=0, atol=1e-12 * np.abs(by_step).max())


def test_what_can_touch_no_more_is_known():
    run = motion(2e-6, 1)
    small = np.full((TAPS, MODES), 1e-6 + 0j)
    assert run.stays_linear(small) and not run.stays_linear(1e6 * small)
