"""Sound through a lossy codec and back, in memory.

CODECS                          those that are counted, by name
round_trip(samples, rate, c)    decoded samples and their rate (Opus gives 48 kHz), the codec's delay left in
encode(path, samples, rate, c)  a file as a phone would write it

Needs PyAV; Vorbis by libsndfile. FFmpeg's AAC encoder is not a phone's: cut-offs differ between encoders.
"""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import av
import numpy as np
import soundfile
from msgspec import Struct


class Codec(Struct, frozen=True):
    """An encoder by FFmpeg's name."""

    encoder: str
    container: str
    kbps: int | None


CODECS = {
    "AAC 64": Codec("aac", "mp4", 64),
    "AAC 128": Codec("aac", "mp4", 128),
    "AAC 256": Codec("aac", "mp4", 256),
    "MP3 128": Codec("libmp3lame", "mp3", 128),
    "MP3 320": Codec("libmp3lame", "mp3", 320),
    "Opus 64": Codec("libopus", "ogg", 64),
    "Vorbis": Codec("vorbis", "ogg", None),
}


def round_trip(samples: np.ndarray, sample_rate_hz: int, codec: Codec) -> tuple[np.ndarray, int]:
    """(n,) samples, full scale = 1; the decoded ones are rounded to 16 bit, as a WAV made of them holds."""
    store = io.BytesIO()
    encode(store, samples, sample_rate_hz, codec)
    store.seek(0)
    if codec.encoder == "vorbis":
        decoded, rate = soundfile.read(store)
    else:
        decoded, rate = _decoded(store)
    return np.round(32767 * np.clip(decoded, -1, 1)) / 32768, rate


def encode(target: Path | io.BytesIO, samples: np.ndarray, sample_rate_hz: int, codec: Codec) -> None:
    """Write a mono file."""
    if codec.encoder == "vorbis":
        soundfile.write(target, samples, sample_rate_hz, format="OGG", subtype="VORBIS")
        return
    rate = 48000 if codec.encoder == "libopus" else sample_rate_hz
    with av.open(str(target) if isinstance(target, Path) else target, "w", format=codec.container) as container:
        stream: Any = container.add_stream(codec.encoder, rate=rate, layout="mono")
        stream.bit_rate = 1000 * (codec.kbps or 0)
        stream.codec_context.open()
        size = stream.codec_context.frame_size or 960
        resampler = av.AudioResampler(stream.codec_context.format, "mono", rate, frame_size=size)
        frame = av.AudioFrame.from_ndarray(np.asarray(samples, dtype=np.float32)[None], format="fltp", layout="mono")
        frame.sample_rate = sample_rate_hz
        for piece in [*resampler.resample(frame), *resampler.resample(None)]:
            container.mux(stream.encode(piece))
        container.mux(stream.encode(None))


def _decoded(store: io.BytesIO) -> tuple[np.ndarray, int]:
    with av.open(store) as source:
        resampler = av.AudioResampler("flt", "mono")
        frames = [p for f in source.decode(audio=0) for p in resampler.resample(f)]
        return np.concatenate([f.to_ndarray()[0] for f in frames]).astype(float), frames[0].sample_rate
