"""Cuts keys that are played out of sound as it comes, with the quiet before each and what is heard after it.

    NoteCatcher(sample_rate_hz, settings)
        .feed(samples, lost)      (n,) the next samples; returns the Clips that are complete
        .deaf_between(a, b)       a key that is struck from a to b seconds from now is not taken: a beep comes by then
        .level_db, .floor_db      of the last tenth of a second, and of the quiet, dB re full scale

Where a key begins is told as in a recording that is imported (signal/notes/onsets.py), looked for again every fifth of a second. Any block sizes give the same
clips. A clip ends two seconds after its key, or with the next one: a tone that rings on is fainter than the room at first sight, so silence is no sign that a note is over.
"""

from collections import deque

import numpy as np
from numpy.typing import NDArray

from tapscan.recording.trigger import Clip
from tapscan.records import FloatArray
from tapscan.settings import Settings
from tapscan.signal.notes.onsets import NoteLevels, note_onsets

LEAD_S = 0.7  # kept before the key
AFTER_S = 2.0  # and after it: one held for half a second is then listened to for a second after its damper
NEXT_S = 1.1  # so late another key ends the clip; sooner it may be the key that comes back
LOOK_S, SEEN_S = 0.2, 4.0  # how often, and how far back
SURE_S = 0.25  # so old an onset must be to be told from what follows
FRAME_S, FLOOR_S = 0.02, 10.0
LEARN_FRAMES = 25  # half a second of sound before a key is taken
TINY = 1e-20
Samples = NDArray[np.float32]


class NoteCatcher:
    """See the module; it stands where a Trigger stands for taps."""

    def __init__(self, sample_rate_hz: int, settings: Settings) -> None:
        self.rate, self.settings = sample_rate_hz, settings
        self._sound: Samples = np.empty(0, dtype=np.float32)  # the newest
        self._count = 0  # samples fed
        self._look_at = 0  # sample at which is looked next
        self._onset: int | None = None  # sample of the key that sounds
        self._free_from = 0
        self._deaf: list[tuple[int, int]] = []
        self._losses: list[tuple[int, int]] = []  # where, how many pieces
        self._levels: deque[float] = deque(maxlen=round(FLOOR_S / FRAME_S))

    @property
    def level_db(self) -> float:
        """-200 before anything came."""
        newest = self._sound[-round(0.1 * self.rate) :].astype(float)
        return 10 * float(np.log10(np.mean(newest**2) + TINY)) if len(newest) else -200.0

    @property
    def floor_db(self) -> float | None:
        """None while it is being learnt."""
        return float(np.percentile(self._levels, 10)) if len(self._levels) >= LEARN_FRAMES else None

    @property
    def clock_s(self) -> float:
        """Of all that was fed."""
        return self._count / self.rate

    @property
    def sounding_since_s(self) -> float | None:
        """Onset of the key that sounds, on the same clock."""
        return None if self._onset is None else self._onset / self.rate

    @property
    def deaf(self) -> bool:
        """Whether a beep keeps it from hearing, or soon will."""
        return any(b > self._count for _, b in self._deaf)

    def deaf_between(self, from_s: float, to_s: float) -> None:
        """A key struck then is passed over."""
        self._deaf.append((self._count + round(from_s * self.rate), self._count + round(to_s * self.rate)))

    def feed(self, samples: FloatArray, lost: int = 0) -> list[Clip]:
        """`lost` pieces are missing before these samples."""
        x = np.asarray(samples, dtype=np.float32)
        if not len(self._sound) and not x.any():
            return []  # digital silence before the input wakes is no room: the first sound would pass for a key
        if lost:
            self._losses.append((self._count, lost))
        found = []
        while len(x):
            part = x[: max(1, self._look_at - self._count)]
            x = x[len(part) :]
            self._add(part)
            if self._count >= self._look_at:
                self._look_at = self._count + round(LOOK_S * self.rate)
                found += self._look()
        return found

    def _add(self, part: Samples) -> None:
        frame, before = round(FRAME_S * self.rate), self._count
        self._sound = np.concatenate([self._sound, part])[-round((SEEN_S + LEAD_S + AFTER_S) * self.rate) :]
        self._count += len(part)
        for end in range((before // frame + 1) * frame, self._count + 1, frame):
            cut = self._between(end - frame, end).astype(float)
            if cut.any():
                self._levels.append(10 * float(np.log10(np.mean(cut**2) + TINY)))

    def _between(self, first: int, last: int) -> Samples:
        """Samples by their number; those no longer kept are left out."""
        oldest = self._count - len(self._sound)
        return self._sound[max(0, first - oldest) : max(0, last - oldest)]

    def _look(self) -> list[Clip]:
        if self._onset is None:
            self._onset = self._new_onset(self._free_from)
        if self._onset is None:
            return []
        end = self._onset + round(AFTER_S * self.rate)
        following = self._new_onset(self._onset + round(NEXT_S * self.rate))
        if following is None and self._count < end + round(SURE_S * self.rate):
            return []
        if following is not None and following < end:
            clip = self._cut(self._onset, following, (following - self._onset) / self.rate)
        else:
            clip = self._cut(self._onset, end, None)
        self._free_from, self._onset = end, following
        return [clip]

    def _new_onset(self, from_: int) -> int | None:
        """The first from there on that is old enough to be sure of, and no beep."""
        if len(self._levels) < LEARN_FRAMES:
            return None
        first = max(self._count - len(self._sound), self._count - round(SEEN_S * self.rate))
        levels = NoteLevels(self._between(first, self._count).astype(float), self.rate)
        for onset_s in note_onsets(levels, self.settings):
            at = first + round(onset_s * self.rate)
            sure = at <= self._count - round(SURE_S * self.rate)
            if sure and at >= from_ and not any(a <= at < b for a, b in self._deaf):
                return at
        return None

    def _cut(self, onset: int, last: int, next_s: float | None) -> Clip:
        """The quiet before it begins after the last beep."""
        first = onset - round(LEAD_S * self.rate)
        first = max([first, self._count - len(self._sound), *(b for _, b in self._deaf if b <= onset)])
        lost = sum(n for at, n in self._losses if first <= at < last)
        self._losses = [(at, n) for at, n in self._losses if at >= last]
        self._deaf = [(a, b) for a, b in self._deaf if b > last]
        return Clip(
            self._between(first, last).astype(float),
            self.rate,
            (onset - first) / self.rate,
            onset / self.rate,
            next_s,
            lost,
        )
