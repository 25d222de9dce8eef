"""Cuts strikes out of sound as it comes, with the quiet before each.

    Trigger(sample_rate_hz, settings)
        .feed(samples, lost)      (n,) the next samples; returns the Clips that are complete
        .deaf_between(a, b)       hears nothing from a to b seconds from now: a beep comes by then
        .level_db                 of the last tenth of a second, dB re full scale

Works on any block sizes and gives the same clips for all. It only finds where something rises out of the noise; whether that
is a strike is judged on the clip (workflow/judging.py) as it is for a file. Power is that of the differenced signal per
millisecond, which a knock lifts and a ringing plate does not, as in signal/strikes/detect.py.
"""

from collections import deque

import numpy as np
from msgspec import Struct

from tapscan.onset import BEFORE_HOPS, HOP_S, OVER_FLOOR, OVER_RING
from tapscan.records import FloatArray
from tapscan.settings import Settings

LOOK_AHEAD = 4  # hops: a click of one sample is no strike
COARSE = 20  # hops a value of the floor's memory
FLOOR_VALUES = 500  # 10 s
LEARN_VALUES = 15  # 0.3 s of sound before anything is taken for a strike
SMOOTH = 30  # hops
QUIET = 60  # hops under the floor's edge that end a ring
TINY = 1e-20


class Clip(Struct, frozen=True, eq=False):
    """What rose out of the noise, as recorded."""

    samples: FloatArray  # (n,) float32: the quiet before, then the sound
    sample_rate_hz: int
    onset_s: float  # from the start of the clip, to a few milliseconds
    at_s: float  # onset on the clock of all samples ever fed
    next_s: float | None  # from the onset to the next rise that ended it; None: it ended by itself
    lost: int  # pieces of sound lost within


class Trigger:
    """See the module."""

    def __init__(self, sample_rate_hz: int, settings: Settings) -> None:
        self.rate = sample_rate_hz
        self.hop = max(1, round(HOP_S * sample_rate_hz))
        self.hop_s = self.hop / sample_rate_hz
        self._rise = 10 ** (settings.strikes.rise_db / 10)
        self._gate = 10 ** (settings.strikes.gate_db / 10)
        self._gap = round(settings.strikes.gap_s / self.hop_s)
        self._longest = round(settings.strikes.longest_s / self.hop_s)
        self._lead = round(settings.recorder.lead_s / self.hop_s)
        self._rest = np.empty(0, dtype=np.float32)
        self._last = 0.0
        self._hops: deque[FloatArray] = deque(maxlen=self._lead + self._longest + 2 * COARSE)
        self._edge: deque[float] = deque(maxlen=self._gap + BEFORE_HOPS + LOOK_AHEAD + 2)
        self._power: deque[float] = deque(maxlen=100)
        self._floors = np.empty((2, FLOOR_VALUES))  # the newest stands in the place of the oldest
        self._learnt = 0
        self._sums = [0.0, 0.0, 0]
        self._edge_floor = self._power_floor = np.inf
        self._count = 0  # hops fed
        self._onset: int | None = None  # hop of the strike that is sounding
        self._free_from = 0  # hop from which a new onset counts
        self._deaf: list[tuple[int, int]] = []  # hops from, to
        self._quiet = 0
        self._lost = 0

    @property
    def level_db(self) -> float:
        """-200 before anything came."""
        return 10 * float(np.log10(np.mean(self._power) + TINY)) if self._power else -200.0

    @property
    def floor_db(self) -> float | None:
        """Of the quiet, dB re full scale; None while it is being learnt."""
        return 10 * float(np.log10(self._power_floor + TINY)) if np.isfinite(self._power_floor) else None

    @property
    def clock_s(self) -> float:
        """Of all that was fed."""
        return self._count * self.hop_s

    @property
    def sounding_since_s(self) -> float | None:
        """Onset of what is sounding now, on the same clock."""
        return None if self._onset is None else self._onset * self.hop_s

    @property
    def deaf(self) -> bool:
        """Whether a beep keeps it from hearing, or soon will."""
        return bool(self._deaf)

    def deaf_between(self, from_s: float, to_s: float) -> None:
        """What sounds then is dropped; what is still to be read before then is not."""
        self._deaf.append((self._count + round(from_s / self.hop_s), self._count + round(to_s / self.hop_s)))

    def feed(self, samples: FloatArray, lost: int = 0) -> list[Clip]:
        """`lost` pieces are missing before these samples."""
        if lost and self._onset is not None:
            self._lost += lost
        x = np.concatenate([self._rest, np.asarray(samples, dtype=np.float32)])
        whole = len(x) // self.hop
        self._rest = x[whole * self.hop :]
        found = []
        rows = x[: whole * self.hop].reshape(whole, self.hop)
        wide = rows.astype(float)
        power = (wide**2).mean(axis=1)
        edge = (np.diff(wide, axis=1, prepend=np.concatenate([[self._last], wide[:-1, -1]])[:whole, None]) ** 2).mean(
            axis=1
        )
        if whole:
            self._last = float(wide[-1, -1])
        for row, p, e in zip(rows, power.tolist(), edge.tolist(), strict=True):
            clip = self._one(row, p, e)
            if clip is not None:
                found.append(clip)
        return found

    def _one(self, row: FloatArray, power: float, edge: float) -> Clip | None:
        self._hops.append(row)
        self._power.append(power)
        self._edge.append(edge)
        self._count += 1
        self._learn(power, edge)
        here = self._count - 1 - LOOK_AHEAD  # the hop that is judged now
        if self._is_deaf(here):
            self._onset = None
            return None
        if self._onset is None:
            if here >= self._free_from and self._rises():
                self._begin(here)
            return None
        since = here - self._onset
        if since >= self._gap and self._rises():
            clip = self._cut(here, (here - self._onset) * self.hop_s)
            self._begin(here)
            return clip
        return self._ended(power)

    def _is_deaf(self, here: int) -> bool:
        self._deaf = [(a, b) for a, b in self._deaf if b > here]
        return any(a <= here for a, _ in self._deaf)

    def _begin(self, hop: int) -> None:
        self._onset, self._quiet, self._lost = hop, 0, 0

    def _ended(self, power: float) -> Clip | None:
        """The ring fell to the noise, or is as long as is wanted."""
        assert self._onset is not None
        recent = list(self._power)[-SMOOTH:]
        self._quiet = self._quiet + 1 if sum(recent) / len(recent) < OVER_FLOOR * self._power_floor else 0
        length = self._count - self._onset
        if length >= self._longest or (self._quiet >= QUIET and length >= self._gap + QUIET):
            clip = self._cut(self._count, None)
            self._onset, self._free_from = None, self._count
            return clip
        return None

    def _learn(self, power: float, edge: float) -> None:
        if power == 0.0:  # digital silence is no room: a floor learnt from it would take all that follows for a strike
            return
        self._sums[0] += power
        self._sums[1] += edge
        self._sums[2] += 1
        if self._sums[2] < COARSE:
            return
        self._floors[:, self._learnt % FLOOR_VALUES] = self._sums[0] / COARSE, self._sums[1] / COARSE
        self._sums = [0.0, 0.0, 0]
        self._learnt += 1
        if self._learnt >= LEARN_VALUES:
            power_floor, edge_floor = np.sort(self._floors[:, : self._learnt], axis=1)
            self._power_floor, self._edge_floor = _tenth(power_floor) + TINY, _tenth(edge_floor) + TINY

    def _rises(self) -> bool:
        """Whether the hop LOOK_AHEAD ago stands out of the floor, of what came just before it and of what rang."""
        if len(self._edge) < BEFORE_HOPS + LOOK_AHEAD + 2 or not np.isfinite(self._edge_floor):
            return False
        edge = list(self._edge)
        place = len(edge) - 1 - LOOK_AHEAD
        told = min(edge[place], sorted(edge[place : place + 5])[2])
        if told <= self._gate * self._edge_floor:
            return False
        before = edge[max(0, place - 1 - BEFORE_HOPS) : place - 1]
        if told <= self._rise * (sum(before) / len(before) + TINY):
            return False
        return told > OVER_RING * max(edge[max(0, place - self._gap) : place - 1])

    def _cut(self, end: int, next_s: float | None) -> Clip:
        """From the lead before the onset to hop `end`."""
        assert self._onset is not None
        oldest = self._count - len(self._hops)
        first = max(oldest, self._onset - self._lead)
        rows = [self._hops[i - oldest] for i in range(first, end)]
        onset_s = (self._onset - first) * self.hop_s
        return Clip(np.concatenate(rows), self.rate, onset_s, self._onset * self.hop_s, next_s, self._lost)


def _tenth(ordered: FloatArray) -> float:
    """What a tenth of the values in order lies under: numpy's percentile of 10, without its overhead fifty times a second."""
    place = 0.1 * (len(ordered) - 1)
    below = int(place)
    low, high, share = float(ordered[below]), float(ordered[below + 1]), place - below
    return low + (high - low) * share if share < 0.5 else high - (high - low) * (1 - share)
