"""Recordings of keys that were played, not of taps: which keys, what buzzes along, what rings on.

screened(paths, request, ...)   CheckResult of taps or of notes, as the request says
hear_notes(paths, request, ...) HeardNotes: which keys, in words, before anything is stored
read_keys(text)                 the keys that were to be played
reported_tones(screening)       the tones that a finding is made of

Nothing here asks anybody to strike, tighten or raise anything. A plate whose strings are on stays as it is.
"""

from collections.abc import Sequence

import numpy as np
from msgspec import Struct
from threadpoolctl import threadpool_limits

from tapscan.errors import BadRequest, UnreadableRecording
from tapscan.recording.compressed import compression_of
from tapscan.recording.files import SoundSource, open_sound
from tapscan.records import FloatArray, PlayedNotes, Recording, Scan, Screening
from tapscan.records.notes import ForeignTone
from tapscan.screening.played_notes import limitations, told_of
from tapscan.screening.rules import ringing_on
from tapscan.settings import Settings
from tapscan.signal.notes.wanted_keys import played_notes, read_keys
from tapscan.signal.strikes.detect import clipped
from tapscan.wording import listed
from tapscan.workers import ALONE, Workers
from tapscan.workflow.ahead import PlacesAhead
from tapscan.workflow.check import Agree, CheckResult, Request, check
from tapscan.workflow.conclude import conclude
from tapscan.workflow.screened import judged

__all__ = ["read_keys", "reported_tones", "screened"]
Sound = tuple[str, FloatArray, int]  # id, samples, rate
LONGEST_S = 1800.0  # of one recording; the whole keyboard takes some four minutes
MOST_VALUES = 2 * 1800 * 48_000  # samples of all channels, which are held in memory
LOOKED_AT_S = 4.0  # pieces in which clipping is looked for


class HeardNotes(Struct, frozen=True):
    """What a person sees before it is stored."""

    told: tuple[str, ...]
    unreadable: tuple[str, ...]


def hear_notes(paths: Sequence[str], request: Request, workers: Workers = ALONE) -> HeardNotes:
    """What `screened` tells its `agree`."""
    told: list[str] = []

    def agree(_: object, remarks: Sequence[str]) -> bool:
        told.extend(remarks)
        return False

    found = screened(paths, request, workers, agree)
    return HeardNotes(tuple(told), found.unreadable)


def screened(
    paths: Sequence[str],
    request: Request,
    workers: Workers = ALONE,
    agree: Agree | None = None,
    ahead: PlacesAhead | None = None,
) -> CheckResult:
    """`agree` : for notes sees no taps, but what was heard in words."""
    if not request.played:
        return check(paths, request, workers, agree, ahead)
    with threadpool_limits(1):
        return _notes(paths, request, workers, agree)


def reported_tones(screening: Screening) -> list[ForeignTone]:
    """Most notes first; none where that check found nothing."""
    found = any(i.rule == ringing_on.NAME for i in screening.indications)
    return ringing_on.lasting(screening.scan, Settings()) if found else []


def _notes(paths: Sequence[str], request: Request, workers: Workers, agree: Agree | None) -> CheckResult:
    _only_keys(request)
    wanted = read_keys(request.keys) if request.keys else ()
    recordings, sounds, unreadable, repeated = _all_read(paths, request, workers)
    if not recordings:
        return CheckResult(None, unreadable, repeated)
    one_take = request.one_take
    played = played_notes(sounds, wanted, request.settings, contact=request.contact, one_take=one_take)
    remarks = [*told_of(played), *repeated]
    if agree is not None and not agree((), remarks):
        return CheckResult(None, unreadable, repeated)
    return CheckResult(_screening(recordings, played, request, remarks), unreadable, repeated)


def _only_keys(request: Request) -> None:
    """Raises BadRequest for what is said of taps."""
    of_taps = {
        "a layout": request.layout,
        "how many taps each place got": request.per_station,
        "the order of the taps": request.order,
        "taps given elsewhere": request.assign,
        "taps left out": request.skip,
        "a part of the places": request.partial,
        "parts that were held": request.parts_held,
        "a reference bar": request.bar,
    }
    if given := [words for words, value in of_taps.items() if value]:
        raise BadRequest(f"keys were played, and nothing was tapped: leave out {listed(given)}")


def _all_read(
    paths: Sequence[str], request: Request, workers: Workers
) -> tuple[list[Recording], list[Sound], tuple[str, ...], tuple[str, ...]]:
    """Facts and samples of each, what cannot be read, what came twice."""
    recordings: list[Recording] = []
    sounds: list[Sound] = []
    unreadable: list[str] = []
    repeated: list[str] = []
    for number, path in enumerate(paths):
        workers.progress("reading", number, len(paths))
        try:
            recording, samples = _read(path, request.called.get(path, path), len(recordings) + 1, request)
        except UnreadableRecording as problem:
            unreadable.append(str(problem))
            continue
        if twin := next((r.file for r in recordings if r.sha256 == recording.sha256), None):
            repeated.append(f"{path} has the same content as {twin} and was counted once")
            continue
        recordings.append(recording)
        sounds.append((recording.id, samples, recording.sample_rate_hz))
    workers.progress("reading", len(paths), len(paths))
    return recordings, sounds, tuple(unreadable), tuple(repeated)


def _read(path: str, name: str, number: int, request: Request) -> tuple[Recording, FloatArray]:
    """Of several channels the one whose loud and quiet moments lie furthest apart."""
    with open_sound(path) as source:
        if source.duration_s > LONGEST_S:
            raise BadRequest(
                f"{name} is {source.duration_s / 60:.0f} minutes long; played notes are read up to {LONGEST_S / 60:.0f}: cut it"
            )
        if source.frames * source.channels > MOST_VALUES:
            raise BadRequest(
                f"{name} is too large to be read at once ({source.channels} channels at {source.sample_rate_hz} Hz): cut it, or save one channel at 48000 Hz"
            )
        whole = source.read(0, source.frames)
        best = max(range(source.channels), key=lambda c: _range_db(whole[:, c], source.sample_rate_hz))
        samples = np.ascontiguousarray(whole[:, best])
        return _facts(source, samples, name, f"F{number}", best, round(request.settings.strikes.clip_run)), samples


def _facts(source: SoundSource, samples: FloatArray, name: str, number: str, channel: int, run: int) -> Recording:
    step = round(LOOKED_AT_S * source.sample_rate_hz)
    flat = any(clipped(samples[a : a + step], run) for a in range(0, len(samples), step))
    codec = compression_of(source.codec)
    return Recording(
        id=number,
        file=name,
        sha256=source.sha256,
        sample_rate_hz=source.sample_rate_hz,
        channels=source.channels,
        channel_used=channel,
        duration_s=source.duration_s,
        faults=("clipped",) if flat else (),
        compression=codec,
        compression_looked_at=("container",),
    )


def _range_db(samples: FloatArray, rate: int) -> float:
    frame = max(1, rate // 50)
    count = len(samples) // frame
    if not count:
        return 0.0
    power = np.mean(samples[: count * frame].reshape(count, frame) ** 2, axis=1) + 1e-14
    low, high = np.percentile(power, [5, 95])
    return float(10 * np.log10(high / low))


def _screening(
    recordings: Sequence[Recording], played: PlayedNotes, request: Request, remarks: Sequence[str]
) -> Screening:
    scan = Scan(tuple(recordings), (), (), state=request.state, played=played)
    return conclude(judged(scan, request.settings, limitations(scan), remarks), request.settings)
