"""Sounds for the tests, made by other roads than the code under test.

tap, ring, noise          samples from closed-form sums
wav_bytes, aiff_bytes     headers written byte by byte
encoded                   FLAC, MP3, M4A, AAC through FFmpeg (the code reads FLAC through libsndfile); OGG
                          through libsndfile, since FFmpeg is mostly built without a Vorbis encoder

Layouts of RIFF and AIFF: the published formats, from memory.
"""

import io
import struct
from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path

import numpy as np

T60_NEPER = 6.907755278982137  # 3 ln 10


def ring(seconds: float, rate: int, modes: Sequence[tuple[float, float, float]]) -> np.ndarray:
    """Sum of A exp(-d t) sin(2 pi f t); modes are (frequency Hz, time to -60 dB in s, amplitude)."""
    count, longest = round(seconds * rate), _longest(rate, tuple(map(tuple, modes)))
    if len(longest[0]) < count:
        f, t60, a = np.array(modes, dtype=float).reshape(-1, 3).T
        longest[0] = rings(f, T60_NEPER / t60, a, np.zeros(len(f)), rate, count)
    return longest[0][:count].copy()


@lru_cache(32)
def _longest(rate: int, modes: tuple[tuple[float, ...], ...]) -> list[np.ndarray]:
    """The longest ring of these modes so far: a shorter one is its beginning."""
    return [np.zeros(0)]


ROWS = 256


def rings(
    frequency_hz: np.ndarray,
    decay_rate_per_s: np.ndarray,
    amplitude: np.ndarray,
    phase: np.ndarray,
    rate: int,
    count: int,
) -> np.ndarray:
    """(count,) sum of A exp(-d t) sin(2 pi f t + p) of very many modes, by one product of matrices: z^(ROWS i + j) = (z^ROWS)^i z^j."""
    z = (-decay_rate_per_s + 2j * np.pi * frequency_hz) / rate
    rough = (amplitude * np.exp(1j * phase))[:, None] * np.exp(np.outer(z * ROWS, np.arange(-(-count // ROWS))))
    return np.asarray((rough.T @ np.exp(np.outer(z, np.arange(ROWS)))).imag.ravel()[:count])


PLATE = (
    (412.0, 0.9, 0.10),
    (655.0, 0.7, 0.10),
    (1130.0, 0.5, 0.11),
    (1720.0, 0.4, 0.12),
    (2480.0, 0.3, 0.12),
)


def tap(seconds: float = 1.5, rate: int = 48000, modes=PLATE, knock: float = 0.1) -> np.ndarray:
    """A ring and the knock itself: half a sine of 0.4 ms."""
    x = ring(seconds, rate, modes)
    n = max(2, round(4e-4 * rate))
    x[:n] += knock * np.sin(np.pi * (np.arange(n) + 0.5) / n)
    return x


def noise(seconds: float, rate: int, rms: float, seed: int = 1) -> np.ndarray:
    return rms * np.random.default_rng(seed).standard_normal(round(seconds * rate))


def taps_at(
    onsets_s: Sequence[float], seconds: float, rate: int = 48000, rms: float = 1e-4, seed: int = 1, **more
) -> np.ndarray:
    """Taps that ring on through each other, in noise."""
    x = noise(seconds, rate, rms, seed)
    for onset in onsets_s:
        first = round(onset * rate)
        x[first:] += tap((len(x) - first) / rate, rate, **more)[: len(x) - first]
    return x


def pcm(samples: np.ndarray, bits: int, *, floating: bool = False, order: str = "<") -> bytes:
    """(n, channels) or (n,) to interleaved bytes; 8 bit is unsigned in WAV."""
    if floating:
        return samples.astype(f"{order}f{bits // 8}").tobytes()
    whole = np.clip(np.round(samples * 2.0 ** (bits - 1)), -(2.0 ** (bits - 1)), 2.0 ** (bits - 1) - 1)
    if bits == 8:
        return (whole + 128).astype("u1").tobytes() if order == "<" else whole.astype("i1").tobytes()
    if bits == 24:
        four = whole.astype(f"{order}i4").reshape(-1).view("u1").reshape(-1, 4)
        return (four[:, :3] if order == "<" else four[:, 1:]).tobytes()
    return whole.astype(f"{order}i{bits // 8}").tobytes()


def wav_bytes(
    samples: np.ndarray,
    rate: int,
    bits: int = 16,
    *,
    floating: bool = False,
    channels: int | None = None,
    data_length: int | None = None,
    extra: bytes = b"",
    extensible: bool = False,
) -> bytes:
    """RIFF: 'fmt ' (16 or 40 bytes), any `extra` chunks, 'data'. Wrong counts are written as told."""
    data = pcm(samples, bits, floating=floating)
    told = (1 if samples.ndim == 1 else samples.shape[1]) if channels is None else channels
    block = told * bits // 8
    tag = 3 if floating else 1
    fmt = struct.pack("<HHIIHH", 0xFFFE if extensible else tag, told, rate, rate * block, block, bits)
    if extensible:
        guid = struct.pack("<H", tag) + bytes.fromhex("000000001000800000aa00389b71")
        fmt += struct.pack("<HHI", 22, bits, 0) + guid
    length = len(data) if data_length is None else data_length
    body = b"WAVE" + b"fmt " + struct.pack("<I", len(fmt)) + fmt + extra
    body += b"data" + struct.pack("<I", length) + data + b"\0" * (len(data) % 2)
    return b"RIFF" + struct.pack("<I", min(len(body), 0xFFFFFFFF)) + body


def extended(rate: int) -> bytes:
    """80-bit extended float of a whole number, as AIFF keeps its rate."""
    power = rate.bit_length() - 1 if rate else 0
    return struct.pack(">HQ", 16383 + power if rate else 0, rate << (63 - power) if rate else 0)


def aiff_bytes(samples: np.ndarray, rate: int, bits: int = 16) -> bytes:
    """FORM AIFF with COMM and SSND."""
    data = pcm(samples, bits, order=">")
    channels = 1 if samples.ndim == 1 else samples.shape[1]
    comm = struct.pack(">hIh", channels, len(samples), bits) + extended(rate)
    ssnd = struct.pack(">II", 0, 0) + data
    body = b"AIFF" + b"COMM" + struct.pack(">I", len(comm)) + comm
    body += b"SSND" + struct.pack(">I", len(ssnd)) + ssnd + b"\0" * (len(ssnd) % 2)
    return b"FORM" + struct.pack(">I", len(body)) + body


CODECS = {
    "flac": ("flac", "flac", "s16"),
    "mp3": ("mp3", "libmp3lame", "fltp"),
    "m4a": ("ipod", "aac", "fltp"),
    "aac": ("adts", "aac", "fltp"),
}


def encoded(samples: np.ndarray, rate: int, ending: str) -> bytes:
    """Bytes of a file as a phone or a recorder writes it."""
    import av
    import soundfile

    file = io.BytesIO()
    if ending == "ogg":
        soundfile.write(file, samples, rate, format="OGG", subtype="VORBIS")
        return file.getvalue()
    container, codec, kind = CODECS[ending]
    planes = np.atleast_2d(samples.T)
    layout = "mono" if len(planes) == 1 else "stereo"
    with av.open(file, "w", format=container) as out:
        stream = out.add_stream(codec, rate=rate, layout=layout)
        stream.bit_rate = 128_000
        stream.format = kind
        if kind == "s16":
            values = np.round(np.clip(planes, -1, 1 - 2**-15) * 32768).astype("i2").T.reshape(1, -1)
        else:
            values = planes.astype("f4")
        frame = av.AudioFrame.from_ndarray(np.ascontiguousarray(values), format=kind, layout=layout)
        frame.sample_rate = rate
        fifo = av.AudioFifo()
        fifo.write(frame)
        size = stream.codec_context.frame_size or 4096
        while piece := fifo.read(size, partial=True):
            out.mux(stream.encode(piece))
        out.mux(stream.encode(None))
    return file.getvalue()


def written(path: Path, content: bytes) -> Path:
    path.write_bytes(content)
    return path
