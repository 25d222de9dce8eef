"""What a file is, told from its first bytes, and whether it is whole, told from its own header.

    container_of(head)          'wav', 'flac', 'aiff', 'ogg', 'mp3', 'm4a', 'aac', 'caf' or None
    missing_bytes(path, kind)   how many bytes the header promises beyond the end of the file
    sounds_in(path)             how many chunks of sound a WAV or AIFF file holds
    lacks_its_end(path, kind)   whether an OGG file stops before the page that closes its stream
    tells_no_length(head)       whether a FLAC header leaves its length open, as streaming recorders do

The name's ending is not asked: phones and mail programs rename files.
Layouts of RIFF and AIFF chunks, OGG pages, FLAC, MPEG audio and ADTS headers: the published formats, from
memory.
"""

import struct
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import BinaryIO

UNKNOWN_LENGTH = (0, 0xFFFFFFFF)  # what recorders that stream write where the length should stand
SOUND = {"wav": b"data", "aiff": b"SSND"}  # names of the chunks that hold it
MOST_CHUNKS = 10_000  # of a header, before it is taken for none
HEAD_BYTES = 65536
LARGEST_OGG_PAGE = 65307

_MPEG_KBPS = {
    1: (0, 32, 40, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320),
    2: (0, 8, 16, 24, 32, 40, 48, 56, 64, 80, 96, 112, 128, 144, 160),
}
_MPEG_RATE_HZ = {3: (44100, 48000, 32000), 2: (22050, 24000, 16000), 0: (11025, 12000, 8000)}


def container_of(head: bytes) -> str | None:
    """Name of the container that `head` (at least the first 8 KiB of a file) opens."""
    if head[:4] in (b"RIFF", b"RF64") and head[8:12] == b"WAVE":
        return "wav"
    if head[:4] == b"FORM" and head[8:12] in (b"AIFF", b"AIFC"):
        return "aiff"
    for magic, kind in ((b"fLaC", "flac"), (b"OggS", "ogg"), (b"caff", "caf")):
        if head.startswith(magic):
            return kind
    if head[4:8] == b"ftyp":
        return "m4a"
    if head.startswith(b"ID3") or _frames_chain(head, _mpeg_frame_bytes):
        return "mp3"
    return "aac" if _frames_chain(head, _adts_frame_bytes) else None


def missing_bytes(path: Path, kind: str) -> int:
    """Bytes of sound that the header promises and the file does not hold; 0 where it cannot be told."""
    if kind not in SOUND:
        return 0
    size, long_length = path.stat().st_size, 0  # what RF64 says of a sound too long for 32 bits
    with path.open("rb") as file:
        for name, length in _chunks(file, kind):
            if name == b"ds64" and length >= 16:
                long_length = int.from_bytes(file.read(16)[8:], "little")
            if name == SOUND[kind]:
                promised = long_length or (0 if length in UNKNOWN_LENGTH else length)
                return max(0, file.tell() + promised - size)
    return 0


def sounds_in(path: Path) -> int:
    """How many chunks of a WAV or AIFF file are sound; 0 of another."""
    with path.open("rb") as file:
        kind = container_of(file.read(HEAD_BYTES)) or ""
        return sum(name == SOUND[kind] for name, _ in _chunks(file, kind)) if kind in SOUND else 0


def _chunks(file: BinaryIO, kind: str) -> Iterator[tuple[bytes, int]]:
    """Name and length of each; the file stands at the chunk's first byte, wherever it was read on from there."""
    place = 12
    for _ in range(MOST_CHUNKS):
        file.seek(place)
        if len(header := file.read(8)) < 8:
            return
        (length,) = struct.unpack(("<" if kind == "wav" else ">") + "I", header[4:])
        yield header[:4], length
        place += 8 + length + length % 2


def lacks_its_end(path: Path, kind: str) -> bool:
    """Whether the last page of an OGG file is not marked as the last of its stream, or not whole."""
    if kind != "ogg":
        return False
    with path.open("rb") as file:
        file.seek(max(0, path.stat().st_size - 2 * LARGEST_OGG_PAGE))
        tail = file.read()
    page = tail[tail.rfind(b"OggS\0") :]
    if len(page) < 27 or not page[5] & 4:
        return True
    segments = page[27 : 27 + page[26]]
    return len(page) < 27 + page[26] + sum(segments)


def tells_no_length(head: bytes) -> bool:
    """36 bits of zeros where a FLAC header has its count of samples."""
    return head[:4] == b"fLaC" and int.from_bytes(head[21:26], "big") & (1 << 36) - 1 == 0


def _frames_chain(head: bytes, frame_bytes: Callable[[bytes], int]) -> bool:
    """Whether three frames follow each other: random bytes hardly ever do."""
    place = 0
    for _ in range(3):
        length = frame_bytes(head[place : place + 7])
        if not length:
            return False
        place += length
    return True


def _mpeg_frame_bytes(h: bytes) -> int:
    """Length of the MPEG layer III frame that opens with `h`; 0 if it is none."""
    if len(h) < 4 or h[0] != 0xFF or h[1] & 0xE6 != 0xE2:
        return 0
    version, rate_index = h[1] >> 3 & 3, h[2] >> 2 & 3
    if version == 1 or rate_index == 3 or h[2] >> 4 in (0, 15):
        return 0
    kbps = _MPEG_KBPS[1 if version == 3 else 2][h[2] >> 4]
    return (144 if version == 3 else 72) * kbps * 1000 // _MPEG_RATE_HZ[version][rate_index] + (h[2] >> 1 & 1)


def _adts_frame_bytes(h: bytes) -> int:
    """Length of the ADTS (raw AAC) frame that opens with `h`; 0 if it is none."""
    if len(h) < 7 or h[0] != 0xFF or h[1] & 0xF6 != 0xF0 or (h[2] >> 2 & 15) > 12:
        return 0
    return (h[3] & 3) << 11 | h[4] << 3 | h[5] >> 5
