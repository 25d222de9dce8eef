"""From files to strikes: read each recording once, choose its channel, find its taps.

    listen_all(paths, settings, ...)   of each a Heard (facts, spans and an open source), or why it cannot be read
    listen(path, settings)             the same of one

Memory: the envelope of a recording, a few bytes a millisecond. The strikes are read again one by one (cutting.py).
"""

import threading
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack
from types import MappingProxyType
from typing import NamedTuple

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from tapscan.errors import UnreadableRecording
from tapscan.recording.compressed import compression_of
from tapscan.recording.files import SoundSource, open_sound, sha256_of
from tapscan.records import Compression, Recording
from tapscan.settings import Settings
from tapscan.signal.strikes.detect import (
    Envelope,
    Span,
    clipped,
    find_strikes,
    hop_samples,
)
from tapscan.signal.strikes.lossy import traces_of
from tapscan.signal.strikes.mains import mains_hum
from tapscan.workers import ALONE, Workers
from tapscan.workflow.envelopes import Key, Piece, key_of, known_ahead, measured, pieces
from tapscan.workflow.sharing import bytes_of

HASHED_BYTES = 50_000_000  # more are hashed beside the other work
TOLD_HOPS = 1_000_000  # of a longer recording the envelope is too much to be sent to another process
LEAD_S = 0.010
NOISE_S, LEAST_NOISE_S = 0.30, 0.05
SPECTRUM_S, SPECTRUM_STRIKES = 0.75, 20


class Listened(Struct, frozen=True, eq=False):
    """A recording with its strikes located."""

    recording: Recording
    spans: tuple[Span, ...]
    quietest_s: float | None  # start of the quietest NOISE_S, where there are strikes with no quiet before them


_Answer = Envelope | Listened | UnreadableRecording


class Heard(Listened, frozen=True, eq=False):
    """The same with its sound at hand."""

    source: SoundSource


def listen(path: str, settings: Settings) -> Heard:
    """Read `path` once from end to end. Raises UnreadableRecording."""
    (found,) = listen_all([path], settings)
    if isinstance(found, UnreadableRecording):
        raise found
    return found


def listen_all(
    paths: Sequence[str],
    settings: Settings,
    workers: Workers = ALONE,
    stack: ExitStack | None = None,
    known: Mapping[str, Listened] = MappingProxyType({}),
) -> list[Heard | UnreadableRecording]:
    """Each recording read once from end to end; the pieces of all are shared. In the order of `paths`.

    stack : closes the recordings. known : what was found of them before, by their SHA-256, with the same settings.
    """
    sources: list[SoundSource | UnreadableRecording] = []
    found = [_Found() for _ in paths]
    hashing: list[_Hashing] = []

    def opened() -> Iterator[tuple[_Found, SoundSource]]:
        for number, path in enumerate(paths):
            workers.progress("reading", number, len(paths))
            sources.append(source := _opened(path, stack, hashed=bool(known)))
            if isinstance(source, UnreadableRecording):
                continue
            if source.sha256 in known:
                found[number].told = known[source.sha256]
                continue
            hashing.extend(_hashing(found[number], source, workers))
            yield found[number], source

    _shared(_to_measure(opened(), settings, workers), workers)
    _shared(_to_tell(zip(found, sources, strict=True), settings), workers)
    for one in hashing:
        one.take()
    workers.progress("reading", len(paths), len(paths))
    return [_heard(p, s, f, settings) for p, s, f in zip(paths, sources, found, strict=True)]


def _shared(work: Iterator[tuple["_Found", "_Work"]], workers: Workers) -> None:
    """Done by whoever is free, each for the recording beside it."""
    owners: list[tuple[_Found, Piece]] = []

    def items() -> Iterator[_Work]:
        for found, one in work:
            owners.append((found, one.piece))
            yield one

    for number, answer in enumerate(workers.each(_done, items())):
        found, piece = owners[number]
        found.add(answer, piece)


def _to_measure(
    recordings: Iterable[tuple["_Found", SoundSource]], settings: Settings, workers: Workers
) -> Iterator[tuple["_Found", "_Work"]]:
    """Whatever others have measured ahead is not measured again."""
    ahead: dict[Key, Envelope] | None = None
    for found, source in recordings:
        ahead = known_ahead(workers) if ahead is None else ahead
        for piece in pieces(source):
            one = _Work(piece, settings, ahead.pop(key_of(piece), None) if ahead else None)
            if source.spooled:  # no other process can reach it
                found.add(_done(one), piece)
            elif one.envelope and not piece.whole:
                found.add(one.envelope, piece)
            else:
                yield found, one


def _to_tell(
    recordings: Iterable[tuple["_Found", SoundSource | UnreadableRecording]], settings: Settings
) -> Iterator[tuple["_Found", "_Work"]]:
    """What is to be told of those that came in several pieces, where another process can tell it."""
    for found, source in recordings:
        if found.envelope is None or found.problem or isinstance(source, UnreadableRecording):
            continue
        if not source.spooled and found.envelope.power.shape[1] <= TOLD_HOPS:
            yield found, _Work(Piece(source, 0, source.frames), settings, found.whole())


def _opened(path: str, stack: ExitStack | None, *, hashed: bool) -> SoundSource | UnreadableRecording:
    """Without its SHA-256 where that takes long and need not be known yet."""
    later = not hashed and bytes_of([path]) > HASHED_BYTES
    try:
        source = open_sound(path, "" if later else None)
    except UnreadableRecording as problem:
        return problem
    return stack.enter_context(source) if stack else source


class _Work(NamedTuple):
    """`envelope` : of the piece, where it is known."""

    piece: Piece
    settings: Settings
    envelope: Envelope | None = None


def _done(work: _Work) -> _Answer:
    """All that is to be told where the piece is the whole recording, else its envelope."""
    piece = work.piece
    try:
        envelope = work.envelope or measured(piece)
        return _told(piece.source, envelope, work.settings) if piece.whole else envelope
    except UnreadableRecording as problem:
        return problem


class _Hashing(threading.Thread):
    """Beside all other work: whichever process took it would leave the others without work for as long as it takes, or with more than their share."""

    def __init__(self, found: "_Found", source: SoundSource) -> None:
        super().__init__(daemon=True)  # Ctrl-C waits for nobody
        self.found, self.source = found, source
        self.answer: str | Exception = ""

    def run(self) -> None:
        """In a thread, or at once where there is no other process."""
        try:
            self.answer = sha256_of(self.source.path)
        except Exception as problem:
            self.answer = problem

    def take(self) -> None:
        """Wait for it. What went wrong is raised here, and not in a thread of which nobody hears."""
        if self.ident:
            self.join()
        if isinstance(self.answer, UnreadableRecording):
            self.found.problem = self.found.problem or self.answer
        elif isinstance(self.answer, Exception):
            raise self.answer
        else:
            self.source.sha256 = self.answer


def _hashing(found: "_Found", source: SoundSource, workers: Workers) -> list[_Hashing]:
    """Where the SHA-256 is not known yet."""
    if source.sha256:
        return []
    one = _Hashing(found, source)
    if workers.others:
        one.start()
    else:
        one.run()
    return [one]


class _Found:
    """What is found of one recording, as it comes."""

    def __init__(self) -> None:
        self.envelope: Envelope | None = None
        self.told: Listened | None = None
        self.problem: UnreadableRecording | None = None

    def add(self, answer: _Answer, piece: Piece) -> None:
        """Of `piece`."""
        if isinstance(answer, Envelope):
            source = piece.source
            room = self.envelope or answer.room_for(source.frames // hop_samples(source.sample_rate_hz))
            self.envelope = room.put(piece.first_hop, answer)
        elif isinstance(answer, Listened):
            self.told = answer
        else:
            self.problem = self.problem or answer

    def whole(self) -> Envelope:
        """Once, since hours of it are not held longer than they are needed."""
        envelope, self.envelope = self.envelope, None
        assert envelope is not None
        return envelope


def _heard(
    path: str, source: SoundSource | UnreadableRecording, found: _Found, settings: Settings
) -> Heard | UnreadableRecording:
    if isinstance(source, UnreadableRecording):
        return source
    if found.problem:
        return found.problem
    try:
        whole = found.told or _told(source, found.whole(), settings)
    except UnreadableRecording as problem:
        return problem
    recording = replace(whole.recording, file=str(path), sha256=source.sha256)
    return Heard(recording, whole.spans, whole.quietest_s, source)


def _told(source: SoundSource, envelope: Envelope, settings: Settings) -> Listened:
    spans = [find_strikes(envelope, c, settings) for c in range(source.channels)]
    best = _best_channel(envelope, spans)
    recording = Recording(
        id="",
        file="",
        sha256=source.sha256,
        sample_rate_hz=source.sample_rate_hz,
        channels=source.channels,
        channel_used=best if spans[best] else None,
        duration_s=source.duration_s,
        faults=tuple(_channel_faults(envelope)),
        reason=None if spans[best] else _why_silent(envelope, best, source, settings),
        compression=compression_of(source.codec) or _compressed_before(source, spans[best], best),
        compression_looked_at=("container", "spectrum"),
    )
    unquiet = any(_quiet_before_s(spans[best], i) < LEAST_NOISE_S + 2 * LEAD_S for i in range(len(spans[best])))
    return Listened(recording, tuple(spans[best]), _quietest(envelope, best) if unquiet else None)


def _quiet_before_s(spans: Sequence[Span], index: int) -> float:
    """From the end of the strike before, or of the recording's beginning, to this strike's."""
    return spans[index].onset_s - (spans[index - 1].end_s if index else 0.0)


def _compressed_before(source: SoundSource, spans: Sequence[Span], channel: int) -> Compression | None:
    """From the first SPECTRUM_S of up to SPECTRUM_STRIKES strikes, spread over the recording."""
    rate, every = source.sample_rate_hz, max(1, len(spans) // SPECTRUM_STRIKES)
    pieces = (source.read(round(s.onset_s * rate), _spectrum_samples(s, rate))[:, channel] for s in spans[::every])
    return Compression("unknown", "spectrum") if traces_of(pieces, rate) == "lossy" else None


def _spectrum_samples(span: Span, rate_hz: int) -> int:
    return round(min(SPECTRUM_S, span.end_s - span.onset_s) * rate_hz)


def _best_channel(envelope: Envelope, spans: Sequence[Sequence[Span]]) -> int:
    """Best strike-to-noise; where that cannot be told, the loudest."""

    def merit(channel: int) -> tuple[int, float, float]:
        clear = [s.snr_db for s in spans[channel] if s.snr_db is not None]
        loudness = float(envelope.power[channel].sum()) if envelope.power.size else 0.0
        return bool(spans[channel]), float(np.median(clear)) if clear else 0.0, loudness

    return max(range(len(spans)), key=merit)


def _channel_faults(envelope: Envelope) -> list[str]:
    dead = [str(c + 1) for c, constant in enumerate(envelope.constant) if constant]
    return [f"channel {c} is dead" for c in dead] if len(envelope.constant) > 1 else []


def _why_silent(envelope: Envelope, channel: int, source: SoundSource, settings: Settings) -> str:
    """Why no strike was found, and what would mend it."""
    peak = max(float(np.abs(block[:, channel]).max()) for block in source.blocks(source.sample_rate_hz))
    if envelope.constant[channel]:
        what = "silence" if peak == 0 else "a constant offset and no sound"
        return f"{what}: check the microphone, its lead and the input that was chosen"
    if peak > 0.05 and clipped(source.read(0, 4 * source.sample_rate_hz)[:, channel], round(settings.strikes.clip_run)):
        return "clipped throughout: turn the input down and record again"
    if mains := mains_hum(source.read(0, 2 * source.sample_rate_hz)[:, channel], source.sample_rate_hz):
        return f"steady {mains:.0f} Hz mains hum and no tap: move away from leads and lamps, and tap"
    return "sound but no tap in it: tap the iron, one clear blow at a time"


def _quietest(envelope: Envelope, channel: int) -> float | None:
    hops = round(NOISE_S / envelope.hop_s)
    power = envelope.power[channel]
    if len(power) < 2 * hops:
        return None
    sums = np.convolve(power, np.ones(hops), "valid")
    return float(np.argmin(sums) * envelope.hop_s)
