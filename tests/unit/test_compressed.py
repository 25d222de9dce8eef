"""Lossy codecs are told by the file, and rules that need the waveform are then not run. Files are made on the fly by FFmpeg (PyAV)."""

from pathlib import Path

import av
import numpy as np
import pytest
import soundfile
from msgspec.structs import replace
from scipy.signal import resample

from bench.simulate.codecs import Codec, round_trip
from tapscan.plain_values import plain, revived
from tapscan.records import Compression, Recording, RuleNotRun, Screening
from tapscan.register.file_store import FolderFiles
from tapscan.register.files import path_of
from tapscan.report.as_json import _recording
from tapscan.screening.compare.compare_scans import compare_scans, with_comparison
from tapscan.screening.compressed import limitation, not_comparable
from tapscan.screening.disposition import UNDECIDED, dispose
from tapscan.screening.limitations import limitations
from tapscan.screening.rules import RULES, run_rules
from tapscan.settings import Settings
from tapscan.signal.strikes.lossy import traces_of
from tapscan.workflow.listen import listen
from tapscan.workflow.stored_audio import with_codecs
from tests import compared
from tests.rule_scans import mode, scan
from tests.snapshots import same_as_before

RATE_HZ = 48000
WAVEFORM = {"force-dependence", "buzz", "dead-place", "local-ringing", "long-decay", "room-hum-handling"}


def encoded(path, encoder, bits_per_s=None):
    t = np.arange(RATE_HZ) / RATE_HZ
    sound = np.where(t > 0.4, 0.5 * np.exp(-6 * (t - 0.4)) * np.sin(2 * np.pi * 640 * t), 0).astype(np.float32)
    if encoder == "vorbis":  # libsndfile brings the encoder
        soundfile.write(str(path), sound, RATE_HZ, format="OGG", subtype="VORBIS")
        return str(path)
    with av.open(str(path), "w") as container:
        stream = container.add_stream(encoder, rate=RATE_HZ, layout="mono")
        if bits_per_s:
            stream.bit_rate = bits_per_s
        frame = av.AudioFrame.from_ndarray(sound[None], format="fltp", layout="mono")
        frame.sample_rate = RATE_HZ
        resampler = av.AudioResampler(stream.codec_context.format, "mono", RATE_HZ, frame_size=960)
        for piece in [*resampler.resample(frame), *resampler.resample(None)]:
            container.mux(stream.encode(piece))
        container.mux(stream.encode(None))
    return str(path)


@pytest.mark.parametrize(
    ("name", "encoder", "codec"),
    [
        ("a.m4a", "aac", "aac"),
        ("a.mp3", "libmp3lame", "mp3"),
        ("a.ogg", "libopus", "opus"),
        ("b.ogg", "vorbis", "vorbis"),
        ("b.m4a", "alac", None),
        ("a.flac", "flac", None),
        ("a.caf", "pcm_s16be", None),
        ("a.wav", "pcm_s16le", None),
    ],
)
def test_the_file_tells_its_codec(tmp_path, name, encoder, codec):
    heard = listen(encoded(tmp_path / name, encoder, 128000 if codec else None), Settings())
    heard.source.__exit__()
    assert heard.recording.compression == (Compression(codec, "container") if codec else None)


def lossy(codec="aac"):
    compression = Compression(codec, "container") if codec else None
    return Recording("F1", "a", "00" * 32, RATE_HZ, 1, 0, 9.0, compression=compression)


def test_rules_that_need_the_waveform_are_not_run():
    _, not_run = run_rules(scan([mode("M1", 300.0)], recordings=(lossy(),)), Settings())
    assert {r.rule for r in not_run if isinstance(r, RuleNotRun) and r.reason.startswith("compressed")} == WAVEFORM
    assert {r.name for r in RULES} >= WAVEFORM


def test_the_first_limitation_says_so_only_where_it_is_so():
    said = [limitations(scan([], recordings=(lossy(c),)), Settings())[0] for c in ("aac", None)]
    assert ["compressed" in s for s in said] == [True, False]


def test_the_fact_is_stored_and_given():
    recording = lossy()
    assert revived(Recording, plain(recording)) == recording
    assert _recording(recording)["compression"] == {"codec": "aac", "told_by": "container"}
    assert _recording(lossy(None))["compression_reason"]


def test_a_silent_compressed_scan_is_no_answer_and_is_not_compared():
    scans = [scan([mode("M1", 300.0)], recordings=(lossy(c),)) for c in ("mp3", None)]
    told = [dispose(s, (), (), Settings()).disposition for s in scans]
    assert told == ["inconclusive", "no relevant indication"]
    assert not_comparable(scans) and not_comparable(scans[1:]) is None


def test_a_tone_that_stands_out_is_told_through_a_codec_too():
    """A strong tone outlives a codec, and a relevant indication goes before "inconclusive"; that the sound is compressed stands first among the limits."""
    ringing = mode("M1", 3000.0, t60_s=2.0, prominent=True, stations_prominent=12, tone_to_noise_db=20.0)
    lossy_scan = scan([ringing], recordings=(lossy("mp3"),))
    found, _ = run_rules(lossy_scan, Settings())
    assert [i.rule for i in found] == ["prominent-ringing"]
    assert dispose(lossy_scan, found, (), Settings()).disposition == "relevant indication"
    assert "MP3" in limitations(lossy_scan, Settings())[0]


def test_the_reason_tells_not_looked_at_from_nothing_told():
    never, at_container = (replace(lossy(None), compression_looked_at=at) for at in ((), ("container",)))
    reasons = [_recording(r)["compression_reason"] for r in (never, at_container)]
    assert [why.startswith("not looked at") for why in reasons] == [True, False]
    same_as_before("compression-unknown", "\n".join(reasons))


def test_an_older_scan_is_looked_up_in_the_kept_files(tmp_path):
    """Stored before codecs were told: the comparison must refuse it all the same. A file that is gone stays unknown."""
    told = []
    for sha256, (name, encoder) in {"ab" * 32: ("a.m4a", "aac"), "cd" * 32: ("a.wav", "pcm_s16le")}.items():
        kept = path_of(tmp_path, sha256)
        kept.parent.mkdir(parents=True, exist_ok=True)
        kept.write_bytes(Path(encoded(tmp_path / name, encoder)).read_bytes())
        told.append(replace(lossy(None), sha256=sha256))
    gone = replace(lossy(None), sha256="ef" * 32)
    found = with_codecs(scan([], recordings=(*told, gone)), FolderFiles(tmp_path)).recordings
    assert [r.compression for r in found] == [Compression("aac", "container"), None, None]
    assert [r.compression_looked_at for r in found] == [("container",), ("container",), ()]


def beside(codec):
    """A cracked plate's later scan through `codec`, beside three clean ones."""
    later = replace(compared.scan(compared.crack(), seed=43), recordings=(lossy(codec),))
    return later, compare_scans(compared.named(later, "2026-05-01"), compared.BASE, compared.SETTINGS)


def test_a_refused_comparison_gives_no_figure_of_lossy_sound():
    figures = (
        "pairs",
        "lost",
        "gained",
        "where",
        "statistic",
        "loss_statistic",
        "common",
        "explanation",
        "indications",
    )
    _, clean = beside(None)
    assert clean.pairs and clean.statistic and clean.indications
    _, refused = beside("aac")
    assert not any(getattr(refused, name) for name in figures)
    assert refused.reason.startswith("compressed") and refused.rules_not_run


def test_beside_earlier_scans_the_codec_is_still_named_first():
    later, comparison = beside("aac")
    screening = Screening(later, "inconclusive", "", "", (), (), (), limitations(later, Settings()), "")
    told = with_comparison(screening, comparison, compared.SETTINGS)
    assert told.limitations[0] == limitation(later)


def test_in_the_piano_the_summary_names_the_codec_too():
    told = dispose(scan([mode("M1", 300.0)], recordings=(lossy(),), state="strung"), (), (), Settings())
    assert told.headline == UNDECIDED and "AAC" in told.summary


def hit(rate_hz, hiss_db=-45.0):
    """One tap in white hiss, 16 bit."""
    rng = np.random.default_rng(5)
    t = np.arange(2 * rate_hz) / rate_hz - 0.4
    ring = np.where(t > 0, 0.5 * np.exp(-3 * t) * np.sin(2 * np.pi * 640 * t), 0)
    return np.round(32767 * (ring + 10 ** (hiss_db / 20) * rng.standard_normal(len(t)))) / 32768


def as_wav(path, sound, rate_hz):
    soundfile.write(str(path), sound, rate_hz, subtype="PCM_16")
    heard = listen(str(path), Settings())
    heard.source.__exit__()
    assert heard.recording.channel_used == 0, "no tap was found, so nothing was looked at"
    return heard.recording


@pytest.mark.parametrize("rate_hz", [8000, 16000, 44100, 48000, 96000])
@pytest.mark.parametrize("hiss_db", [-80.0, -45.0])
def test_an_untouched_wav_is_not_called_compressed(tmp_path, rate_hz, hiss_db):
    told = as_wav(tmp_path / "a.wav", hit(rate_hz, hiss_db), rate_hz)
    assert (told.compression, told.compression_looked_at) == (None, ("container", "spectrum"))


@pytest.mark.parametrize("rate_hz", [44100, 48000])
@pytest.mark.parametrize(("codec", "container", "kbps"), [("aac", "mp4", 64), ("libopus", "ogg", 64)])
def test_a_wav_that_was_compressed_is_told_by_its_spectrum(tmp_path, rate_hz, codec, container, kbps):
    sound, rate = round_trip(hit(rate_hz), rate_hz, Codec(codec, container, kbps))
    assert as_wav(tmp_path / "a.wav", sound, rate).compression == Compression("unknown", "spectrum")


@pytest.mark.parametrize("lower_hz", [8000, 16000, 22050, 32000])
def test_a_raised_sampling_rate_is_no_compression(tmp_path, lower_hz):
    rounded = np.round(32767 * resample(hit(lower_hz), 2 * 48000)) / 32768
    if lower_hz > 16000:
        assert traces_of([rounded[19200:57600]], 48000) == "upsampled"
    assert as_wav(tmp_path / "a.wav", rounded, 48000).compression is None


def test_a_codec_that_is_not_named_is_said_in_words():
    unnamed = replace(lossy(), compression=Compression("unknown", "spectrum"))
    said = limitation(scan([], recordings=(unnamed,)))
    assert said and "UNKNOWN" not in said
