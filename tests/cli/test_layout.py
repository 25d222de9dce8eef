"""`tapscan layout`: what is listed, what is left out in a state, and one line where something is wrong."""

from pathlib import Path

import pytest
from typer.testing import CliRunner

from tapscan.cli.app import app
from tapscan.errors import BadLayout, BadRequest, TapscanError
from tapscan.layouts import known_layouts, layout_text, read_layout
from tapscan.workflow.defaults import change_defaults
from tapscan.workflow.own_layouts import FOLDER, layout_at, named_layout
from tests.every import each
from tests.register.test_round_trip import UNSEEN
from tests.snapshots import same_as_before


def run(*words: str) -> str:
    result = CliRunner().invoke(app, ["layout", *words])
    if isinstance(result.exception, TapscanError):
        raise result.exception
    assert result.exit_code == 0, result.output
    return result.output


def test_list_names_every_layout_and_what_a_strung_plate_leaves():
    text = run("list")
    assert all(name in text for name in known_layouts())
    same_as_before("layout-list", text)


def test_show_tells_where_how_and_why():
    text = run("show", "upright-short")
    assert all(s.name in text and s.where in text for s in read_layout("upright-short").stations)
    same_as_before("layout-show", text)


def test_show_for_a_state_tells_what_to_leave_out():
    text = run("show", "grand-short", "--state", "Strung")
    layout = read_layout("grand-short")
    assert text.count("leave out") == len(layout.stations) - len(layout.allowed("strung")) == 4
    same_as_before("layout-show-strung", text)


def test_print_writes_the_sheet_beside_the_reader(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "mine.toml").write_text(layout_text("grand-long"), encoding="utf-8")
    assert "The sheet: mine-sheet.html." in run("print", "mine.toml", "--order", "soft,hard")
    assert "S24" in (tmp_path / "mine-sheet.html").read_text(encoding="utf-8")
    run("print", "grand-short", "other.html", "--state", "strung")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["mine-sheet.html", "mine.toml", "other.html"]


def test_print_never_writes_over_a_layout(tmp_path: Path):
    mine = tmp_path / "mine.toml"
    mine.write_text(layout_text("grand-long"), encoding="utf-8")
    with pytest.raises(BadRequest, match=r"give it a name that ends in \.html"):
        run("print", str(mine), str(mine))
    assert mine.read_text(encoding="utf-8") == layout_text("grand-long")


def test_what_is_wrong_is_told_in_one_line(tmp_path: Path):
    with pytest.raises(BadRequest, match="unknown; one of as-found"):
        run("show", "grand-short", "--state", "strong")
    with pytest.raises(BadRequest, match=r"cannot be written .*name a folder that exists"):
        run("print", "grand-short", str(tmp_path / "missing" / "x.html"))
    with pytest.raises(BadRequest, match="neither soft nor hard"):
        run("print", "grand-short", str(tmp_path / "x.html"), "--order", "loud")
    with pytest.raises(BadLayout, match="known are grand-dense, grand-long"):
        run("print", "gran", str(tmp_path / "x.html"))
    mine = tmp_path / "mine.toml"
    mine.write_text(layout_text("grand-short").replace('["all"]', '["bare"]'), encoding="utf-8")
    with pytest.raises(BadRequest, match="no station of it may be tapped in the state strung"):
        run("print", str(mine), str(tmp_path / "x.html"), "--state", "strung")
    assert [p.name for p in tmp_path.iterdir()] == ["mine.toml"]


@each("bad", [sign for name in UNSEEN if (sign := "".join(c for c in name if not c.isascii()))])
@each("where", ['"S1"', '"grand-short"'])
def test_a_file_with_a_sign_that_nobody_sees_in_a_name_is_refused_where_it_is_given(bad, where, tmp_path):
    """One that the shop keeps already is read as before."""
    file = tmp_path / "mine.toml"
    file.write_text(layout_text("grand-short").replace(where, f"{where[:2]}{bad}{where[2:]}"), encoding="utf-8")
    for step in (
        lambda: run("show", str(file)),
        lambda: run("print", str(file), str(tmp_path / "sheet.html")),
        lambda: layout_at(tmp_path / "register", str(file)),
        lambda: change_defaults(tmp_path / "register", [f"layout={file}"]),
    ):
        with pytest.raises(BadLayout, match=r"mine\.toml: the name .* cannot be shown") as refused:
            step()
        assert str(refused.value).isprintable()
    own = tmp_path / "register" / FOLDER
    own.mkdir(parents=True, exist_ok=True)
    file.replace(own / file.name)
    assert named_layout(own.parent, "mine") == read_layout(layout_at(own.parent, "mine"))
    assert layout_at(own.parent, str(own / file.name)) == str(own / file.name)
