"""`tapscan report`: the page of a stored scan holds what the shop wrote down. Screenings are built by hand."""

from pathlib import Path

import pytest

from tapscan.register.database import make_register, open_register
from tapscan.register.entries import CHECKLIST
from tests.cli.commands import run
from tests.register.conftest import put
from tests.report.sheets import HOSTILE


@pytest.fixture
def where(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("TAPSCAN_REGISTER", str(tmp_path / "register"))
    make_register(tmp_path / "register")
    return tmp_path


def stored(plate: str, **changes: object) -> str:
    assert run("plate", "add", "--pattern", "small grand", "--mass-kg", "104", "--", plate).status == 0
    return put(open_register(Path("register")), plate=plate, **changes).name


def test_the_page_tells_what_the_shop_wrote_down(where):
    name = stored("B12", notes="the hook hummed")
    done = run("scan", "outcome", name, "--found", "crack in strut 2", "--method", "dye penetrant", "--by", "A. Person")
    assert done.status == 0
    done = run("report", name)
    assert (done.status, done.err) == (0, "")
    page = (where / f"{name.replace('/', '_')}.html").read_text(encoding="utf-8")
    for told in ("Tap test of plate B12", "small grand", "104 kg", "treble-break strut, underside", "the hook hummed"):
        assert told in page
    assert all(what in page for what in CHECKLIST.values())
    assert "crack in strut 2 (dye penetrant, by A. Person)" in page
    assert "not written down" in page  # the serial number


def test_what_nobody_examined_is_said_to_be_open(where):
    name = stored("B12")
    assert run("report", name, "--out", "page.html").status == 0
    assert "None is written down yet" in (where / "page.html").read_text(encoding="utf-8")


def test_names_from_outside_stay_text_and_never_become_a_path(where):
    name = stored("../B&<script>", notes=HOSTILE)
    assert run("report", name).status == 0
    pages = [p for p in where.iterdir() if p.suffix == ".html"]
    assert len(pages) == 1
    assert "<script" not in pages[0].read_text(encoding="utf-8")
    assert not list(where.parent.glob("*.html"))


@pytest.mark.parametrize(
    ("arguments", "why"),
    [(("B12/2026-01-01",), "no"), (("{name}", "--out", "no/such/folder/page.html"), "cannot be written")],
)
def test_what_cannot_be_done_is_told_in_one_line(where, arguments, why):
    name = stored("B12")
    done = run("report", *(a.format(name=name) for a in arguments))
    assert done.status == 1
    assert why in done.err
    assert len(done.err.strip().splitlines()) == 1
