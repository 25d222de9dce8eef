"""Sound files in: opened once, read in blocks, never altered.

    open_sound(path)         a SoundSource, or UnreadableRecording with one line that says what would mend it
    sha256_of(path)          of its bytes
    SoundSource.blocks(n)    (<= n, channels) float64, full scale = 1, from the start
    SoundSource.read(a, n)   the same for any stretch
    save_flac(path, ...)     one channel as 24 bit FLAC
    flac_bytes(samples, ..)  the same as bytes
    mp3_bytes(samples, ..)   for a page that is listened to

Native rate and channels; nothing is resampled or mixed. WAV, FLAC, AIFF and OGG go through
soundfile (libsndfile); what a phone writes (M4A, AAC, CAF), MP3 (libsndfile's decoder talks to stderr)
and FLAC of open length through PyAV (FFmpeg) into a temporary file of float32, so that a long recording
needs disk and not memory.
"""

import hashlib
import io
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from math import gcd
from pathlib import Path
from typing import IO, Any

import numpy as np
import soundfile

from tapscan.errors import UnreadableRecording
from tapscan.recording.container import (
    HEAD_BYTES,
    container_of,
    lacks_its_end,
    missing_bytes,
    sounds_in,
    tells_no_length,
)
from tapscan.records import FloatArray
from tapscan.sensors import HIGHEST_RATE_HZ, LOWEST_RATE_HZ
from tapscan.sources import NO_FILE, on_one_line, open_plain

AGAIN = "copy it again from the recorder, or save it anew as WAV or FLAC"
MP3_RATES = (8000, 11025, 12000, 16000, 22050, 24000, 32000, 44100, 48000)
LOST_S = 0.05  # a codec's own delay is shorter


class SoundSource:
    """One readable sound file. Close it, or use it in a `with` block. Another process may be handed it, unless it is spooled."""

    def __init__(
        self,
        path: Path,
        sha256: str,
        sound: soundfile.SoundFile,
        faults: tuple[str, ...] = (),
        codec: str = "",
        *,
        spooled: bool = False,
    ) -> None:
        self.path, self.sha256, self.faults = path, sha256, faults
        self.spooled = spooled  # decoded into a temporary file that has no name
        self.codec = codec or sound.subtype  # as PyAV or libsndfile names it
        self._sound = sound
        self._may_hold_no_number = not sound.subtype.startswith("PCM")
        self.sample_rate_hz: int = sound.samplerate
        self.channels: int = sound.channels
        self.frames: int = sound.frames

    def __enter__(self) -> "SoundSource":
        return self

    def __exit__(self, *_: object) -> None:
        self._sound.close()

    def __reduce__(self) -> tuple[Any, ...]:
        if self.spooled:
            raise TypeError(f"{self.path}: its sound has no name for another process to open")
        return _opened_again, (self.path, self.sha256, self.faults, self.codec)

    @property
    def duration_s(self) -> float:
        """Length of the recording."""
        return self.frames / self.sample_rate_hz

    def blocks(self, frames: int) -> Iterator[FloatArray]:
        """Successive blocks of (<= frames, channels) from the start of the file."""
        for start in range(0, self.frames, frames):
            yield self.read(start, min(frames, self.frames - start))

    def read(self, start: int, frames: int) -> FloatArray:
        """(frames, channels) from sample `start`; raises UnreadableRecording where the data end early."""
        start, stop = max(0, start), min(self.frames, start + frames)
        try:
            self._sound.seek(start)
            block = self._read(stop - start)
        except (soundfile.LibsndfileError, RuntimeError) as problem:
            raise _unreadable(
                self.path, f"breaks off at {start / self.sample_rate_hz:.2f} s ({problem})", AGAIN
            ) from None
        if len(block) < stop - start:
            found = (start + len(block)) / self.sample_rate_hz
            raise _unreadable(self.path, f"promises {self.duration_s:.2f} s of sound and ends at {found:.2f} s", AGAIN)
        if self._may_hold_no_number and not np.isfinite(block).all():
            bad = (start + int(np.argmin(np.isfinite(block).all(axis=1)))) / self.sample_rate_hz
            raise _unreadable(
                self.path,
                f"holds a sample that is no number (at {bad:.3f} s)",
                "save it anew as 24 bit WAV or FLAC",
            )
        return block

    def _read(self, frames: int) -> FloatArray:
        """As libsndfile turns them into floats, which of 16 bits takes it three times as long."""
        if self._sound.subtype == "PCM_16":
            return np.asarray(self._sound.read(frames, dtype="int16", always_2d=True) * 2.0**-15)
        return np.asarray(self._sound.read(frames, dtype="float64", always_2d=True))


def open_sound(path: str | Path, sha256: str | None = None) -> SoundSource:
    """Open `path` for reading; raises UnreadableRecording. sha256 : where it is known, or found out elsewhere."""
    path = Path(path)
    head = _head_of(path)
    digest = sha256_of(path) if sha256 is None else sha256
    kind = container_of(head)
    if kind is None:
        raise _unreadable(path, _what_instead(head), "give a WAV, FLAC, AIFF, OGG, MP3 or M4A recording")
    if missing := missing_bytes(path, kind):
        raise _unreadable(path, f"is cut off: {missing} bytes of sound that its header promises are missing", AGAIN)
    if lacks_its_end(path, kind):
        raise _unreadable(path, "is cut off: the page that ends an OGG recording is missing", AGAIN)
    sound, codec = _open(path, kind, head)
    if not LOWEST_RATE_HZ <= sound.samplerate <= HIGHEST_RATE_HZ:
        rate = sound.samplerate
        sound.close()
        read = f"{LOWEST_RATE_HZ} to {HIGHEST_RATE_HZ}"
        raise _unreadable(path, f"has {rate} samples a second", f"record at 44100 or 48000 ({read} are read)")
    if sound.frames == 0:
        sound.close()
        raise _unreadable(
            path, "holds a header but no sound", "record it again, or have a sound editor mend its header"
        )
    return SoundSource(path, digest, sound, codec=codec, spooled=sound.name != str(path))


def _opened_again(path: Path, sha256: str, faults: tuple[str, ...], codec: str) -> SoundSource:
    """In another process. Raises UnreadableRecording."""
    return SoundSource(path, sha256, _open_with_soundfile(path)[0], faults, codec)


def _open(path: Path, kind: str, head: bytes) -> tuple[soundfile.SoundFile, str]:
    """The sound, and its codec as PyAV or libsndfile names it."""
    if kind in ("m4a", "aac", "caf"):
        return _open_with_pyav(path, told=kind != "aac")
    if kind == "mp3":
        return _open_with_pyav(path, told=b"Xing" in head or b"Info" in head)
    return _open_with_pyav(path, told=False) if tells_no_length(head) else _open_with_soundfile(path)


def codec_of(path: Path) -> str:
    """The codec's name as in SoundSource.codec, from the head of the file alone. Raises UnreadableRecording."""
    head = _head_of(path)
    if container_of(head) not in ("m4a", "aac", "caf", "mp3"):
        sound, codec = _open_with_soundfile(path)
        sound.close()
        return codec
    import av

    try:
        with av.open(str(path), metadata_errors="replace") as container:
            if not container.streams.audio:
                raise _unreadable(path, "has no sound track", "give the sound recording itself")
            return _codec_name(path, container)
    except (av.error.FFmpegError, ValueError, OverflowError) as problem:
        raise _unreadable(path, f"cannot be decoded ({_plain(problem)})", AGAIN) from None


def save_flac(path: Path, samples: FloatArray, sample_rate_hz: int) -> None:
    """Write (n,) float64 samples, |sample| <= 1, as 24 bit FLAC."""
    soundfile.write(str(path), samples, sample_rate_hz, format="FLAC", subtype="PCM_24")


def flac_bytes(samples: FloatArray, sample_rate_hz: int) -> bytes:
    """(n,) samples, full scale = 1, as a 24 bit FLAC file."""
    out = io.BytesIO()
    soundfile.write(out, np.clip(samples, -1.0, 1.0 - 2.0**-23), sample_rate_hz, format="FLAC", subtype="PCM_24")
    return out.getvalue()


def mp3_bytes(samples: FloatArray, sample_rate_hz: int) -> bytes:
    """(n,) samples, |sample| <= 1, as MP3: what every browser plays. Rates that MP3 does not know are lowered by whole steps."""
    from scipy.signal import resample_poly  # a third of a second, which a reading of files need not pay

    step = 1
    while sample_rate_hz // step > 48000:
        step += 1
    if step > 1:
        samples, sample_rate_hz = resample_poly(samples, 1, step), sample_rate_hz // step
    if sample_rate_hz not in MP3_RATES:
        nearest = min(MP3_RATES, key=lambda r: abs(r - sample_rate_hz))
        samples = resample_poly(
            samples, nearest // gcd(nearest, sample_rate_hz), sample_rate_hz // gcd(nearest, sample_rate_hz)
        )
        sample_rate_hz = nearest
    out = io.BytesIO()
    soundfile.write(out, np.clip(samples, -1, 1), sample_rate_hz, format="MP3")
    return out.getvalue()


def sha256_of(path: Path) -> str:
    """Of the file's bytes. Raises UnreadableRecording."""
    with _bytes_of(path) as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _head_of(path: Path) -> bytes:
    with _bytes_of(path) as file:
        head = file.read(HEAD_BYTES)
    if not head:
        raise _unreadable(path, "is empty", AGAIN)
    return head


@contextmanager
def _bytes_of(path: Path) -> Iterator[io.BufferedReader]:
    try:
        if path.is_dir():
            raise _unreadable(path, "is a folder", "name the recordings in it")
        with open_plain(path) as file:
            yield file
    except UnreadableRecording:
        raise
    except FileNotFoundError:
        raise _unreadable(path, "is not there", "check the name and the folder") from None
    except PermissionError:
        raise _unreadable(path, "may not be read by this user", "change its permissions or copy it") from None
    except OSError as problem:
        mend = "name the recording itself" if problem.strerror == NO_FILE else "copy it to this machine's disk"
        raise _unreadable(path, f"cannot be read ({problem.strerror})", mend) from None


def _open_with_soundfile(path: Path) -> tuple[soundfile.SoundFile, str]:
    try:
        sound = soundfile.SoundFile(str(path))
        return sound, sound.subtype
    except (soundfile.LibsndfileError, RuntimeError, ValueError, TypeError, OSError) as problem:
        if sounds_in(path) > 1:
            raise _unreadable(path, "holds more than one chunk of sound", "save it anew with a sound editor") from None
        raise _unreadable(path, f"cannot be decoded ({_plain(problem)})", AGAIN) from None


def _open_with_pyav(path: Path, *, told: bool) -> tuple[soundfile.SoundFile, str]:
    """Decode the first sound stream into an unnamed temporary float32 file.

    told : the container states its length, so that one cut short is noticed.
    """
    import av

    spool: IO[bytes] = tempfile.TemporaryFile(prefix="tapscan-")  # noqa: SIM115 - the SoundFile keeps it
    try:
        with av.open(str(path), metadata_errors="replace") as container:
            if not container.streams.audio:
                raise _unreadable(path, "has no sound track", "give the sound recording itself")
            promised = _promised_s(container) if told else None
            codec = _codec_name(path, container)
            rate, channels, damage = _spool(container, spool)
        if not rate or not channels:
            raise _unreadable(path, "holds a header but no sound", AGAIN)
        found = spool.tell() / (4 * channels * rate)
        if promised is not None and found < promised - LOST_S:
            raise _unreadable(path, f"promises {promised:.2f} s of sound and ends at {found:.2f} s", AGAIN)
        if promised is None and damage:  # what follows a whole sound is a tag or a leftover
            raise _unreadable(path, f"breaks off at {found:.2f} s ({damage})", AGAIN)
    except (av.error.FFmpegError, ValueError, OverflowError) as problem:
        spool.close()
        raise _unreadable(path, f"cannot be decoded ({_plain(problem)})", AGAIN) from None
    except UnreadableRecording:
        spool.close()
        raise
    spool.seek(0)
    sound = soundfile.SoundFile(
        spool, samplerate=rate, channels=channels, format="RAW", subtype="FLOAT", endian="LITTLE"
    )
    return sound, codec


def _codec_name(path: Path, container: Any) -> str:
    """Raises UnreadableRecording where a damaged head names none that is known."""
    context = container.streams.audio[0].codec_context
    if context is None:
        raise _unreadable(path, "cannot be decoded (its header names no codec that is known)", AGAIN)
    return str(context.name)


def _promised_s(container: Any) -> float | None:
    """Length of the sound as its container states it."""
    stream = container.streams.audio[0]
    return float(stream.duration * stream.time_base) if stream.duration and stream.time_base else None


def _spool(container: Any, spool: IO[bytes]) -> tuple[int, int, str | None]:
    """Write interleaved little-endian float32; rate, channels, and what went wrong on the way."""
    import av

    rate = channels = 0
    resampler: av.AudioResampler | None = None
    try:
        for frame in container.decode(audio=0):
            if resampler is None:
                rate, channels = frame.sample_rate, frame.layout.nb_channels
                # only the sample format changes
                resampler = av.AudioResampler(format="flt", layout=frame.layout, rate=rate)
            for piece in resampler.resample(frame):
                spool.write(piece.to_ndarray().astype("<f4").tobytes())
    except av.error.InvalidDataError as problem:
        return rate, channels, _plain(problem)
    if resampler is not None:
        with suppress(av.error.EOFError):
            for piece in resampler.resample(None):
                spool.write(piece.to_ndarray().astype("<f4").tobytes())
    return rate, channels, None


def _what_instead(head: bytes) -> str:
    """Guess what a file is that is not sound."""
    try:
        head[:512].decode("utf-8")
    except UnicodeDecodeError as problem:
        if problem.start < 500:
            return "is not a sound file that is known here"
    return "is not a sound file that is known here" if b"\0" in head[:512] else "is text, not sound"


def _plain(problem: Exception) -> str:
    """The library's own word, on one line, without the path it repeats."""
    if isinstance(problem, UnicodeDecodeError):
        return "damaged text in its header"
    words = getattr(problem, "strerror", None) or str(problem)
    if "SF_INFO struct incomplete" in words:
        return "its header gives no sample rate"
    return words.partition("\n")[0].split(": ", 1)[-1].rstrip(".") or type(problem).__name__


def _unreadable(path: Path, what: str, mend: str) -> UnreadableRecording:
    return UnreadableRecording(f"{on_one_line(str(path))}: {what}; {mend}")
