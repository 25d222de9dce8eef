"""A recording that takes long to hash is hashed while it is listened to, and by this process alone where there is no other."""

from hashlib import sha256

import pytest

from tapscan.errors import UnreadableRecording
from tapscan.settings import Settings
from tapscan.workers import Workers
from tapscan.workflow.listen import Heard, listen_all
from tests.sounds import taps_at, wav_bytes, written


@pytest.fixture
def take(tmp_path, monkeypatch):
    monkeypatch.setattr("tapscan.workflow.listen.HASHED_BYTES", 0)
    return written(tmp_path / "tap.wav", wav_bytes(taps_at([0.5], 2.0), 48_000, 16))


@pytest.mark.parametrize("jobs", [1, 2])
def test_the_hash_is_that_of_the_bytes(jobs, take):
    (heard,) = listen_all([str(take)], Settings(), Workers(jobs))
    assert isinstance(heard, Heard) and len(heard.spans) == 1
    assert heard.source.sha256 == heard.recording.sha256 == sha256(take.read_bytes()).hexdigest()


@pytest.mark.parametrize("jobs", [1, 2])
def test_a_file_that_goes_away_meanwhile_is_told_as_such(jobs, take, monkeypatch):
    def gone(path):
        raise UnreadableRecording(f"{path}: is not there")

    monkeypatch.setattr("tapscan.workflow.listen.sha256_of", gone)
    (found,) = listen_all([str(take)], Settings(), Workers(jobs))
    assert isinstance(found, UnreadableRecording) and "is not there" in str(found)


@pytest.mark.parametrize("jobs", [1, 2])
def test_what_else_goes_wrong_in_the_thread_goes_wrong_here(jobs, take, monkeypatch):
    def full(path):
        raise MemoryError

    monkeypatch.setattr("tapscan.workflow.listen.sha256_of", full)
    with pytest.raises(MemoryError):
        listen_all([str(take)], Settings(), Workers(jobs))
