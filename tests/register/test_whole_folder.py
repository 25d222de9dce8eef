"""Backup, restore, move and export make a folder whole or not at all, and take away nothing that was there."""

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from tapscan.errors import BadRequest, RegisterProblem
from tapscan.register.database import Register, open_register
from tapscan.register.moving import move_register
from tapscan.register.upkeep import back_up, check_register, restore
from tapscan.register.whole_folder import COPY, NOTE, whole_folder
from tapscan.workflow.exports import export_csv
from tests.register.conftest import content_of
from tests.snapshots import same_as_before

Make = Callable[[Register, Path, Callable[..., None]], object]
MAKES: dict[str, Make] = {
    "backup": back_up,
    "restore": lambda register, target, progress: restore(register.folder, target, progress),
    "move": lambda register, target, progress: move_register(register, target, None, progress),
}
EXPORT: Make = lambda register, target, _: export_csv(register, target)  # noqa: E731


def nothing(*_: object) -> None:
    pass


@pytest.fixture
def out(tmp_path: Path) -> Path:
    (tmp_path / "elsewhere").mkdir()
    return tmp_path / "elsewhere" / "new"


@pytest.mark.parametrize("make", [*MAKES.values(), EXPORT], ids=[*MAKES, "export"])
def test_a_folder_of_somebody_else_is_left_alone(register, stored, out, make):
    stored()
    other = out.with_name("new.part")
    shutil.copytree(register.folder, other)
    before = content_of(other)
    with pytest.raises(BadRequest) as refused:
        make(register, out, nothing)
    same_as_before("stopped", str(refused.value), {str(other): "new.part"}, part="in the way")
    assert content_of(other) == before and not out.exists()


@pytest.mark.parametrize("make", [*MAKES.values(), EXPORT], ids=[*MAKES, "export"])
@pytest.mark.parametrize("left", ["empty", "note", "half"])
def test_what_a_kill_left_is_begun_anew(register, stored, out, make, left):
    stored()
    part = out.with_name("new.part")
    part.mkdir()
    if left != "empty":
        (part / NOTE).write_text("" if left == "note" else "tapscan was making new here\n0123\n")
    if left == "half":
        (part / COPY / "files").mkdir(parents=True)
        (part / COPY / "register.sqlite").write_bytes(b"half")
    make(register, out, nothing)
    assert [p.name for p in out.parent.iterdir()] == ["new"] and not (out / NOTE).exists()
    if make is not EXPORT:
        assert check_register(open_register(out)).wrong == ()


@pytest.mark.parametrize("stop", [KeyboardInterrupt, OSError(28, "No space left on device")], ids=["ctrl-c", "full"])
@pytest.mark.parametrize("make", MAKES.values(), ids=MAKES)
def test_stopped_in_the_middle_nothing_half_done_is_left(register, stored, out, make, stop):
    stored()

    def stopped(*_: object) -> None:
        raise stop

    with pytest.raises((KeyboardInterrupt, RegisterProblem)):
        make(register, out, stopped)
    assert list(out.parent.iterdir()) == []


def test_two_that_make_the_same_folder_never_mix(out):
    with pytest.raises(RegisterProblem, match="another tapscan is making it too"), whole_folder(out) as first:
        (first / "one").write_text("first")
        with whole_folder(out) as second:
            (second / "two").write_text("second")
    assert content_of(out).keys() == {"two"} and list(out.parent.iterdir()) == [out]
