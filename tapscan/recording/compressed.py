"""Whether the codec of a file loses sound.

    compression_of(codec)   Compression, or None for a codec that gives back every sample

Names are those of FFmpeg (PyAV) and of libsndfile. A name that is not known to be lossless counts as lossy.
"""

from tapscan.records import Compression

LOSSLESS = ("pcm", "flac", "alac", "float", "double", "dwv")
SAME = {"mpeg_layer_iii": "mp3", "mpeg_layer_ii": "mp2", "mpeg_layer_i": "mp1", "mp3float": "mp3", "aac_fixed": "aac"}


def compression_of(codec: str) -> Compression | None:
    """By the decoder's or libsndfile's name of the codec, in any case."""
    name = codec.lower()
    if name.startswith(LOSSLESS):
        return None
    return Compression(SAME.get(name, name), "container")
