"""Invented scales of five grands and three uprights: length, wire and tension of every string, and from these its partials.

f_n = n f0 sqrt(1 + B n^2) with B = pi^3 E d^4 / (64 T L^2) (Fletcher, J. Acoust. Soc. Am. 36 (1964) 203; for a wound string d is the core's). Lengths and wires are
invented within what such pianos have (from memory); no maker's scale. Plain strings carry what their wire, length and pitch ask; the tension of wound ones is drawn
up. Octaves are tuned without beats between the partials that tuners listen to (6:3 below, 4:2 in the middle, 2:1 above; common practice), which stretches the scale.

``SCALES``       by name
``strings(s)``   f0 and B of the 88 keys, A4 = 440 Hz
"""

from __future__ import annotations

import numpy as np
from msgspec import Struct

STEEL_PA, STEEL_KG_M3 = 2.02e11, 7850.0
KEYS = 88
A4 = 48  # key 0 is A0
C8 = 87


class Scale(Struct, frozen=True):
    """One piano's strings."""

    name: str
    per_octave: float  # lengths from octave to octave, plain strings
    first_plain: int  # key
    longest_m: float  # A0
    shortest_wound_m: float
    core_mm: tuple[float, float]  # A0, last wound
    tension_n: tuple[float, float]  # the same
    wire_mm: tuple[float, float]  # first plain, C8
    top_m: float = 0.052


SCALES = {
    s.name: s
    for s in (
        Scale("grand 270", 1.88, 20, 2.01, 1.50, (1.50, 1.02), (1250.0, 980.0), (1.15, 0.78)),
        Scale("grand 210", 1.86, 23, 1.56, 1.15, (1.42, 1.00), (1080.0, 900.0), (1.10, 0.78)),
        Scale("grand 155", 1.82, 27, 1.10, 0.86, (1.30, 0.95), (860.0, 720.0), (1.06, 0.76), 0.051),
        Scale("upright 120", 1.81, 28, 1.16, 0.82, (1.26, 0.92), (840.0, 690.0), (1.05, 0.77), 0.050),
        Scale("grand 185", 1.85, 25, 1.34, 1.02, (1.38, 0.98), (980.0, 810.0), (1.08, 0.775), 0.0515),
        Scale("upright 108", 1.82, 30, 0.99, 0.74, (1.22, 0.90), (770.0, 640.0), (1.03, 0.76), 0.0495),
        Scale("grand 227", 1.87, 22, 1.69, 1.26, (1.45, 1.01), (1130.0, 930.0), (1.12, 0.785), 0.0525),
        Scale("upright 125", 1.83, 26, 1.23, 0.88, (1.29, 0.94), (880.0, 730.0), (1.07, 0.77), 0.0505),
    )
}


def strings(scale: Scale) -> tuple[np.ndarray, np.ndarray]:
    """(88,) f0 in Hz and B."""
    key = np.arange(KEYS)
    stiff = _stiffness(scale, key, 440.0 * 2.0 ** ((key - A4) / 12))
    return _tuned(stiff), stiff


def _stiffness(scale: Scale, key: np.ndarray, frequency_hz: np.ndarray) -> np.ndarray:
    wound = key < scale.first_plain
    along = np.clip(key / (scale.first_plain - 1), 0, 1)
    length = np.where(
        wound,
        scale.longest_m + along * (scale.shortest_wound_m - scale.longest_m),
        scale.top_m * scale.per_octave ** ((C8 - key) / 12),
    )
    up = np.clip((key - scale.first_plain) / (C8 - scale.first_plain), 0, 1)
    core, wire = (np.asarray(pair) * 1e-3 for pair in (scale.core_mm, scale.wire_mm))
    across = np.where(wound, core[0] + along * (core[1] - core[0]), wire[0] + up * (wire[1] - wire[0]))
    plain = STEEL_KG_M3 * np.pi * across**2 / 4 * (2 * length * frequency_hz) ** 2
    tension = np.where(wound, scale.tension_n[0] + along * (scale.tension_n[1] - scale.tension_n[0]), plain)
    return np.asarray(np.pi**3 * STEEL_PA * across**4 / (64 * tension * length**2))


def _tuned(stiff: np.ndarray) -> np.ndarray:
    """(88,) f0: each semitone is a twelfth of the beatless octave round it."""
    low = np.arange(KEYS - 12)
    upper = np.where(low < 20, 3, np.where(low < 44, 2, 1))
    lower = 2 * upper
    octave = np.log2(lower / upper) + 0.5 * np.log2((1 + stiff[low] * lower**2) / (1 + stiff[low + 12] * upper**2))
    middle = np.interp(np.arange(KEYS - 1) + 0.5, low + 6, octave)
    up = np.concatenate([[0.0], np.cumsum(middle / 12)])
    first = 440.0 / np.sqrt(1 + stiff[A4])
    return np.asarray(first * 2.0 ** (up - up[A4]))
