"""The motion of a plate whose crack's faces touch, stepped in time, many taps at once.

A step is a kick by the contact force and an exact drift of the free modes. All of it is linear but for what the faces of an open crack press,
or those of a shut one lack while they are apart. So a block of steps is worked out at once from the state at its start, and only that part
of the force is found step by step: the same recursion as a step at a time, but for rounding.

``Motion``    modes, contact and sound of a step
``Block``     the steps of some samples in matrices
"""

from __future__ import annotations

from functools import cached_property

import numpy as np
from msgspec import Struct

BLOCK_STEPS = 128  # at most


class Motion(Struct, eq=False, dict=True):
    """What does not change while the taps ring; their state is (taps, n) complex = velocity + decay q + i omega q of each mode.

    ``turn`` : (n,) complex, of each mode in a step. ``opening_of`` : (n, 2) m of the mouth by the imaginary part of the state.
    ``kick`` : (2, n) what a metre of pressed mouth adds to the real part in a step. ``hear`` : (n,) complex, sound of the state.
    ``gap_m`` : of the mouth at rest, negative where it is pressed shut. ``sub`` : steps a sample.
    """

    turn: np.ndarray
    opening_of: np.ndarray
    kick: np.ndarray
    hear: np.ndarray
    gap_m: float
    sub: int

    def contact(self, moved: np.ndarray) -> np.ndarray:
        """(taps, n) kick over one step by the touching faces; ``moved`` : the imaginary part of the state."""
        rest = max(0.0, -self.gap_m)
        squeeze = np.maximum(-(moved @ self.opening_of) - self.gap_m, 0.0) - rest
        return np.asarray(squeeze @ self.kick)

    def sound(self, state: np.ndarray) -> np.ndarray:
        """(taps,) between two steps."""
        return np.asarray(((state + 0.5 * self.contact(state.imag)) @ self.hear).real)

    def step(self, state: np.ndarray, push: np.ndarray) -> None:
        """In place. ``push`` : (taps, n) kick by the hammer."""
        state.real += self.contact(state.imag) + push
        state *= self.turn

    def stays_linear(self, state: np.ndarray) -> bool:
        """Whether no tap will touch (or open) any more."""
        return bool((np.abs(state) @ np.abs(self.opening_of)).max() < abs(self.gap_m))

    @cached_property
    def block(self) -> Block:
        """Of a power of two of samples."""
        return Block(self, 1 << max(0, int(np.log2(BLOCK_STEPS / self.sub))))


class Block:
    """``samples`` samples in matrices. A row of the state is (2n,) real: real parts, then imaginary ones."""

    def __init__(self, run: Motion, samples: int) -> None:
        self.samples, self.gap_m, self.sign = samples, abs(run.gap_m), -1.0 if run.gap_m > 0 else 1.0
        n, steps = len(run.turn), samples * run.sub
        real, imaginary = np.diag(run.turn.real), np.diag(run.turn.imag)
        step = np.block([[real, imaginary], [-imaginary, real]])
        opening = np.vstack([np.zeros((n, 2)), run.opening_of])
        kick = np.hstack([run.kick, np.zeros((2, n))]) @ step
        hear, half = np.concatenate([run.hear.real, -run.hear.imag]), 0.5 * run.kick @ run.hear.real
        if run.gap_m <= 0:  # the faces' springs act all the time, but for what is lacking
            step, hear = step - opening @ kick, hear - opening @ half
        seen, pushed = [np.column_stack([opening, hear])], [kick]
        for _ in range(steps - 1):
            seen.append(step @ seen[-1])
            pushed.append(pushed[-1] @ step)
        self.state_after = np.linalg.matrix_power(step, steps)
        self.opening = self.sign * np.concatenate([s[:, :2] for s in seen], axis=1).T  # (2 steps, 2n)
        self.hear = np.stack([s[:, 2] for s in seen[:: run.sub]], axis=1)  # (2n, samples)
        self.pushed = np.concatenate(pushed[::-1])  # (2 steps, 2n)
        answer = self.pushed @ seen[0]  # (2 steps, 3) of the last step by the force of each
        self.opened = self.sign * answer[:, :2].T
        self.heard = np.zeros((2 * steps, samples))
        for sample in range(samples):
            upto = 2 * sample * run.sub
            self.heard[:upto, sample] = answer[2 * steps - upto :, 2]
            self.heard[upto : upto + 2, sample] = half

    def after(self, state: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(taps, samples) sound and the state (taps, n) after them."""
        row = np.concatenate([state.real, state.imag], axis=1)
        sound, later = row @ self.hear, row @ self.state_after
        force = self._forces(self.opening @ row.T - self.gap_m)
        if force is not None:
            sound += force.T @ self.heard
            later += force.T @ self.pushed
        n = state.shape[1]
        return sound, later[:, :n] + 1j * later[:, n:]

    def _forces(self, without: np.ndarray) -> np.ndarray | None:
        """(2 steps, taps) m of mouth that press or are lacking at each step; None where nowhere.

        ``without`` : (2 steps, taps) the same without what earlier ones in the block do, negative where nothing presses.
        """
        beyond = without.max(axis=1) > 0
        if not beyond.any():
            return None
        force = np.zeros_like(without)
        for now in range(int(beyond.argmax()) // 2 * 2, len(without), 2):
            here = self.opened[:, len(without) - now :] @ force[:now]
            here += without[now : now + 2]
            np.maximum(here, 0.0, out=force[now : now + 2])
        return force
