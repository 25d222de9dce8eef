"""Find the taps in a recording.

    EnvelopeMeter        fed with blocks, keeps power per millisecond and channel
    Envelope.put         one piece of a recording after the other
    find_strikes(...)    spans (onset, end) of one channel, with the faults seen in the envelope
    onset_sample(...)    the onset within a short stretch of samples, to a fraction of a millisecond
    clipped(...)         whether a stretch holds flattened peaks

A strike is a rise: the power of the differenced signal (which a knock's broad attack lifts and a
ringing plate does not) jumps within a few milliseconds above what came just before it and above
the noise floor. It ends at the noise floor, at the next strike or at the end of the recording.

Conventions: power is the mean square per hop, full scale = 1; times are seconds from the start.
"""

from collections.abc import Iterator

import numpy as np
from msgspec import Struct
from msgspec.structs import replace
from numpy.typing import NDArray

from tapscan.onset import BEFORE_HOPS, HOP_S, OVER_FLOOR, OVER_RING
from tapscan.records import FloatArray
from tapscan.settings import Settings
from tapscan.signal.strikes.hop_power import HopPower
from tapscan.signal.strikes.running import largest_on_end, low_around, mean_around, median_after

SMOOTH_S, BEAT_S, SWELL_S = 0.03, 0.5, 0.15
GROWTH, SWELL = 2.0, 4.0  # of power over the last half second; a bell may swell at first, to 1.7 times
AT_START_S, QUIETER, ATTACK_S, RISEN_AT_START, RISEN = 0.005, 1e-3, 0.02, 1.25, 2.5
LASTING_HOPS = 5  # a strike lasts at least about half of this
ATTACK_HOPS = 4
OVER_BEATS = (
    0.5  # of the strongest that rang since the blow, up to two hops before: close modes that beat come back weaker
)
TINY = 1e-20
PRECURSOR = 10**-1.8
FLOOR_S, COARSE_S = 10.0, 0.02
PIECE_HOPS = 200_000
ROUND_TOP = 10.0  # a round top of three samples or more falls by nine steps at most, half its length on
COARSEST = 1 / 128  # step of 8 bit sound


class Envelope(Struct, frozen=True, eq=False):
    """Per hop and channel: power of the sound above rumble, and power of its difference."""

    hop_s: float
    power: FloatArray  # (channels, hops)
    edge_power: FloatArray  # (channels, hops), of the first difference under KNOCK_HZ
    constant: tuple[bool, ...]  # per channel: every sample alike (silence, or a constant offset)

    def room_for(self, hops: int) -> "Envelope":
        """For a recording of so many of which this is the first piece; `put` fills it."""
        both = np.zeros((2, len(self.power), hops))
        return Envelope(self.hop_s, both[0], both[1], (True,) * len(self.power))

    def put(self, first: int, piece: "Envelope") -> "Envelope":
        """With a piece from hop `first` on; hours of hops are not held twice."""
        hops = slice(first, first + piece.power.shape[1])
        self.power[:, hops], self.edge_power[:, hops] = piece.power, piece.edge_power
        return replace(self, constant=tuple(a and b for a, b in zip(self.constant, piece.constant, strict=True)))


def hop_samples(sample_rate_hz: int) -> int:
    """Samples in a hop."""
    return max(1, round(sample_rate_hz * HOP_S))


class Span(Struct, frozen=True):
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
        self._power = HopPower(self.hop, sample_rate_hz, channels)
        self._first = first
        self._alike = np.ones(channels, dtype=bool)
        self._rest = np.zeros((channels, 0))
        self._parts: list[FloatArray] = []

    def add(self, block: FloatArray) -> None:
        """Feed the next (n, channels) samples."""
        x = np.ascontiguousarray(block.T)
        if not x.size:
            return
        if self._first is None:
            self._first = x[:, :1].copy()
        if self._alike.any():
            self._alike &= (x == self._first).all(axis=1)
        if self._rest.size:
            x = np.concatenate([self._rest, x], axis=1)
        whole = x.shape[1] // self.hop * self.hop
        if whole:  # a constant offset must not look like a step at the start
            self._parts.append(self._power.of(x[:, :whole], self._first))
        self._rest = x[:, whole:]

    def envelope(self) -> Envelope:
        """What has been fed so far (an incomplete last hop is left out)."""
        none = np.empty((len(self._alike), 2, 0))
        power = np.concatenate([none, *self._parts], axis=2)[:, :, self.warm :]
        self._parts = []  # hours of hops are not held twice
        alike = tuple(bool(a) for a in self._alike)
        return Envelope(self.hop / self.rate, power[:, 0], power[:, 1], alike)


class NoiseFloor:
    """Slowly moving floor: the low tenth of the power over some seconds. Hours of it are not held, but made where they are asked for."""

    def __init__(self, power: FloatArray, hop_s: float) -> None:
        self.coarse = coarse = max(1, round(COARSE_S / hop_s))
        n = max(1, len(power) // coarse)
        means = power[: n * coarse].reshape(n, -1).mean(axis=1) if len(power) >= coarse else power.mean(keepdims=True)
        window = round(FLOOR_S / (coarse * hop_s))
        self.means = low_around(means, 10, window) if n > window else np.full(n, np.percentile(means, 10))
        self.middles = (np.arange(n) + 0.5) * coarse

    def between(self, first: int, stop: int) -> FloatArray:
        """(stop - first,) of these hops: lines between means that each stand in the middle of theirs, level before the first and after the last."""
        return self.at(np.arange(first, stop))

    def at(self, hops: NDArray[np.intp]) -> FloatArray:
        """The same of any hops."""
        return np.interp(hops.astype(float), self.middles, self.means) + TINY


def find_strikes(envelope: Envelope, channel: int, settings: Settings) -> list[Span]:
    """Strikes of one channel, in time order."""
    power, edge = envelope.power[channel], envelope.edge_power[channel]
    if envelope.constant[channel] or power.size < 3:
        return []
    onsets = _onsets(edge, NoiseFloor(edge, envelope.hop_s), envelope.hop_s, settings)
    ends = [*onsets[1:], len(power)][: len(onsets)]
    quiet = NoiseFloor(power, envelope.hop_s)
    return [_span(envelope, channel, a, b, quiet, settings) for a, b in zip(onsets, ends, strict=True)]


def _onsets(edge: FloatArray, floor: NoiseFloor, hop_s: float, settings: Settings) -> list[int]:
    """Hops at which the differenced power jumps; the strongest jump within a gap stands for it."""
    gap = round(settings.strikes.gap_s / hop_s)
    least = edge.max() * 10 ** (-settings.strikes.range_db / 10)
    over = np.zeros(len(edge), dtype=bool)
    for hops in _loud(edge, floor, least, gap + BEFORE_HOPS, settings):
        first, stop = max(0, hops[0] - gap - BEFORE_HOPS), hops[-1] + gap + BEFORE_HOPS
        stands = _stands_out(edge[first:stop], floor.between(first, min(stop, len(edge))), gap, settings)
        over[hops] = stands[hops - first]
    onsets: list[int] = []
    for hop in np.flatnonzero(over):
        if not onsets or hop - onsets[-1] >= gap:
            onsets.append(_past_precursor(edge, int(hop), over, gap))
    return onsets


def _loud(
    edge: FloatArray, floor: NoiseFloor, least: float, around: int, settings: Settings
) -> Iterator[NDArray[np.intp]]:
    """Hops that may be onsets by their power alone, those together that lie no further than `around` from each other: hours are quiet for the most part."""
    gate = 10 ** (settings.strikes.gate_db / 10)
    for start in range(0, len(edge), PIECE_HOPS):
        piece = edge[start : start + PIECE_HOPS]
        loud = np.flatnonzero(piece > least)
        loud = loud[piece[loud] > gate * floor.at(start + loud)]
        yield from (start + hops for hops in np.split(loud, np.flatnonzero(np.diff(loud) > around) + 1) if hops.size)


def _stands_out(edge: FloatArray, floor: FloatArray, gap: int, settings: Settings) -> NDArray[np.bool_]:
    """Where the power exceeds what came just before, the floor and all that rang within the gap before."""
    rise, gate = 10 ** (settings.strikes.rise_db / 10), 10 ** (settings.strikes.gate_db / 10)
    before = _mean_before(edge, BEFORE_HOPS)
    limit = np.maximum(np.maximum(rise * before, gate * floor), OVER_RING * _most_before(edge, gap))
    return np.asarray(np.minimum(edge, _mostly_after(edge)) > limit)


def _most_before(edge: FloatArray, hops: int) -> FloatArray:
    """Largest of the hops before each, the two nearest left out: modes that beat come back so far."""
    return largest_on_end(np.concatenate([np.zeros(hops + 1), edge]), hops)[: len(edge)]


def _mostly_after(edge: FloatArray) -> FloatArray:
    """Median of each hop and the next few: a click of one sample is no strike."""
    return median_after(edge, LASTING_HOPS)


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
    stop = np.maximum(np.arange(min(len(x), hops + 1)) - 1, 0)  # the first have fewer before them
    few, many = sums[stop] / np.maximum(stop, 1), (sums[hops:-2] - sums[: -2 - hops]) / hops
    return np.concatenate([few, many]) + TINY


def _span(envelope: Envelope, channel: int, onset: int, end: int, quiet: NoiseFloor, settings: Settings) -> Span:
    power, hop_s = envelope.power[channel], envelope.hop_s
    longest = onset + round(settings.strikes.longest_s / hop_s)
    stop = min(end, longest)
    smooth = mean_around(power[onset:stop], max(1, round(0.03 / hop_s)))
    above = np.flatnonzero(smooth > OVER_FLOOR * quiet.between(onset, stop))  # the last place over the floor ends it
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
    smooth = mean_around(edge, round(SMOOTH_S / hop_s))
    back, near = round(BEAT_S / hop_s), round(2 * SMOOTH_S / hop_s)
    padded = np.concatenate([np.full(back, smooth[0]), smooth])
    before = largest_on_end(padded, back - near)[: len(smooth)]
    limit = np.where(np.arange(len(smooth)) * hop_s < SWELL_S, SWELL, GROWTH)
    growing = np.flatnonzero(smooth > limit * before)
    growing = growing[growing > near]
    return max(1, int(growing[0]) - near) if growing.size else len(edge)


def _attackless(edge: FloatArray, onset: int, hop_s: float) -> bool:
    """Louder later than in what should be the attack; less is allowed where the recording begins inside the sound."""
    attack = round(ATTACK_S / hop_s)
    ring = mean_around(edge[onset : onset + round(BEAT_S / hop_s)], round(0.005 / hop_s))
    within = onset * hop_s <= AT_START_S and not _quiet_before(edge, onset)
    return bool(ring[attack:].max(initial=0.0) > (RISEN_AT_START if within else RISEN) * ring[:attack].max())


def _quiet_before(edge: FloatArray, onset: int) -> bool:
    return bool(edge[:onset].min(initial=edge[onset]) < QUIETER * edge[onset : onset + 4].max())


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
