"""A picture byte by byte, by the published format, from memory."""

import struct
import zlib


def grey_png(wide: int = 1, high: int = 1, grey: int = 128) -> bytes:
    """All of one grey, 0 to 255."""
    rows = b"".join(b"\0" + bytes([grey]) * wide for _ in range(high))
    head = struct.pack(">IIBBBBB", wide, high, 8, 0, 0, 0, 0)
    chunks = _chunk(b"IHDR", head) + _chunk(b"IDAT", zlib.compress(rows)) + _chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + chunks


def _chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
