"""A scan in which a room rings along: for how long it does, and the poles of the modes.

    room_band(band, bins, values, scale, spectra)   one band's modes, told by their patterns over the strikes
    patterned(values)                               whether the strikes differ enough for that
    room_ring(bands, unexplained)                   the room's own decay
    room_poles(bands, clear)                        each Pole over all bands with the band that tells it

A mode that nothing drives after the blow follows its poles to the noise. In a room every echo drives it anew, and what the poles do not
explain dies away as the room does (fit/state_space.py). Where free modes leave less than ROOM_SHARE of the sound unexplained, their fit is the better one: it reaches the
bound of noise; above, what it takes for modes is half the room's work.
"""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from msgspec import Struct
from numpy.fft import ifft

from tapscan.records import ComplexArray, FloatArray, Pole, RoomRing
from tapscan.signal.fit.bandfit import LEAST_Q
from tapscan.signal.fit.state_space import StateFit, patterns_over_noise, state_fit
from tapscan.signal.fit.subbands import Band, Spectra
from tapscan.signal.plate.decay import T60_NEPER

HZ_A_STRIKE = 3.0  # widest band; a plate has one mode in some 15 Hz
MARGIN, LEAST_MARGIN_HZ = 0.25, 10.0  # band widths on either side
LEAST_S = 1.0  # of the record: in a shorter one the cut of the bands rings like a room, longer ones tell no more
LEAST_PATTERNS = 8  # of all strikes below TOLD_BELOW_HZ; fewer come of places struck alike
TOLD_BELOW_HZ = 600.0  # there modes overlap little, and free ones leave next to nothing unexplained
ROOM_SHARE = 2.2e-3  # -26.6 dB: simulated dry scans lie below -40, those of one tap a place in much noise below -27; a microphone at 0.1 m above -26.5
EARLY_S = 0.05
EDGE_WIDTHS = 0.25  # linewidths past an edge that a band still tells
SAME_WIDTHS, ALIKE = 1.5, 0.5  # linewidths; so near and so alike in pattern, two bands tell one mode
SURE_WIDTHS = 0.5  # linewidths: of what is known worse no mode is made
NOISE_A_PATTERN = 2.0  # mean square a sample: of the sample itself, and of the one it is told from
CLEAR = 10.0  # over the noise: where the room's decay is read
LEAST_SAMPLES, LEAST_BANDS = 6, 3


class RoomBand(Struct, frozen=True, eq=False):
    """One band of S strikes. Series are scaled to noise of mean square 1."""

    band: Band
    fit: StateFit
    rate_hz: float
    lowest_hz: float  # of the bins the series came from: the frequency of z = 1
    scale: FloatArray  # (S,) what the spectra were scaled by
    spectra: Spectra  # only their length is used


def narrowed(bands: Sequence[Band], strikes: int) -> list[Band]:
    """The same bands cut into equal parts, none with more modes than so many strikes can tell apart."""
    parts = []
    for band in bands:
        edges = np.linspace(band.low_hz, band.high_hz, 1 + max(1, round(band.width_hz / (HZ_A_STRIKE * strikes))))
        parts += [Band(float(low), float(high)) for low, high in pairwise(edges)]
    return parts


def room_band(
    band: Band, bins: FloatArray, values: ComplexArray, scale: FloatArray, spectra: Spectra
) -> RoomBand | None:
    """Of spectra (K, S) that were scaled to noise of mean square 1 a sample; None where nothing rings there."""
    many = len(bins)
    series = ifft(values.T, axis=1) * np.sqrt(many / spectra.length)
    rate_hz = many / spectra.duration_s
    fit = state_fit(series, rate_hz, np.pi * band.high_hz / LEAST_Q)
    return None if fit is None else RoomBand(band, fit, rate_hz, float(bins[0]), scale, spectra)


def patterned(values: ComplexArray) -> bool:
    """Whether the strikes differ enough to tell modes by: spectra (K, S), scaled to noise of mean square 1 a bin."""
    bins, strikes = values.shape
    return patterns_over_noise(np.asarray(np.linalg.svd(values, compute_uv=False)), strikes, bins) >= LEAST_PATTERNS


def room_ring(bands: Sequence[RoomBand], unexplained: float) -> RoomRing:
    """The decay of what drives the modes late: median over bands, and between what their middle half lies."""
    share_db = float(10 * np.log10(unexplained + 1e-30))
    times = [t for one in bands if (t := _t60_s(one)) is not None]
    if len(times) < LEAST_BANDS:
        return RoomRing(share_db, None, None, None, f"bands of sound in which it is heard long enough: {len(times)}")
    low, middle, high = np.quantile(times, (0.25, 0.5, 0.75))
    return RoomRing(share_db, float(middle), float(low), float(high))


def _t60_s(one: RoomBand) -> float | None:
    driven = one.fit.driven - NOISE_A_PATTERN * one.fit.rank
    first = max(2, int(EARLY_S * one.rate_hz))
    faint = np.nonzero(driven[first:] < CLEAR * one.fit.rank)[0]
    heard = driven[first : first + faint[0]] if len(faint) else driven[first:]
    if len(heard) < LEAST_SAMPLES:
        return None
    falls = -np.polynomial.Polynomial.fit(np.arange(len(heard)) / one.rate_hz, np.log(heard), 1).convert().coef[1]
    return float(2 * T60_NEPER / falls) if falls > 0 else None


def room_poles(bands: Sequence[RoomBand], clear: float) -> list[tuple[RoomBand, Pole]]:
    """Modes in order of frequency, each with its band; amplitudes at sample 0, by each mode's own course alone.

    clear : least matched-filter level per strike, a ratio of energies. A mode that two neighbouring bands tell, by one pattern, is taken
    from the one that tells it better.
    """
    kept: list[tuple[int, Pole]] = []
    for number, one in enumerate(bands):
        for pole in _poles(one, clear):
            twin = next((k for k, (b, p) in enumerate(kept) if b == number - 1 and _same(p, pole)), None)
            if twin is None:
                kept.append((number, pole))
            elif kept[twin][1].frequency_sd_hz > pole.frequency_sd_hz:
                kept[twin] = number, pole
    return sorted(((bands[b], p) for b, p in kept), key=lambda told: told[1].frequency_hz)


def _poles(one: RoomBand, clear: float) -> list[Pole]:
    """What the band tells within its edges, or so near them that its neighbour may think it ours."""
    fit = one.fit
    turn = np.log(fit.z) * one.rate_hz
    f, d = one.lowest_hz + (turn.imag / (2 * np.pi)) % one.rate_hz, -turn.real
    sd = fit.z_sd * one.rate_hz
    amplitudes, worth = _amplitudes(one)
    edges = one.band.low_hz - EDGE_WIDTHS * d / np.pi, one.band.high_hz + EDGE_WIDTHS * d / np.pi
    good = (
        (d > 0)
        & (np.pi * f > LEAST_Q * d)
        & (worth > clear)
        & (sd < SURE_WIDTHS * 2 * d)
        & (f >= edges[0])
        & (f < edges[1])
    )
    return [
        Pole(
            float(f[i]),
            float(sd[i] / (2 * np.pi)),
            float(d[i]),
            float(sd[i]),
            tuple(complex(a) for a in amplitudes[i]),
            float(10 * np.log10(worth[i])),
        )
        for i in np.nonzero(good)[0]
    ]


def _same(a: Pole, b: Pole) -> bool:
    width = max(a.decay_rate_per_s, b.decay_rate_per_s) / np.pi
    one, other = np.array(a.amplitudes), np.array(b.amplitudes)
    mac = abs(np.vdot(one, other)) ** 2 / (np.vdot(one, one).real * np.vdot(other, other).real)
    return abs(a.frequency_hz - b.frequency_hz) < SAME_WIDTHS * width and mac > ALIKE


def _amplitudes(one: RoomBand) -> tuple[ComplexArray, FloatArray]:
    """(M, S) of x[n] = Re c z^n, and (M,) energy per strike over the noise, by the matched filter on each course."""
    fit = one.fit
    fading = fit.z / np.maximum(1, np.abs(fit.z))  # no ring grows; one that is thought to is dropped later
    ring = fading[:, None] ** np.arange(fit.courses.shape[1])
    ring, courses = ring[:, 1:], fit.courses[:, 1:]  # sample 0 is cut in half by the band's edges
    energy = np.sum(np.abs(ring) ** 2, axis=1)
    onset = np.sum(courses * ring.conj(), axis=1) / energy
    worth = np.abs(onset) ** 2 * energy / len(fit.patterns)
    back = 2 * np.sqrt(one.rate_hz / one.spectra.rate)
    return onset[:, None] * fit.patterns.T * back / one.scale, worth
