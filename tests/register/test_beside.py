"""A backup, a restored and a moved register have what the shop keeps beside the database, drafts with their recordings too."""

from pathlib import Path

import numpy as np
import pytest

from tapscan.register import beside
from tapscan.register.beside import take_along
from tapscan.register.database import Register, open_register
from tapscan.workflow.draft import Draft, begin_draft, drafts_of, find_draft, give_up, incoming
from tests.register.conftest import content_of
from tests.register.test_whole_folder import MAKES, nothing
from tests.sounds import wav_bytes

DEFAULTS = 'hammer = "brass"\n'
SOUND = wav_bytes(np.tile([0.0, 0.5, -0.5], 100), 16000)


def with_all(register: Register) -> Draft:
    (register.folder / "defaults.toml").write_text(DEFAULTS)
    (register.folder / "layouts").mkdir()
    (register.folder / "layouts" / "own.toml").write_text("name = 'own'")
    draft = begin_draft(register, "B12")
    with incoming(draft, "take.wav") as file:
        file.write(SOUND)
    (draft.folder / "half.part").write_bytes(b"not yet")
    return find_draft(register, draft.id)


@pytest.mark.parametrize("make", MAKES.values(), ids=MAKES)
def test_all_of_it_is_there(register, tmp_path, make):
    draft = with_all(register)
    make(register, tmp_path / "new", nothing)
    made = open_register(tmp_path / "new")
    assert (made.folder / "defaults.toml").read_text() == DEFAULTS
    assert (made.folder / "layouts" / "own.toml").read_text() == "name = 'own'"
    (there,) = drafts_of(made, "B12")
    assert there.files == draft.files and there.path(there.files[0]).read_bytes() == SOUND
    assert not list(made.folder.rglob("*.part"))


def test_what_is_there_already_stays_and_the_rest_comes(register, tmp_path):
    """As in the folder of a bench, where a move was stopped before."""
    draft, bench = with_all(register), tmp_path / "bench"
    (bench / "layouts").mkdir(parents=True)
    (bench / "layouts" / "mine.toml").write_text("name = 'mine'")
    (bench / "defaults.toml").write_text("")
    half = bench / "drafts" / draft.id
    half.mkdir(parents=True)
    (half / "001").write_bytes(b"half")
    take_along(register.folder, bench)
    assert sorted(p.name for p in (bench / "layouts").iterdir()) == ["mine.toml", "own.toml"]
    assert (bench / "defaults.toml").read_text() == "" and (half / "001").read_bytes() == SOUND
    before = content_of(bench)
    take_along(register.folder, bench)
    assert content_of(bench) == before


@pytest.mark.parametrize("what", ["one more", "given up"])
def test_a_draft_that_changes_meanwhile_comes_as_it_is_then(register, tmp_path, monkeypatch, what):
    draft, real, calls = with_all(register), beside._take_recordings, []

    def changed(*folders: Path) -> None:
        real(*folders)
        if not calls and what == "one more":
            with incoming(draft, "more.wav") as file:
                file.write(SOUND)
        elif not calls:
            give_up(draft)
        calls.append(what)

    monkeypatch.setattr(beside, "_take_recordings", changed)
    take_along(register.folder, tmp_path)
    there = tmp_path / "drafts" / draft.id
    names = sorted(p.name for p in there.iterdir()) if there.exists() else []
    assert names == (["001", "002", "draft.json"] if what == "one more" else [])
