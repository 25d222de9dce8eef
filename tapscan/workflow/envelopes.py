"""Envelopes of recordings, piece by piece: by whoever is free, or ahead by another process that has nothing to do yet.

Piece                  a stretch of a recording
pieces(source)         alike for any count of workers, so that the figures are
measured(piece)        its Envelope
listen_ahead(guess)    steps of another process that has nothing to do yet
known_ahead(workers)   what the others have so far, by `key_of` a piece; they go no further ahead
"""

from collections.abc import Iterator, Sequence
from contextlib import suppress
from itertools import islice
from pathlib import Path
from typing import Any

from msgspec import Struct

from tapscan.errors import UnreadableRecording
from tapscan.recording.files import SoundSource, open_sound
from tapscan.signal.strikes.detect import Envelope, EnvelopeMeter, hop_samples
from tapscan.workers import Workers

BLOCK_HOPS = 500  # half a second: what the filters work on stays in the processor's cache
READ_BLOCKS = 4  # a call of libsndfile costs as much as the reading of a block
PIECE_HOPS, WARM_HOPS = 30_000, 500  # half a minute; after half a second no filter knows any more where it began
AHEAD_SUFFIXES, MOST_AHEAD = (".wav", ".flac", ".aif", ".aiff"), 24  # pieces of a recording

Key = tuple[Any, ...]

_ahead: dict[Key, Envelope] = {}


class Piece(Struct, frozen=True, eq=False):
    """In samples."""

    source: SoundSource
    start: int
    stop: int

    @property
    def whole(self) -> bool:
        """Whether it is the whole recording."""
        return self.stop - self.start == self.source.frames

    @property
    def first_hop(self) -> int:
        """Of the recording's."""
        return self.start // hop_samples(self.source.sample_rate_hz)


def pieces(source: SoundSource) -> Iterator[Piece]:
    """All of a recording."""
    step = PIECE_HOPS * hop_samples(source.sample_rate_hz)
    for start in range(0, source.frames, step):
        yield Piece(source, start, min(source.frames, start + step))


def measured(piece: Piece) -> Envelope:
    """Raises UnreadableRecording."""
    source = piece.source
    block = BLOCK_HOPS * hop_samples(source.sample_rate_hz)  # whole hops: nothing is left for the next
    warm = WARM_HOPS if piece.start else 0
    meter = EnvelopeMeter(source.sample_rate_hz, source.channels, source.read(0, 1).T, warm)
    for at in range(piece.start - warm * meter.hop, piece.stop, READ_BLOCKS * block):
        sound = source.read(at, min(READ_BLOCKS * block, piece.stop - at))
        for first in range(0, len(sound), block):
            meter.add(sound[first : first + block])
    return meter.envelope()


def listen_ahead(guess: tuple[Sequence[str], int, int]) -> Iterator[None]:
    """Paths that may be recordings, the number of this process, and how many there are: each takes pieces of its own. What cannot be read is told by who needs it."""
    paths, mine, others = guess
    for path in paths:
        if (
            Path(path).suffix.lower() not in AHEAD_SUFFIXES
        ):  # to decode the others takes long, and no other process may keep them
            continue
        with suppress(UnreadableRecording), open_sound(path, "") as source:
            for piece in islice(pieces(source), mine, MOST_AHEAD, others):
                _ahead[key_of(piece)] = measured(piece)
                yield


def known_ahead(workers: Workers) -> dict[Key, Envelope]:
    """Nothing where nobody went ahead."""
    return {key: envelope for one in workers.told_by_each(_given, None) for key, envelope in one.items()}


def key_of(piece: Piece) -> Key:
    """A file that has been written anew since is another one."""
    now = piece.source.path.stat()
    return piece.source.path, now.st_size, now.st_mtime_ns, piece.start, piece.stop


def _given(_: None) -> dict[Key, Envelope]:
    """Once."""
    out = dict(_ahead)
    _ahead.clear()
    return out
