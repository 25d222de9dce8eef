"""The measures of decay and how they hang together, exact for a linear single mode.

    x(t) = A exp(-decay_rate t) cos(2 pi f t + phase)

    decay_rate  1/s           t60      s, to -60 dB: 3 ln 10 / decay_rate
    q           pi f / rate   loss_factor = 1 / q
    log_decrement = rate / f  bandwidth_hz = rate / pi (at -3 dB)

f is the frequency seen in the ring. Source: textbook identities, from memory; checked numerically.
"""

import math

T60_NEPER = 3 * math.log(10)


def t60_s(decay_rate_per_s: float) -> float:
    """Time to -60 dB in s, for a decay rate in 1/s."""
    return T60_NEPER / decay_rate_per_s


def q_factor(frequency_hz: float, decay_rate_per_s: float) -> float:
    """Quality factor, from the undamped frequency: pi f0 / decay_rate."""
    return 0.5 * math.hypot(2 * math.pi * frequency_hz, decay_rate_per_s) / decay_rate_per_s


def loss_factor(frequency_hz: float, decay_rate_per_s: float) -> float:
    """Loss factor 1 / Q."""
    return 1 / q_factor(frequency_hz, decay_rate_per_s)


def log_decrement(frequency_hz: float, decay_rate_per_s: float) -> float:
    """Natural logarithm of the ratio of successive amplitudes."""
    return decay_rate_per_s / frequency_hz


def bandwidth_hz(decay_rate_per_s: float) -> float:
    """Width of the resonance 3 dB under its top."""
    return decay_rate_per_s / math.pi
