"""The reference bar beside a plate's scans: imported, recorded, stored, compared. Bar and taps are simulated (bench/simulate/bar.py)."""

import csv
import datetime as dt
import json
import shutil
from pathlib import Path

import numpy as np
import pytest
import soundfile
from msgspec.structs import replace

from bench.simulate.bar import SHAPES, Bar, Chain, recording, set_up
from tapscan.errors import BadRequest, UnknownName
from tapscan.layouts import layout_from_text
from tapscan.records import BarReading, ScanConditions, ScanForComparison
from tapscan.register.bars import find_bar, list_bars, readings_of
from tapscan.register.database import open_register
from tapscan.register.entries import NewScan
from tapscan.register.results import load_screening
from tapscan.register.scans import list_scans
from tapscan.register.unfinished import find_unfinished
from tapscan.register.upkeep import back_up, check_register
from tapscan.report.as_json import dumps
from tapscan.report.page import render_page
from tapscan.screening.chain.chain_change import ONE_RECORDING
from tapscan.screening.chain.words import of_list
from tapscan.screening.compare.compare_scans import compare_scans
from tapscan.sensors import Sensor
from tapscan.settings import Settings
from tapscan.workflow.bar import BAR_TURNS, USUAL_NAME, BarFiles
from tapscan.workflow.bars import named_bar, note_bar
from tapscan.workflow.check import Request
from tapscan.workflow.exports import export_csv, export_json
from tapscan.workflow.import_scan import import_scan, rescreen
from tapscan.workflow.record import Recorder, begin_recording
from tapscan.workflow.taken import finish, missing_stations
from tests.register.recording_child import LAYOUT
from tests.snapshots import same_as_before, without_figures
from tests.sounds import taps_at

RATE = 16_000
STEEL = Bar(0.45, 0.035, 0.011, -0.00014, (1500.0,) * (2 * SHAPES))
USUAL = Chain()
PLATE = ((412.0, 0.2, 0.10), (655.0, 0.2, 0.1), (1130.0, 0.15, 0.11), (2480.0, 0.1, 0.12))
PICKUP = Sensor("contact")
COLD = ScanConditions(state="stripped", sensor=PICKUP, air_c=18.0)
WARM = ScanConditions(state="stripped", sensor=PICKUP, air_c=19.0, iron_c=18.0)
pytestmark = pytest.mark.usefixtures("measured_once")


def bar_file(folder: Path, name: str, chain: Chain = USUAL, seed: int = 1) -> str:
    rng = np.random.default_rng(seed)
    soundfile.write(folder / name, recording(set_up(STEEL, chain, rng), 3, rng), chain.rate_hz, subtype="PCM_24")
    return str(folder / name)


def plate_file(folder: Path, name: str, seed: int) -> str:
    onsets = [0.6 + 1.2 * k for k in range(6)]
    soundfile.write(folder / name, 0.5 * taps_at(onsets, 8.5, RATE, modes=PLATE, seed=seed), RATE)
    return str(folder / name)


def imported(register, folder: Path, seed: int, bar: BarFiles | None, made: ScanConditions = COLD):
    layout = layout_from_text(LAYOUT, "three")
    request = Request(layout=layout, order=("soft", "hard"), bar=bar, as_split=True, sure=True)
    new = NewScan(dt.date(2026, 3, 13 + seed), made)
    return import_scan(register, "B12", [plate_file(folder, f"plate{seed}.wav", seed)], new, request)


@pytest.fixture(scope="module")
def with_bar(template, tmp_path_factory):
    """Sounds, a register's folder, and its scan of 14 March with the bar before and after it."""
    sounds, folder = tmp_path_factory.mktemp("sounds"), tmp_path_factory.mktemp("with-bar") / "register"
    files = BarFiles(USUAL_NAME, (bar_file(sounds, "a.wav"),), (bar_file(sounds, "b.wav", seed=2),))
    return sounds, folder, imported(open_register(Path(shutil.copytree(template, folder))), sounds, 1, files).entry


@pytest.fixture
def first(register, tmp_path, with_bar):
    """That scan in the test's own register, its sounds in the test's own folder."""
    sounds, folder, entry = with_bar
    shutil.copytree(folder, register.folder, dirs_exist_ok=True)
    shutil.copytree(sounds, tmp_path, dirs_exist_ok=True)
    return entry


def test_the_bar_is_kept_with_the_scan_and_with_the_shop(register, first):
    assert first.bar.name == USUAL_NAME
    assert [f.name for f in first.bar.files] == ["a.wav", "b.wav"]
    assert [f.name for f in first.files] == ["plate1.wav"], "it is no recording of the plate"
    (bar,) = list_bars(register)
    scan = load_screening(register, first.current.id).scan
    assert (bar.first_scan, bar.first) == (first.name, scan.bar.first)
    assert scan.bar.drift is not None
    assert (scan.bar.drift.seen, scan.bar.drift.reason) == ((), None)
    assert not any("bar" in r.file or "a.wav" in r.file for r in scan.recordings)
    assert [e.name for e, _ in readings_of(register, "Reference BAR")] == [first.name]
    with pytest.raises(UnknownName):
        find_bar(register, "elsewhere")


def test_it_is_checked_backed_up_and_read_again(register, first, tmp_path):
    assert check_register(register).wrong == ()
    assert check_register(register).leftover == ()
    assert back_up(register, tmp_path / "copy").missing == ()
    again = rescreen(register, first.name, Settings())
    before = load_screening(register, first.screenings[0].id).scan.bar
    assert again.screening.scan.bar == before
    (register.folder / "files" / first.bar.first[0].sha256[:2] / first.bar.first[0].sha256).unlink()
    assert any("reference bar" in w and first.name in w for w in check_register(register).wrong)
    assert rescreen(register, first.name, Settings()).unreadable


def test_it_is_in_both_exports(register, first, tmp_path):
    note_bar(register, USUAL_NAME, "=450 mm")
    export_csv(register, tmp_path / "csv")
    rows = {}
    for name in ("bars", "scans"):
        with (tmp_path / "csv" / f"{name}.csv").open(encoding="utf-8-sig", newline="") as file:
            (rows[name],) = csv.DictReader(file)
    assert (rows["bars"]["notes"], rows["bars"]["first_scan"]) == ("'=450 mm", first.name)
    assert rows["scans"]["bar"] == rows["bars"]["bar"] == USUAL_NAME
    export_json(register, tmp_path / "all.json")
    told = json.loads((tmp_path / "all.json").read_text(encoding="utf-8"))
    (bar,), (scan,) = told["bars"], told["plates"][0]["scans"]
    assert bar["first"] == scan["screening"]["scan"]["bar"]["first"]


def test_one_recording_of_the_bar_serves_two_scans_of_a_day(register, first, tmp_path):
    files = BarFiles(USUAL_NAME, (str(tmp_path / "a.wav"),))
    second = imported(register, tmp_path, 2, files).entry
    assert second.bar.first[0].sha256 == first.bar.first[0].sha256
    (bar,) = list_bars(register)
    assert bar.first_scan == first.name, "the first reading stays the first"
    scan = load_screening(register, second.current.id).scan
    assert scan.bar.drift is None
    assert scan.bar.drift_reason
    told = compare_scans(for_comparison(register, second), [for_comparison(register, first)], Settings())
    assert (told.chain, told.chain_reason) == ((), ONE_RECORDING)


def test_one_recording_given_as_first_and_last_is_no_comparison(register, tmp_path):
    file = bar_file(tmp_path, "a.wav")
    bar = imported(register, tmp_path, 1, BarFiles(USUAL_NAME, (file,), (file,))).screening.scan.bar
    assert (bar.drift, bar.drift_reason) == (None, ONE_RECORDING)
    assert bar.first.modes == bar.last.modes != ()


def test_nothing_is_stored_where_the_bars_recording_cannot_be_read(register, tmp_path):
    (tmp_path / "broken.wav").write_bytes(b"no sound")
    kept = imported(register, tmp_path, 1, BarFiles(USUAL_NAME, (str(tmp_path / "broken.wav"),)))
    assert kept.entry is None
    assert "broken.wav" in kept.unreadable[0]
    assert list_bars(register) == []


def test_a_bar_that_ends_otherwise_than_it_began_is_told(register, tmp_path):
    last = bar_file(tmp_path, "late.wav", Chain(clock=3e-4), 2)
    kept = imported(register, tmp_path, 1, BarFiles(USUAL_NAME, (bar_file(tmp_path, "a.wav"),), (last,)))
    assert kept.screening.scan.bar.drift.seen == ("clock or temperature",)
    (told,) = [t for t in kept.screening.limitations if "reference bar" in t]
    assert "does not end as" in told
    same_as_before("bar", without_figures(told), part="ends otherwise than it began")


def test_which_bar_is_asked_only_where_there_are_several(register):
    assert named_bar(register, None) == USUAL_NAME
    note_bar(register, "flat bar", "450 x 35 x 11, hangs behind the door")
    assert named_bar(register, None) == "flat bar"
    assert named_bar(register, "FLAT bar") == "flat bar"
    note_bar(register, "square bar")
    assert find_bar(register, "FLAT BAR").notes.startswith("450")
    with pytest.raises(BadRequest, match="--bar-name"):
        named_bar(register, None)


def test_the_recorder_asks_for_the_bar_first_and_last(register, tmp_path):
    (tmp_path / "three.toml").write_text(LAYOUT)
    new = NewScan(dt.date(2026, 3, 14), COLD)
    begun = begin_recording(register, "B12", new, str(tmp_path / "three.toml"), ("soft", "hard"), USUAL_NAME)
    recorder = Recorder(register, begun, RATE, Settings())
    assert recorder.guide.stations == (BAR_TURNS[0], "S1", "S2", "S3", BAR_TURNS[1])
    rng = np.random.default_rng(1)
    bar = recording(set_up(STEEL, Chain(rate_hz=RATE), rng), 2, rng, 1.0)
    plate = taps_at([0.6 + 0.9 * i for i in range(6)], 6.5, RATE, modes=PLATE)
    quiet = rng.normal(0, 1e-4, RATE * 2)
    heard = [
        event
        for sound in (bar, plate, bar, quiet)
        for i in range(0, len(sound), 320)
        for event in recorder.hear(sound[i : i + 320])
    ]
    remarks = [e.words for e in heard if e.what == "accepted" and "alike" in e.words]
    assert len(remarks) == 3, "of the plate's places; a bar may sound the same by soft and hard"
    assert not any(turn in words for words in remarks for turn in BAR_TURNS)
    assert recorder.guide.station is None, "every tap was taken"
    unfinished = find_unfinished(register, recorder.id)
    assert missing_stations(unfinished) == []
    kept = finish(register, recorder.id, Settings())
    assert [len(kept.entry.bar.first), len(kept.entry.bar.last), len(kept.entry.files)] == [2, 2, 6]
    heard = kept.screening.scan.bar
    assert min(len(heard.first.modes), len(heard.last.modes)) >= 4
    assert {s.station for s in kept.screening.scan.strikes} == {"S1", "S2", "S3"}


def test_where_only_the_bar_was_struck_nothing_is_stored(register, tmp_path):
    (tmp_path / "three.toml").write_text(LAYOUT)
    new = NewScan(dt.date(2026, 3, 14), COLD)
    begun = begin_recording(register, "B12", new, str(tmp_path / "three.toml"), ("soft", "hard"), USUAL_NAME)
    recorder, rng = Recorder(register, begun, RATE, Settings()), np.random.default_rng(1)
    bar = recording(set_up(STEEL, Chain(rate_hz=RATE), rng), 2, rng, 1.0)
    for i in range(0, len(bar), 320):
        recorder.hear(bar[i : i + 320])
    assert find_unfinished(register, begun.id).kept
    with pytest.raises(BadRequest, match="only of the bar"):
        finish(register, begun.id, Settings())
    assert list_scans(register) == []


def test_a_layout_may_not_call_a_place_as_the_bars_taps_are_called(register, tmp_path):
    (tmp_path / "odd.toml").write_text(LAYOUT.replace('"S1"', f'"{BAR_TURNS[0]}"'))
    new = NewScan(dt.date(2026, 3, 14), COLD)
    with pytest.raises(BadRequest, match=BAR_TURNS[0]):
        begin_recording(register, "B12", new, str(tmp_path / "odd.toml"), ("soft",), USUAL_NAME)
    begin_recording(register, "B12", new, str(tmp_path / "odd.toml"), ("soft",))


def for_comparison(register, entry) -> ScanForComparison:
    return ScanForComparison(
        entry.name, entry.date.isoformat(), entry.conditions, load_screening(register, entry.current.id).scan
    )


def later(register, folder, first, chain: Chain, made: ScanConditions = WARM):
    files = BarFiles(USUAL_NAME, (bar_file(folder, "later.wav", chain, 3),))
    entry = imported(register, folder, 2, files, made).entry
    return compare_scans(for_comparison(register, entry), [for_comparison(register, first)], Settings())


def test_a_clock_that_is_off_takes_the_common_change_away(register, first, tmp_path):
    told = later(register, tmp_path, first, Chain(clock=0.01))
    assert [c.seen for c in told.chain] == [("clock",)]
    assert told.common is None
    assert "clock" in told.common_reason
    assert told.chain[0].sentences[0] in told.unlike
    assert of_list(told.chain) is None


def test_a_chain_that_hears_otherwise_is_among_what_limits_the_answer(register, first, tmp_path):
    told = later(register, tmp_path, first, Chain(noise_db=-48.0))
    assert [c.seen for c in told.chain] == [("noise",)]
    assert of_list(told.chain) in told.limitations


def test_a_chain_that_is_as_before_says_nothing(register, first, tmp_path):
    told = later(register, tmp_path, first, Chain())
    assert [(c.seen, c.sentences) for c in told.chain] == [((), ())]
    assert (told.chain_reason, told.chain[0].thermometer_k) == (None, 1.0)
    assert "clock" not in told.common_reason, "too few tones for a common change, whatever the bar says"


def test_where_it_was_struck_after_the_plate_only_that_is_compared(register, first, tmp_path):
    files = BarFiles(USUAL_NAME, (), (bar_file(tmp_path, "late.wav", Chain(clock=0.01), 3),))
    entry = imported(register, tmp_path, 2, files, WARM).entry
    told = compare_scans(for_comparison(register, entry), [for_comparison(register, first)], Settings())
    assert [c.seen for c in told.chain] == [("clock",)]


def test_without_a_bar_nothing_changes(register, first, tmp_path):
    entry = imported(register, tmp_path, 2, None).entry
    with_bar = for_comparison(register, first)
    bare = replace(with_bar, scan=replace(with_bar.scan, bar=None))
    now = for_comparison(register, entry)
    told, same = (compare_scans(now, [b], Settings()) for b in (with_bar, bare))
    assert told == same
    assert (told.chain, told.chain_reason is None) == ((), False)


def test_another_bar_is_not_compared(register, first, tmp_path):
    files = BarFiles("square bar", (bar_file(tmp_path, "square.wav", seed=4),))
    entry = imported(register, tmp_path, 2, files).entry
    told = compare_scans(for_comparison(register, entry), [for_comparison(register, first)], Settings())
    assert told.chain == ()
    assert "other reference bars" in told.chain_reason
    known = {b.name: [e.name for e, _ in readings_of(register, b.name)] for b in list_bars(register)}
    assert known == {USUAL_NAME: [first.name], "square bar": [entry.name]}


def test_json_and_the_page_show_it(register, first):
    screening = load_screening(register, first.current.id)
    told = json.loads(dumps(screening))
    assert told["bar"]["name"] == USUAL_NAME
    assert len(told["bar"]["first"]["modes"]) >= 6
    assert told["bar_reason"] is None
    assert '<section id="bar">' in render_page(screening)
    without = replace(screening, scan=replace(screening.scan, bar=None, bar_reason="none"))
    assert json.loads(dumps(without))["bar"] is None
    assert '<section id="bar">' not in render_page(without)


def test_a_reading_without_tones_is_not_kept_as_the_bars_first(register, tmp_path):
    thuds = tmp_path / "thuds.wav"
    soundfile.write(thuds, taps_at([0.6, 1.6, 2.6], 3.6, RATE, modes=((300.0, 0.2, 0.003),)), RATE)
    kept = imported(register, tmp_path, 1, BarFiles(USUAL_NAME, (str(thuds),)))
    reading = kept.screening.scan.bar.first
    assert isinstance(reading, BarReading)
    assert (reading.modes, bool(reading.reason)) == ((), True)
    assert find_bar(register, USUAL_NAME).first is None
