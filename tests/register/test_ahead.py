"""Places listened to while the next is tapped: used, and equal to what the screening finds without them."""

from concurrent.futures import Future
from pathlib import Path
from typing import Any, cast

import pytest
from msgspec.structs import replace

from tapscan.register.database import Register, open_register
from tapscan.register.unfinished import find_unfinished
from tapscan.register.upkeep import back_up, restore
from tapscan.report.as_json import dumps
from tapscan.settings import Settings
from tapscan.settings.fit import Fit
from tapscan.signal.plate.station_analysis import Wanted
from tapscan.workers import Workers
from tapscan.workflow import places
from tapscan.workflow.ahead import PlacesAhead, _Found
from tapscan.workflow.record import Recorder, begin_recording, places_ahead
from tapscan.workflow.taken import finish
from tests.register.recording_child import LAYOUT
from tests.register.test_recording import RATE, facts, play

ORDER = ("soft", "hard")
ONSETS = [0.6 + 0.6 * i for i in range(6)]


def recorded(register: Register, folder: Path, workers: Workers) -> tuple[Recorder, PlacesAhead]:
    """Three places, two taps each; the last tap at the second is taken back and given anew."""
    (folder / "three.toml").write_text(LAYOUT)
    unfinished = begin_recording(register, "B12", facts(), str(folder / "three.toml"), ORDER)
    ahead = places_ahead(unfinished, Settings(), workers)
    recorder = Recorder(register, unfinished, RATE, Settings(), ahead)
    play(recorder, ONSETS[:4], 3.3)
    assert recorder.guide.station == "S3"
    recorder.key("undo")
    play(recorder, ONSETS[:3], 2.7, seed=2)
    assert recorder.guide.station is None
    return recorder, ahead


def told(register: Register, number: int, workers: Workers, ahead: PlacesAhead | None) -> str:
    kept = finish(register, number, Settings(), workers, ahead=ahead)
    assert kept.screening is not None and len(kept.screening.pictures) == 3
    return dumps(kept.screening)


def twin_of(register: Register, folder: Path) -> Register:
    """The same register before anything was finished."""
    back_up(register, folder / "kept")
    restore(folder / "kept", folder / "twin")
    return open_register(folder / "twin")


def test_places_listened_to_ahead_are_used_and_equal(
    register: Register, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with Workers(2) as workers:
        assert workers.start()
        recorder, ahead = recorded(register, tmp_path, workers)
        assert len(ahead.listened()) == 6
        assert find_unfinished(register, recorder.id).kept
        later = twin_of(register, tmp_path)
        with monkeypatch.context() as here:
            here.setattr(places, "cut", None)  # no strike is cut out again
            first = told(register, recorder.id, workers, ahead)
        assert ahead.used == 3
    assert told(later, recorder.id, Workers(1), None) == first


def test_what_was_found_otherwise_is_not_used(register: Register, tmp_path: Path) -> None:
    with Workers(2) as workers:
        workers.start()
        recorder, ahead = recorded(register, tmp_path, workers)
        later = twin_of(register, tmp_path)
        other = Settings().but(Fit, highest_hz=2000.0)
        kept = finish(register, recorder.id, other, workers, ahead=ahead)
        assert ahead.used == 0
    alone = finish(later, recorder.id, other)
    assert kept.screening is not None and alone.screening is not None
    assert dumps(kept.screening) == dumps(alone.screening)


def test_without_another_process_all_is_done_at_the_end(register: Register, tmp_path: Path) -> None:
    recorder, ahead = recorded(register, tmp_path, Workers(1))
    assert ahead.listened() == {}
    assert finish(register, recorder.id, Settings(), ahead=ahead).entry is not None
    assert ahead.used == 0


class AtOnce(Workers):
    """Another process that has its answer ready."""

    def submit(self, job: Any, item: Any) -> Any:
        done: Future[Any] = Future()
        done.set_result(_Found((), item.strikes, cast("Any", "the result")))
        return done


def test_a_result_of_other_taps_is_never_taken_for_these(tmp_path: Path) -> None:
    """A tap taken back after it was listened to must not count."""
    wanted = Wanted(Settings(), pictures=True, rough=True, contact=True)
    ahead = PlacesAhead(wanted, AtOnce(2))
    taps = ((str(tmp_path / "1.flac"), "soft"), (str(tmp_path / "2.flac"), "hard"))
    ahead.place("S1", [(Path(path), force) for path, force in taps])
    assert ahead.result("S1", taps[:1], wanted) is None and ahead.used == 0
    assert ahead.result("S1", taps, replace(wanted, contact=False)) is None and ahead.used == 0
    assert ahead.result("S1", taps, wanted) == "the result" and ahead.used == 1
