"""Rows that another program took from a register are missed, and a scan is read anew only from all its recordings, at places that its layout has."""

import datetime as dt
import hashlib

import pytest
from msgspec.structs import replace
from sqlalchemy import select

from tapscan.errors import RegisterProblem, WrongUsage
from tapscan.page.terms import here
from tapscan.register import tables as t
from tapscan.register.corrections import void_scan
from tapscan.register.entries import Move
from tapscan.register.files import keep_bytes
from tapscan.register.missing_rows import COUNTED, uncounted
from tapscan.register.plates import add_photo
from tapscan.register.scans import find_scan, list_scans, store_scan
from tapscan.register.upkeep import check_register
from tapscan.settings import Settings
from tapscan.workflow.import_scan import rescreen
from tests.every import each
from tests.register import built
from tests.register.conftest import put
from tests.register.test_upkeep import damaged
from tests.snapshots import same_as_before
from tests.sounds import noise, wav_bytes

TAKEN = [
    ("indication", False, "1 of its 2 findings are gone"),
    ("mode", False, "1 of its 6 tones"),
    ("strike", False, "1 of its 3 taps"),
    ("recording", False, "what was read of its recording S2_1.wav is gone"),
    ("scan_file", False, "S2_1.wav, read before, is no longer among its recordings"),
    ("comparison", False, "its comparison with the baseline is gone"),
    ("photo", False, "no longer names it"),
    ("scan_file", True, "S2_1.wav, read before, is no longer among its recordings"),
]


def without_counts(connection) -> None:
    """As an older tapscan stored it."""
    for row in connection.execute(select(t.screening)).fetchall():
        more = {key: value for key, value in row.more.items() if key != COUNTED}
        connection.execute(t.screening.update().where(t.screening.c.row == row.row).values(more=more))


@pytest.mark.parametrize(("table", "old", "said"), TAKEN)
def test_a_row_that_another_program_took_is_told_with_its_scan(register, table, old, said):
    name = two_recordings(register).name
    add_photo(register, "B12", keep_bytes(register.folder, b"photo", "front.jpg"))
    assert (check_register(register).wrong, check_register(register).unsure) == ((), "")
    with register.writing() as connection:
        if old:
            without_counts(connection)
        last = "WHERE position = (SELECT max(position) FROM {0})" if "position" in t.metadata.tables[table].c else ""
        connection.exec_driver_sql(f"DELETE FROM {table} {last.format(table)}")
    found = check_register(register)
    (line,) = found.wrong
    assert said in line and (table == "photo" or line.startswith(name))
    assert bool(found.unsure) is old


def test_of_a_reading_without_counts_a_gap_is_told_and_what_rests_on_a_lost_row(register):
    two_recordings(register)
    with register.writing() as connection:
        without_counts(connection)
        for table in ("mode", "strike"):
            connection.exec_driver_sql(f"DELETE FROM {table} WHERE position = 1")
        connection.exec_driver_sql("DELETE FROM indication")
    found = check_register(register)
    for said in ("1 of its 6 tones", "1 of its 3 taps", "the finding that its answer rests on is gone"):
        assert [said in line for line in found.wrong].count(True) == 1, said
    assert len(found.wrong) == 3 and found.uncounted == 1


def test_what_no_check_can_tell_of_an_older_reading_is_said_with_what_to_do(register):
    """A crossed-out scan is never read anew, so that nobody is sent to do it."""
    kept, crossed = put(register), put(register, b"more", date=dt.date(2026, 4, 1))
    void_scan(register, crossed.name, "the wrong plate", dt.date(2026, 4, 2))
    with register.writing() as connection:
        without_counts(connection)
        assert uncounted(connection) == {kept.id}
    found = check_register(register)
    assert (found.wrong, found.uncounted, found.uncounted_void) == ((), 1, 1)
    same_as_before("register-check", found.unsure, part="an older reading, and a crossed-out one")
    assert here(found.unsure) != found.unsure


def test_a_move_whose_reading_an_older_tapscan_did_not_note_is_told_by_its_day(register):
    """Read anew since, or not, where the days leave no doubt."""
    entry = put(register)
    made = dt.date.fromisoformat(entry.current.made_utc[:10])
    moves = [(Move("B13/x", entry.name, str(made + dt.timedelta(n)), "this was B12"),) for n in (-1, 0, 1, 2)]
    assert [replace(entry, moves=m).unread for m in moves] == [False, False, False, True]


def test_a_stored_recording_that_was_cut_off_is_restored_and_not_copied_from_the_recorder(register):
    entry = put(register, wav_bytes(noise(1.0, 16000, 0.1), 16000))
    damaged(register, entry.files[0].sha256, "shorter")
    (said,) = rescreen(register, entry.name, Settings()).unreadable
    assert "S1_1.wav" in said and "backup" in said and "recorder" not in said


@each("assign", [("T1", "s1"), ("S1", "NOSUCH"), ("S1_1.wav", "S9")])
def test_a_stored_scan_is_given_no_place_that_its_layout_lacks(register, assign):
    entry = (list_scans(register) or [put(register)])[0]
    with pytest.raises(WrongUsage, match=f"no place {assign[1]} in grand-short"):
        rescreen(register, entry.name, Settings(), changes={"assign": (assign,)})
    assert len(find_scan(register, entry.name).screenings) == 1


def test_a_scan_that_lost_a_recording_is_not_read_anew(register):
    name = two_recordings(register).name
    with register.writing() as connection:
        connection.exec_driver_sql("DELETE FROM scan_file WHERE position = 1")
    with pytest.raises(RegisterProblem, match=f"{name}: the register no longer holds S2_1[.]wav"):
        rescreen(register, name, Settings())


def two_recordings(register):
    """A scan of two, compared with its baseline."""
    contents = (b"one", b"two")
    result = built.screening(tuple(hashlib.sha256(c).hexdigest() for c in contents))
    strikes = [replace(s, recording=f"F{1 + i % 2}") for i, s in enumerate(result.scan.strikes)]
    result = replace(result, scan=replace(result.scan, strikes=tuple(strikes)), comparison=built.comparison())
    files = [keep_bytes(register.folder, c, f"S{i}_1.wav") for i, c in enumerate(contents, 1)]
    return store_scan(register, "B12", built.new_scan(), built.made(result), files)
