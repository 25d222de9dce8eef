"""Find the taps in a recording.

    EnvelopeMeter        fed with blocks, keeps power and peak per millisecond and channel
    Envelope.joined      of the pieces of one recording
    find_strikes(...)    spans (onset, end) of one channel, with the faults seen in the envelope
    onset_sample(...)    the onset within a short stretch of samples, to a fraction of a millisecond
    clipped(...)         whether a stretch holds flattened peaks

A strike is a rise: the power of the differenced signal (which a knock's broad attack lifts and a
ringing plate does not) jumps within a few milliseconds above what came just before it and above
the noise floor. It ends at the noise floor, at the next strike or at the end of the recording.

Conventions: power is the mean square per hop, full scale = 1; times are seconds from the start.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import percentile_filter, uniform_filter1d

from tapscan.records import FloatArray
from tapscan.settings import Settings
from tapscan.signal.strikes.second_order import SecondOrder

HOP_S = 0.001
RUMBLE_HZ = 40.0
KNOCK_HZ = 6000.0  # a blow of half a millisecond has little above; the noise of a fast converter has
SMOOTH_S, BEAT_S, SWELL_S = 0.03, 0.5, 0.15
GROWTH, SWELL = 2.0, 4.0  # of power over the last half second; a bell may swell at first, to 1.7 times
AT_START_S, QUIETER, ATTACK_S, RISEN_AT_START, RISEN = 0.005, 1e-3, 0.02, 1.25, 2.5
LASTING_HOPS = 5  # a strike lasts at least about half of this
OVER_RING = 2.5  # a new blow stands so much over all that rang just before
ATTACK_HOPS = 4
OVER_BEATS = (
    0.5  # of the strongest that rang since the blow, up to two hops before: close modes that beat come back weaker
)
BEFORE_HOPS = 15  # what "just before" means, ms
TINY = 1e-20
PRECURSOR = 10**-1.8
FLOOR_S = 10.0
OVER_FLOOR = 1.6
PIECE_HOPS = 200_000
ROUND_TOP = 10.0  # a round top of three samples or more falls by nine steps at most, half its length on
COARSEST = 1 / 128  # step of 8 bit sound


@dataclass(frozen=True, eq=False)
class Envelope:
    """Per hop and channel: power of the sound above rumble, power of its difference, and the peak."""

    hop_s: float
    power: FloatArray  # (channels, hops)
    edge_power: FloatArray  # (channels, hops), of the first difference under KNOCK_HZ
    peak: FloatArray  # (channels, hops), of the samples as recorded
    constant: tuple[bool, ...]  # per channel: every sample alike (silence, or a constant offset)

    @staticmethod
    def joined(pieces: list["Envelope"]) -> "Envelope":
        """Of pieces that follow each other. The list is emptied: hours of hops are not held twice."""
        hop_s, constant = pieces[0].hop_s, tuple(all(c) for c in zip(*(p.constant for p in pieces), strict=True))
        columns = [[p.power for p in pieces], [p.edge_power for p in pieces], [p.peak for p in pieces]]
        pieces.clear()
        power, edge, peak = (np.concatenate(columns.pop(0), axis=1) for _ in range(3))
        return Envelope(hop_s, power, edge, peak, constant)


def hop_samples(sample_rate_hz: int) -> int:
    """Samples in a hop."""
    return max(1, round(sample_rate_hz * HOP_S))


@dataclass(frozen=True)
class Span:
    """One strike in a channel, to the millisecond."""

    onset_s: float
    end_s: float
    snr_db: float | None  # first 0.5 s over the noise before it
    last_blow_s: float  # from the onset; 0 for a clean single blow
    crowded: bool = False  # the next onset follows before this one can be heard alone
    swells: bool = False  # it grows where a struck plate can only fade


class EnvelopeMeter:
    """Accumulates an Envelope from blocks of any length: memory grows with time, not with rate.

    first : (channels, 1) the recording's first sample, where the blocks begin further on; warm : hops at their beginning that only let the
    filters forget that they begin.
    """

    def __init__(self, sample_rate_hz: int, channels: int, first: FloatArray | None = None, warm: int = 0) -> None:
        self.hop = hop_samples(sample_rate_hz)
        self.rate, self.warm = sample_rate_hz, warm
        self._rumble = SecondOrder.high_pass(RUMBLE_HZ, sample_rate_hz, channels)
        self._knock = SecondOrder.low_pass(min(KNOCK_HZ, 0.4 * sample_rate_hz), sample_rate_hz, channels)
        self._last: FloatArray | None = None
        self._first = first
        self._alike = np.ones(channels, dtype=bool)
        self._rest = np.zeros((channels, 0)), np.zeros((channels, 0)), np.zeros((channels, 0))
        self._parts: list[tuple[FloatArray, FloatArray, FloatArray]] = []

    def add(self, block: FloatArray) -> None:
        """Feed the next (n, channels) samples."""
        x = np.ascontiguousarray(block.T)
        if self._first is None:
            self._first = x[:, :1].copy()
        first = self._first
        self._alike &= (x == first).all(axis=1)
        x0 = x - first  # a constant offset must not look like a step at the start
        high, blunt = self._rumble.filtered(x0), self._knock.filtered(x0)
        edge = np.diff(blunt, axis=1, prepend=blunt[:, :1] if self._last is None else self._last)
        self._last = blunt[:, -1:].copy()
        streams = [high, edge, x]
        if self._rest[0].size:
            streams = [np.concatenate([r, s], axis=1) for r, s in zip(self._rest, streams, strict=True)]
        whole = streams[0].shape[1] // self.hop * self.hop
        self._parts.append(self._reduce([s[:, :whole] for s in streams]))
        self._rest = streams[0][:, whole:], streams[1][:, whole:], streams[2][:, whole:]

    def _reduce(self, streams: list[FloatArray]) -> tuple[FloatArray, FloatArray, FloatArray]:
        high, edge, raw = (s.reshape(s.shape[0], -1, self.hop) for s in streams)
        return _mean_square(high), _mean_square(edge), np.abs(raw).max(axis=2)

    def envelope(self) -> Envelope:
        """What has been fed so far (an incomplete last hop is left out)."""
        power, edge, peak = (np.concatenate(part, axis=1)[:, self.warm :] for part in zip(*self._parts, strict=True))
        self._parts = []  # hours of hops are not held twice
        return Envelope(self.hop / self.rate, power, edge, peak, tuple(bool(a) for a in self._alike))


def _mean_square(hops: FloatArray) -> FloatArray:
    """(channels, hops) of (channels, hops, samples), without another array of that size."""
    return np.asarray(np.einsum("chi,chi->ch", hops, hops) / hops.shape[2])


def noise_floor(power: FloatArray, hop_s: float) -> FloatArray:
    """(hops,) slowly moving floor: the low tenth of the power over some seconds."""
    coarse = max(1, round(0.02 / hop_s))
    n = max(1, len(power) // coarse)
    means = power[: n * coarse].reshape(n, -1).mean(axis=1) if len(power) >= coarse else power.mean(keepdims=True)
    window = round(FLOOR_S / (coarse * hop_s))
    floor = (
        percentile_filter(means, 10, size=window, mode="reflect")
        if n > window
        else np.full(n, np.percentile(means, 10))
    )
    fine = np.interp(np.arange(len(power), dtype=float), (np.arange(n) + 0.5) * coarse, floor)
    fine += TINY
    return np.asarray(fine)


def find_strikes(envelope: Envelope, channel: int, settings: Settings) -> list[Span]:
    """Strikes of one channel, in time order."""
    power, edge = envelope.power[channel], envelope.edge_power[channel]
    if envelope.constant[channel] or power.size < 3:
        return []
    onsets = _onsets(edge, noise_floor(edge, envelope.hop_s), envelope.hop_s, settings)
    ends = [*onsets[1:], len(power)][: len(onsets)]
    quiet = noise_floor(power, envelope.hop_s)
    return [_span(envelope, channel, a, b, quiet, settings) for a, b in zip(onsets, ends, strict=True)]


def _onsets(edge: FloatArray, floor: FloatArray, hop_s: float, settings: Settings) -> list[int]:
    """Hops at which the differenced power jumps; the strongest jump within a gap stands for it."""
    gap = round(settings.strikes.gap_s / hop_s)
    least = edge.max() * 10 ** (-settings.strikes.range_db / 10)
    over = np.zeros(len(edge), dtype=bool)
    around = gap + BEFORE_HOPS
    for start in range(0, len(edge), PIECE_HOPS):  # hours in pieces that look a little past their ends
        first, stop = max(0, start - around), start + PIECE_HOPS
        piece = slice(first, stop + around)
        over[start:stop] = _stands_out(edge[piece], floor[piece], gap, settings)[start - first : stop - first]
    over &= edge > least
    onsets: list[int] = []
    for hop in np.flatnonzero(over):
        if not onsets or hop - onsets[-1] >= gap:
            onsets.append(_past_precursor(edge, int(hop), over, gap))
    return onsets


def _stands_out(edge: FloatArray, floor: FloatArray, gap: int, settings: Settings) -> NDArray[np.bool_]:
    """Where the power exceeds what came just before, the floor and all that rang within the gap before."""
    rise, gate = 10 ** (settings.strikes.rise_db / 10), 10 ** (settings.strikes.gate_db / 10)
    before = _mean_before(edge, BEFORE_HOPS)
    limit = np.maximum.reduce([rise * before, gate * floor, OVER_RING * _most_before(edge, gap)])
    return np.asarray(np.minimum(edge, _mostly_after(edge)) > limit)


def _most_before(edge: FloatArray, hops: int) -> FloatArray:
    """Largest of the hops before each, the two nearest left out: modes that beat come back so far."""
    padded = np.concatenate([np.zeros(hops + 1), edge])[: len(edge) + hops - 1]
    return np.lib.stride_tricks.sliding_window_view(padded, hops).max(axis=1)[: len(edge)]


def _mostly_after(edge: FloatArray) -> FloatArray:
    """Median of each hop and the next few: a click of one sample is no strike."""
    padded = np.concatenate([edge, np.zeros(LASTING_HOPS - 1)])
    return np.median(np.lib.stride_tricks.sliding_window_view(padded, LASTING_HOPS), axis=1)


def _past_precursor(edge: FloatArray, hop: int, over: NDArray[np.bool_], gap: int) -> int:
    """A faint click before the blow (a sleeve, a finger on the hammer) is not the onset."""
    loudest = edge[hop : hop + gap].max()
    for later in hop + np.flatnonzero(over[hop : hop + gap]):
        if edge[later : later + 3].max() > loudest * PRECURSOR:
            return int(later)
    return hop


def _mean_before(x: FloatArray, hops: int) -> FloatArray:
    """Mean of the `hops` values before each, leaving out the nearest (the attack may straddle it)."""
    sums = np.concatenate([[0.0], np.cumsum(x)])
    i = np.arange(len(x))
    stop = np.maximum(i - 1, 0)
    start = np.maximum(stop - hops, 0)
    return (sums[stop] - sums[start]) / np.maximum(stop - start, 1) + TINY


def _span(envelope: Envelope, channel: int, onset: int, end: int, quiet: FloatArray, settings: Settings) -> Span:
    power, hop_s = envelope.power[channel], envelope.hop_s
    longest = onset + round(settings.strikes.longest_s / hop_s)
    stop = min(end, longest)
    smooth = uniform_filter1d(power[onset:stop], max(1, round(0.03 / hop_s)), mode="nearest")
    above = np.flatnonzero(smooth > OVER_FLOOR * quiet[onset:stop])  # the last place over the floor ends it
    stop = onset + (int(above[-1]) + 1 if above.size else len(smooth))
    edge = envelope.edge_power[channel]
    grown = onset + _grows_again(edge[onset:stop], hop_s)
    least = round(settings.strikes.alone_s / hop_s)
    return Span(
        onset_s=onset * hop_s,
        end_s=min(stop, grown) * hop_s,
        snr_db=_snr_db(power, onset, stop, hop_s),
        last_blow_s=_last_blow_s(edge, onset, end, hop_s, settings),
        crowded=end < len(power) and end - onset < least,
        swells=grown < min(stop, onset + least) or _attackless(edge[:stop], onset, hop_s),
    )


def _grows_again(edge: FloatArray, hop_s: float) -> int:
    """Hop at which something else than the ring begins: free modes may beat, yet each beat is weaker than those before."""
    smooth = uniform_filter1d(edge, round(SMOOTH_S / hop_s), mode="nearest")
    back, near = round(BEAT_S / hop_s), round(2 * SMOOTH_S / hop_s)
    padded = np.concatenate([np.full(back, smooth[0]), smooth])
    before = np.lib.stride_tricks.sliding_window_view(padded, back - near).max(axis=1)[: len(smooth)]
    limit = np.where(np.arange(len(smooth)) * hop_s < SWELL_S, SWELL, GROWTH)
    growing = np.flatnonzero(smooth > limit * before)
    growing = growing[growing > near]
    return max(1, int(growing[0]) - near) if growing.size else len(edge)


def _attackless(edge: FloatArray, onset: int, hop_s: float) -> bool:
    """Louder later than in what should be the attack; less is allowed where the recording begins inside the sound."""
    attack = round(ATTACK_S / hop_s)
    ring = uniform_filter1d(edge[onset : onset + round(BEAT_S / hop_s)], round(0.005 / hop_s), mode="nearest")
    quiet_before = edge[:onset].min(initial=edge[onset]) < QUIETER * edge[onset : onset + 4].max()
    within = onset * hop_s <= AT_START_S and not quiet_before
    return bool(ring[attack:].max(initial=0.0) > (RISEN_AT_START if within else RISEN) * ring[:attack].max())


def _snr_db(power: FloatArray, onset: int, stop: int, hop_s: float) -> float | None:
    """First 0.5 s against the quarter second before; None where nothing lies before the strike."""
    before = power[max(0, onset - round(0.25 / hop_s)) : max(0, onset - 2)]
    if before.size < round(0.02 / hop_s):
        return None
    signal = power[onset : min(stop, onset + round(0.5 / hop_s))].mean()
    return float(10 * np.log10((signal + TINY) / (np.median(before) + TINY)))


def _last_blow_s(edge: FloatArray, onset: int, end: int, hop_s: float, settings: Settings) -> float:
    """Time of the last further blow within the gap: it rises sharply, nearly as strong as the first."""
    start, stop = onset + round(0.006 / hop_s), min(end, onset + round(settings.strikes.gap_s / hop_s))
    if stop <= start:
        return 0.0
    first = edge[onset : onset + 4].max()
    later = edge[start:stop]
    strong = later > first * 10 ** (settings.strikes.double_hit_db / 10)
    rising = later > 10 * _mean_before(edge[onset:stop], 4)[start - onset :]
    ring = np.maximum.accumulate(edge[onset + ATTACK_HOPS : stop])  # since the first blow's own attack
    beats = OVER_BEATS * ring[np.maximum(np.arange(len(later)) + start - onset - ATTACK_HOPS - 2, 0)]
    blows = np.flatnonzero(strong & rising & (later > beats))
    return float((start + blows[-1] - onset) * hop_s) if blows.size else 0.0


def onset_sample(samples: FloatArray, guess: int, sample_rate_hz: int) -> int:
    """First sample of the attack near `guess`: where it leaves the noise by a tenth of its first peak.

    samples : (n,) float64. Looks 4 ms back and 3 ms ahead of the guess.
    """
    back, ahead = round(0.004 * sample_rate_hz), round(0.003 * sample_rate_hz)
    start = max(0, guess - back)
    stretch = np.abs(samples[start : guess + ahead] - np.median(samples[start : max(start + 1, guess - back // 4)]))
    if stretch.size == 0:
        return guess
    noise = stretch[: max(1, back // 4)].max() if guess - start > back // 2 else 0.0
    level = max(0.1 * stretch.max(), min(1.5 * noise, 0.5 * stretch.max()))
    return start + int(np.argmax(stretch >= level))


def clipped(samples: FloatArray, run: int) -> bool:
    """Whether `run` equal samples in a row stand at the extreme, in two places or one long stretch.

    A flat top is looked for at the largest value itself, since gain after the clipping may have moved it
    off full scale. One short flat top is a quiet sine's own peak at coarse resolution, so it takes more; and
    the sound must break off at the flat top's edge, where a slow sine's round top falls away gently.
    samples : (n,) full scale = 1.
    """
    top = np.abs(samples).max(initial=0.0)
    if top < 0.02:
        return False
    least = ROUND_TOP * _step(samples, top)
    runs = np.concatenate([_flat_tops(samples, top, least), _flat_tops(-samples, top, least)])
    return bool((runs >= run).sum() >= 2 or (runs >= 4 * run).any())


def _flat_tops(samples: FloatArray, top: float, least: float) -> NDArray[np.intp]:
    """Lengths of the stretches at `top` that have fallen by `least` half their length beyond an edge."""
    flat = samples >= top * (1 - 1e-4)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], flat.astype(np.int8), [0]])))
    starts, stops = edges[::2], edges[1::2]
    half = (stops - starts + 1) // 2
    padded = np.concatenate([[-top], samples, [-top]])  # a flat top cut off at either end is one
    beside = np.minimum(padded[np.maximum(starts - half + 1, 0)], padded[np.minimum(stops + half, len(padded) - 1)])
    return (stops - starts)[top - beside > least]


def _step(samples: FloatArray, top: float) -> float:
    """The resolution of the samples, or what counts as equal to `top` where that is coarser."""
    steps = np.abs(np.diff(samples))
    return max(1e-4 * top, float(np.min(steps, where=steps > 1e-9, initial=COARSEST)))
