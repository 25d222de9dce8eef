"""A scan in the making: it stays with its plate, what came in is what is stored, and nothing of it vanishes unsaid."""

import errno
import os
from pathlib import Path

import pytest

from tapscan.errors import BadRequest, RegisterProblem, TapscanError
from tapscan.layouts import layout_text
from tapscan.register.entries import Plate
from tapscan.register.plates import add_plate, edit_plate
from tapscan.register.scans import list_scans
from tapscan.register.upkeep import check_register
from tapscan.workflow import draft as drafts
from tapscan.workflow import keep_draft as module
from tapscan.workflow.defaults import change_defaults
from tapscan.workflow.draft import Draft, begin_draft, change, drafts_of, find_draft, give_up, incoming, remove_file
from tapscan.workflow.import_scan import Kept
from tapscan.workflow.keep_draft import keep_draft, listen_to
from tapscan.workflow.own_layouts import keep_layout
from tests.register.conftest import put
from tests.snapshots import same_as_before
from tests.sounds import taps_at, wav_bytes

SOUND = wav_bytes(taps_at([0.6, 1.2], 2.0, 16000), 16000)


@pytest.fixture
def draft(register) -> Draft:
    begun = begin_draft(register, "B12")
    with incoming(begun, "S1.wav") as file:
        file.write(SOUND)
    return find_draft(register, begun.id)


def test_it_stays_with_its_plate_whatever_that_is_called(register, draft):
    edit_plate(register, "B12", name="K7")
    add_plate(register, Plate("B12"))
    assert drafts_of(register, "B12") == []
    (found,) = drafts_of(register, "K7")
    assert found.id == draft.id and find_draft(register, draft.id).plate == "K7"
    assert change(found, found.version, {}).plate == "K7" == remove_file(found, 1).plate


def harmed(path: Path, how: str) -> None:
    content = path.read_bytes()
    path.unlink()
    if how != "gone":
        path.write_bytes(content[: len(content) // 2] if how == "cut short" else content[:-2] + b"xx")


@pytest.mark.parametrize("how", ["gone", "cut short", "replaced"])
def test_a_recording_that_is_no_longer_what_came_in_is_refused(how, register, draft):
    harmed(draft.path(draft.files[0]), how)
    for step in (lambda: listen_to(draft), lambda: keep_draft(register, draft)):
        with pytest.raises(BadRequest, match=r"S1\.wav: its .* since it came in; take it out"):
            step()
    assert list_scans(register) == []
    (line,) = check_register(register).wrong
    same_as_before("register-check", line, {draft.id: "DRAFT"}, part=f"a draft's recording, {how}")
    remove_file(draft, 1)
    assert check_register(register).wrong == ()


def test_facts_that_are_damaged_are_told_and_the_recordings_stay(register, draft):
    other = begin_draft(register, "B12")
    (draft.folder / "draft.json").write_text('{"plate": "B12"')
    assert drafts_of(register, "B12") == [other]
    with pytest.raises(RegisterProblem, match=r"draft\.json: is damaged; the recordings"):
        find_draft(register, draft.id)
    (line,) = check_register(register).wrong
    same_as_before("register-check", line, {draft.id: "DRAFT"}, part="a draft's facts")
    (draft.folder / "draft.json").write_text('{"plate": "B12"}')
    assert check_register(register).wrong == (line,) and drafts_of(register, "B12") == [other]


def test_what_a_telephone_sends_while_the_scan_is_stored_stays(register, draft, monkeypatch):
    draft = change(draft, draft.version, {"typed": {"date": "2026-03-14", "state": "stripped"}})

    def meanwhile(register, *_: object, **__: object) -> Kept:
        with incoming(draft, "late.wav") as file:
            file.write(SOUND + b"\0")
        return Kept(put(register, SOUND), None)

    monkeypatch.setattr(module, "import_scan", meanwhile)
    keep_draft(register, draft)
    (left,) = drafts_of(register, "B12")
    assert [f.name for f in left.files] == ["late.wav"] and left.path(left.files[0]).read_bytes() == SOUND + b"\0"
    assert (
        sorted(p.name for p in left.folder.iterdir()) == ["002", "draft.json"] and check_register(register).wrong == ()
    )
    monkeypatch.setattr(module, "import_scan", lambda register, *_, **__: Kept(put(register, b"late"), None))
    keep_draft(register, left)
    assert drafts_of(register, "B12") == []


def test_given_up_and_stopped_on_the_way_it_is_no_half_draft(register, draft, monkeypatch):
    (draft.folder / "0.part").write_bytes(b"half")
    assert len(check_register(register).leftover) == 1
    monkeypatch.setattr(drafts.shutil, "rmtree", lambda *_: (_ for _ in ()).throw(OSError(5, "stopped")))
    give_up(draft)
    assert drafts_of(register, "B12") == []
    found = check_register(register)
    told = "\n".join(sorted(found.leftover))
    same_as_before("register-check", told, {draft.id: "DRAFT", "\\": "/"}, part="a draft that was given up")
    assert found.wrong == () and len(found.leftover) == 1


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EROFS])
def test_a_disk_that_takes_no_more_is_told_and_nothing_is_lost(register, draft, monkeypatch, number):
    def refused(*_: object) -> None:
        raise OSError(number, os.strerror(number))

    with monkeypatch.context() as patched:
        patched.setattr(os, "fsync", refused)
        for step in (
            lambda: change(draft, draft.version, {}),
            lambda: sent(draft),
            lambda: remove_file(draft, 1),
            lambda: begin_draft(register, "B12"),
            lambda: keep_layout(register.folder, "own", layout_text("grand-short")),
            lambda: change_defaults(register.folder, ["hammer=brass"]),
        ):
            with pytest.raises(TapscanError, match=r"disk is full|may not be written|cannot be written \("):
                step()
    assert drafts_of(register, "B12") == [draft] and draft.path(draft.files[0]).read_bytes() == SOUND
    assert check_register(register).wrong == () == check_register(register).leftover


def sent(draft: Draft) -> None:
    with incoming(draft, "S2.wav") as file:
        file.write(SOUND)


def test_a_draft_that_the_disk_does_not_let_go_is_not_called_given_up(register, draft, monkeypatch):
    def refused(self: Path, _target: Path) -> None:
        raise OSError(errno.EROFS, "Read-only file system", str(self))

    with monkeypatch.context() as here:
        here.setattr(Path, "rename", refused)
        with pytest.raises(RegisterProblem, match="may not be written to"):
            give_up(draft)
    assert drafts_of(register, "B12") == [draft]
    give_up(draft)
    give_up(draft)  # another window
    assert drafts_of(register, "B12") == []
