"""Recordings of keys that were played, not of taps: which keys, what buzzes along, what rings on.

screened(paths, request, ...)   CheckResult of taps or of notes, as the request says
read_keys(text)                 the keys that were to be played

Nothing here asks anybody to strike, tighten or raise anything. A plate whose strings are on stays as it is.
"""

from collections.abc import Sequence

import numpy as np
from threadpoolctl import threadpool_limits

from tapscan.errors import BadRequest, UnreadableRecording
from tapscan.recording.compressed import compression_of
from tapscan.recording.files import SoundSource, open_sound
from tapscan.records import FloatArray, PlayedNotes, Recording, Scan, Screening
from tapscan.screening.played_notes import limitations, told_of
from tapscan.screening.rules import RULE_LIMITS, run_rules
from tapscan.settings import limits_by_part, settings_sha256
from tapscan.signal.notes.wanted_keys import played_notes, read_keys
from tapscan.signal.strikes.detect import clipped
from tapscan.workers import ALONE, Workers
from tapscan.workflow.ahead import PlacesAhead
from tapscan.workflow.check import Agree, CheckResult, Request, check
from tapscan.workflow.conclude import conclude

__all__ = ["read_keys", "screened"]
Sound = tuple[str, FloatArray, int]  # id, samples, rate
LONGEST_S = 1800.0  # of one recording, which is held in memory; the whole keyboard takes some four minutes
LOOKED_AT_S = 4.0  # pieces in which clipping is looked for


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


def _notes(paths: Sequence[str], request: Request, workers: Workers, agree: Agree | None) -> CheckResult:
    wanted = read_keys(request.keys) if request.keys else ()
    recordings, sounds, unreadable, repeated = _all_read(paths, request, workers)
    if not recordings:
        return CheckResult(None, unreadable, repeated)
    played = played_notes(sounds, wanted, request.settings, contact=request.contact)
    remarks = [*told_of(played), *repeated]
    if agree is not None and not agree((), remarks):
        return CheckResult(None, unreadable, repeated)
    return CheckResult(_screening(recordings, played, request, remarks), unreadable, repeated)


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
    settings = request.settings
    scan = Scan(tuple(recordings), (), (), state=request.state, played=played)
    indications, not_run = run_rules(scan, settings)
    told = Screening(
        scan=scan,
        disposition="inconclusive",  # until it is concluded below
        headline="",
        summary="",
        next_steps=(),
        indications=tuple(indications),
        rules_not_run=tuple(not_run),
        limitations=limitations(scan),
        settings_sha256=settings_sha256(settings, RULE_LIMITS),
        limits_sha256=limits_by_part(settings, RULE_LIMITS),
        assignment=tuple(remarks),
    )
    return conclude(told, settings)
