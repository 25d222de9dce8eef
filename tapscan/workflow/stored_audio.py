"""Strikes of a scan read again from its recordings, for listening and for drawing.

Tape(scan, path)                     a scan and where each of its recordings lies
tape_of_files(scan)                  recordings as they were named on the command line
tape_of_register(files, scan)        recordings as the register keeps them
best_strike(scan, station)           the clearest usable strike there, or None
read_strike(tape, strike, ...)       samples and rate; UnreadableRecording where the file is gone
with_codecs(scan, files)             a scan stored before codecs were told, with what its kept recordings tell
"""

from collections.abc import Callable
from pathlib import Path

from msgspec import Struct
from msgspec.structs import replace

from tapscan.errors import UnreadableRecording
from tapscan.recording.compressed import compression_of
from tapscan.recording.files import codec_of, open_sound
from tapscan.records import FloatArray, Recording, Scan, Strike
from tapscan.register.file_store import Files


class Tape(Struct, frozen=True):
    """A scan whose sounds can still be read."""

    scan: Scan
    path: Callable[[Recording], Path]


def tape_of_files(scan: Scan) -> Tape:
    """Paths are as they were given; run from the same folder."""
    return Tape(scan, lambda recording: Path(recording.file))


def tape_of_register(files: Files, scan: Scan) -> Tape:
    """By the hash of the recordings."""
    return Tape(scan, lambda recording: files.path_of(recording.sha256))


def best_strike(scan: Scan, station: str | None) -> Strike | None:
    """By how far it stands above the noise."""
    mine = [s for s in scan.strikes if s.station == station and s.usable]
    return max(mine, key=lambda s: s.snr_db if s.snr_db is not None else s.level_db, default=None)


def read_strike(tape: Tape, strike: Strike, from_s: float, length_s: float) -> tuple[FloatArray, int]:
    """(n,) samples of the channel that was used, from `from_s` after the onset (negative: before), and their rate in Hz."""
    recording = next(r for r in tape.scan.recordings if r.id == strike.recording)
    path = tape.path(recording)
    with open_sound(str(path)) as source:
        if source.sha256 != recording.sha256:
            raise UnreadableRecording(f"{path}: is not the recording that was screened; put that one back")
        rate = source.sample_rate_hz
        first = max(0, round((strike.onset_s + from_s) * rate))
        return source.read(first, round(length_s * rate))[:, recording.channel_used or 0], rate


def with_codecs(scan: Scan, files: Files) -> Scan:
    """Recordings that were looked at, or that are gone, stay as they are."""
    return replace(scan, recordings=tuple(_with_codec(r, files) for r in scan.recordings))


def _with_codec(recording: Recording, files: Files) -> Recording:
    if recording.compression_looked_at or recording.compression:
        return recording
    try:
        path = files.path_of(recording.sha256)
        if not path.exists():
            return recording
        codec = codec_of(path)
    except UnreadableRecording:  # `register check` tells of it; nothing is known of its codec
        return recording
    return replace(recording, compression=compression_of(codec), compression_looked_at=("container",))
