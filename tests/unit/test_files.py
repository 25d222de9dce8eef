"""Sound files: every format at its native rate; every broken one refused in one helpful line."""

import os
import struct
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from tapscan.errors import UnreadableRecording
from tapscan.recording.files import open_sound
from tapscan.settings import Settings
from tapscan.workflow.listen import listen
from tests.every import each
from tests.sounds import aiff_bytes, encoded, taps_at, wav_bytes, written

RATES = [8000, 44100, 48000, 96000, 192000]
ENDINGS = ["wav", "flac", "aiff", "ogg", "mp3", "m4a", "aac"]


def sound(rate: int = 16000, seconds: float = 0.5, channels: int = 1) -> np.ndarray:
    x = taps_at([0.1, 0.3], seconds, rate)
    return x if channels == 1 else np.stack([x, -0.5 * x], axis=1)


def file_of(ending: str, x: np.ndarray, rate: int = 16000) -> bytes:
    return {"wav": wav_bytes, "aiff": aiff_bytes}.get(ending, lambda x, r: encoded(x, r, ending))(x, rate)


def samples_of(path: Path, block: int = 1 << 20) -> np.ndarray:
    with open_sound(path) as source:
        return np.concatenate(list(source.blocks(block)))


def assert_close(found: np.ndarray, wanted: np.ndarray, within: float) -> None:
    """Of one shape, and no sample further apart."""
    np.testing.assert_allclose(found, wanted, rtol=0, atol=within, strict=True)


def refusal(path: Path) -> str:
    """The whole message of a file that cannot be read, from opening to its last sample."""
    with pytest.raises(UnreadableRecording) as caught:
        samples_of(path)
    line = str(caught.value)
    assert "\n" not in line
    assert line.isprintable()
    assert path.name in line
    what, _, mend = line.removeprefix(f"{path}: ").partition("; ")
    assert len(what) > 5
    assert len(mend) > 10
    return line


@each("rate", RATES)
@each("channels", [1, 2])
@each(("bits", "floating"), [(8, False), (16, False), (24, False), (32, False), (32, True), (64, True)])
def test_wav(tmp_path, rate, channels, bits, floating):
    x = sound(rate, 0.5, channels)
    path = written(tmp_path / "tap.wav", wav_bytes(x, rate, bits, floating=floating))
    with open_sound(path) as source:
        assert (source.sample_rate_hz, source.channels, source.frames) == (rate, channels, len(x))
        assert source.duration_s == pytest.approx(0.5)
        # Half a step of the samples' resolution (24 bit for float32), full scale = 1.
        step = 2.0 ** -(bits - 1) if not floating else 2.0**-24
        assert_close(source.read(0, len(x)), x.reshape(len(x), -1), 0.51 * step)


def test_sixteen_bits_are_libsndfiles_figures_to_the_last_digit(tmp_path):
    path = written(tmp_path / "tap.wav", wav_bytes(sound(48_000), 48_000, 16))
    with open_sound(path) as source:
        assert np.array_equal(source.read(0, source.frames), soundfile.read(path, dtype="float64", always_2d=True)[0])


def test_a_folder_and_a_file_that_the_system_will_not_even_look_for_are_told_as_such(tmp_path):
    for name, told in (("x" * 300 + ".wav", "cannot be read"), ("", "is a folder"), ("y.wav", "is not there")):
        with pytest.raises(UnreadableRecording, match=told):
            listen(str(tmp_path / name), Settings())


@each("ending", ["aiff", "flac"])
@each("rate", RATES)
@each("channels", [1, 2])
def test_lossless(tmp_path, ending, rate, channels):
    x = sound(rate, 0.5, channels)
    path = written(tmp_path / f"tap.{ending}", file_of(ending, x, rate))
    with open_sound(path) as source:
        assert (source.sample_rate_hz, source.channels, source.frames) == (rate, channels, len(x))
        assert_close(source.read(0, len(x)), x.reshape(len(x), -1), 0.51 * 2**-15)


@pytest.mark.parametrize(
    ("ending", "rate"),
    [("ogg", r) for r in (8000, 44100, 192000)]
    + [("mp3", r) for r in (8000, 44100, 48000)]
    + [("m4a", r) for r in (8000, 44100, 96000)]
    + [("aac", r) for r in (8000, 48000)],
)
@pytest.mark.parametrize("channels", [1, 2])
def test_lossy(tmp_path, ending, rate, channels):
    """Rate, channels, and the sound itself: a slow tone keeps its frequency, level and length."""
    t = np.arange(2 * rate) / rate
    x = 0.3 * np.sin(2 * np.pi * 500 * t)
    x = x if channels == 1 else np.stack([x, 0.5 * x], axis=1)
    path = written(tmp_path / f"tap.{ending}", file_of(ending, x, rate))
    with open_sound(path) as source:
        assert (source.sample_rate_hz, source.channels) == (rate, channels)
        # s: AAC works in frames of 1024 samples, two of them at the start and one at the end.
        assert source.duration_s == pytest.approx(2.0, abs=3 * 1024 / rate + 0.001)
        y = source.read(0, source.frames)
    middle = y[rate // 2 : rate // 2 + rate]
    lines = np.abs(np.fft.rfft(middle * np.hanning(rate)[:, None], axis=0)) * 4 / rate
    assert np.argmax(lines, axis=0).tolist() == [500] * channels
    # 6 %: one MP3 encoder turns everything down by 5 % to keep its peaks under full scale.
    assert lines[500] == pytest.approx([0.3, 0.15][:channels], rel=0.06)


@pytest.mark.parametrize("ending", ENDINGS)
def test_blocks_and_stretches_agree(tmp_path, ending):
    path = written(tmp_path / f"tap.{ending}", file_of(ending, sound(16000, 1.0), 16000))
    whole = samples_of(path)
    # Two steps of float32: a decoder started elsewhere may round differently.
    assert_close(samples_of(path, 777), whole, 2.5e-7)
    with open_sound(path) as source:
        assert_close(source.read(5000, 123), whole[5000:5123], 2.5e-7)
        assert_close(source.read(-50, 100), whole[:50], 2.5e-7)
        assert len(source.read(source.frames - 10, 100)) == 10


def test_the_names_ending_does_not_matter(tmp_path):
    x = sound()
    path = written(tmp_path / "voice memo.wav", encoded(x, 16000, "m4a"))
    assert samples_of(path).shape[1] == 1


def test_wav_variants(tmp_path):
    x = sound()
    wanted = np.round(x * 32768)[:, None] / 32768
    odd_chunk = b"LIST" + struct.pack("<I", 5) + b"abcde\0"
    for content in (
        wav_bytes(x, 16000, extra=odd_chunk),
        wav_bytes(x, 16000, extensible=True),
        wav_bytes(x, 16000, data_length=0xFFFFFFFF),  # a recorder that streams
        wav_bytes(x, 16000) + b"id3 " + struct.pack("<I", 4) + b"last",
    ):
        assert_close(samples_of(written(tmp_path / "tap.wav", content)), wanted, 2**-16)


def test_flac_that_tells_no_length(tmp_path):
    content = bytearray(encoded(sound(), 16000, "flac"))
    content[21] &= 0xF0  # 36 bits of sample count in STREAMINFO
    content[22:26] = bytes(4)
    assert samples_of(written(tmp_path / "tap.flac", bytes(content))).shape == (8000, 1)


def test_sha256_is_of_the_files_bytes(tmp_path):
    import hashlib

    content = wav_bytes(sound(), 16000)
    with open_sound(written(tmp_path / "tap.wav", content)) as source:
        assert source.sha256 == hashlib.sha256(content).hexdigest()


def test_missing(tmp_path):
    assert "is not there" in refusal(tmp_path / "nowhere.wav")


def test_folder(tmp_path):
    assert "folder" in refusal(tmp_path)


@each("ending", ENDINGS)
def test_empty(tmp_path, ending):
    assert "is empty" in refusal(written(tmp_path / f"tap.{ending}", b""))


@each("ending", ENDINGS)
def test_text_with_a_sounds_name(tmp_path, ending):
    line = refusal(written(tmp_path / f"tap.{ending}", "Plate 12, tapped on Monday, ü\n".encode() * 50))
    assert "is text, not sound" in line


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root and Windows may read it all")
def test_no_permission(tmp_path):
    path = written(tmp_path / "tap.wav", wav_bytes(sound(), 16000))
    path.chmod(0)
    assert "may not be read" in refusal(path)


def test_no_permission_said_by_the_system(tmp_path, monkeypatch):
    path = written(tmp_path / "tap.wav", wav_bytes(sound(), 16000))

    def refuse(*_args, **_more):
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr(Path, "open", refuse)
    assert "may not be read" in refusal(path)


def test_disk_trouble_said_by_the_system(tmp_path, monkeypatch):
    path = written(tmp_path / "tap.wav", wav_bytes(sound(), 16000))

    def refuse(*_args, **_more):
        raise OSError(5, "Input/output error", str(path))

    monkeypatch.setattr(Path, "open", refuse)
    assert "Input/output error" in refusal(path)


@each("length", [1, 4, 11, 12, 19, 20, 30, 43])
def test_wav_header_cut_short(tmp_path, length):
    refusal(written(tmp_path / "tap.wav", wav_bytes(sound(), 16000)[:length]))


@cache
def five_seconds(ending: str) -> bytes:
    return file_of(ending, sound(16000, 5.0), 16000)


@each("ending", ["wav", "aiff", "flac", "ogg", "mp3", "m4a", "aac"])
@each("share", [0.3, 0.6, 0.9])
def test_data_cut_short(tmp_path, ending, share):
    content = five_seconds(ending)
    refusal(written(tmp_path / f"tap.{ending}", content[: round(share * len(content))]))


def test_ogg_cut_between_two_pages(tmp_path):
    content = five_seconds("ogg")
    path = written(tmp_path / "tap.ogg", content[: content.rfind(b"OggS")])
    assert "page that ends" in refusal(path)


def test_a_title_in_no_known_letters_does_not_matter(tmp_path):
    title = b"\x03\xff\xfe\xe9t\xe9"  # told to be UTF-8, and is not
    tag = b"TIT2" + struct.pack(">IH", len(title), 0) + title
    content = b"ID3\x04\0\0" + struct.pack(">I", len(tag)) + tag + encoded(sound(), 16000, "mp3")
    assert len(samples_of(written(tmp_path / "tap.mp3", content))) == 8000


def test_wav_says_how_much_is_missing(tmp_path):
    line = refusal(written(tmp_path / "tap.wav", wav_bytes(sound(), 16000)[:-1000]))
    assert "1000 bytes" in line


@each("length", [16001, 2**31, 0xFFFFFFF0])
def test_header_that_claims_more_than_there_is(tmp_path, length):
    line = refusal(written(tmp_path / "tap.wav", wav_bytes(sound(), 16000, data_length=length)))
    assert "promises" in line


def test_long_wav_that_claims_more_than_there_is(tmp_path):
    """RF64 keeps its true length in a chunk of its own."""
    long_length = b"ds64" + struct.pack("<IQQQI", 28, 10**6, 10**6, 0, 0)
    content = wav_bytes(sound(), 16000, data_length=0xFFFFFFFF)
    content = b"RF64" + b"\xff" * 4 + b"WAVE" + long_length + content[12:]
    assert "promises" in refusal(written(tmp_path / "tap.wav", content))


def test_zero_channels(tmp_path):
    assert "hannel" in refusal(written(tmp_path / "tap.wav", wav_bytes(sound(), 16000, channels=0)))


def test_zero_rate(tmp_path):
    assert "rate" in refusal(written(tmp_path / "tap.wav", wav_bytes(sound(), 0)))
    refusal(written(tmp_path / "tap.aiff", aiff_bytes(sound(), 0)))


@each("rate", [1, 4000, 7999, 192001, 384000])
def test_rates_that_are_not_read(tmp_path, rate):
    line = refusal(written(tmp_path / "tap.wav", wav_bytes(sound(), rate)))
    assert f"{rate} samples a second" in line
    assert "44100" in line


@each("bad", [np.nan, np.inf, -np.inf])
@each("place", [0, 4321, 7999])
def test_a_sample_that_is_no_number(tmp_path, bad, place):
    x = sound()
    x[place] = bad
    line = refusal(written(tmp_path / "tap.wav", wav_bytes(x, 16000, 32, floating=True)))
    assert f"{place / 16000:.3f} s" in line


@each("ending", ["wav", "aiff"])
def test_header_without_sound(tmp_path, ending):
    assert "no sound" in refusal(written(tmp_path / f"tap.{ending}", file_of(ending, np.empty(0))))


def test_film_without_sound(tmp_path):
    import av

    path = tmp_path / "film.m4a"
    with av.open(str(path), "w", format="mp4") as out:
        stream = out.add_stream("mpeg4", rate=25)
        stream.width = stream.height = 32
        out.mux(stream.encode(av.VideoFrame.from_ndarray(np.zeros((32, 32, 3), np.uint8))))
        out.mux(stream.encode(None))
    assert "no sound track" in refusal(path)


@each("seed", range(6))
@each("ending", ENDINGS)
def test_random_bytes(tmp_path, ending, seed):
    content = np.random.default_rng(seed).bytes(20_000)
    refusal(written(tmp_path / f"tap.{ending}", content))


@cache
def whole(ending):
    return file_of(ending, sound(16000, 0.4), 16000)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    ending=st.sampled_from(ENDINGS),
    places=st.lists(st.tuples(st.floats(0, 0.999), st.integers(0, 255)), min_size=1, max_size=6),
    front=st.booleans(),
)
@example(ending="m4a", places=[(0.916015625, 0)], front=False)  # the name of its codec is gone
def test_damaged_files_are_read_or_refused_and_nothing_else(tmp_path, capfd, ending, places, front):
    content = bytearray(whole(ending))
    reach = min(len(content), 100) if front else len(content)
    for place, value in places:
        content[int(place * reach)] = value
    path = written(tmp_path / f"tap.{ending}", bytes(content))
    try:
        with open_sound(path) as source:
            found = source.read(0, min(source.frames, 10**6))
        assert np.isfinite(found).all()
    except UnreadableRecording as problem:
        assert str(problem).isprintable()
    assert capfd.readouterr().err == ""  # decoders keep quiet


@each("name", ["two\nlines.wav", "bell\x07.wav", "red\x1b[31m.wav", "mark\u202e.wav"])
def test_strange_names_stay_on_one_line(tmp_path, name):
    with pytest.raises(UnreadableRecording) as caught:
        open_sound(tmp_path / name)
    assert str(caught.value).isprintable()
    with pytest.raises(UnreadableRecording) as caught:
        open_sound(written(tmp_path / name, encoded(sound(), 16000, "m4a")[:1000]))
    assert str(caught.value).isprintable()


def test_it_is_also_the_built_in_kind(tmp_path):
    with pytest.raises(OSError, match="is not there"):
        open_sound(tmp_path / "nowhere.wav")
