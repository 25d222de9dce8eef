"""`tapscan report`: the page of a stored scan holds what the shop wrote down. Screenings are built by hand."""

import re
from pathlib import Path

import pytest

from tapscan.places import CHECKLIST
from tapscan.register.database import make_register, open_register
from tapscan.register.entries import Plate
from tapscan.register.plates import add_plate
from tests.cli.commands import run
from tests.register.conftest import put
from tests.report.sheets import HOSTILE
from tests.snapshots import same_as_before


@pytest.fixture
def where(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("TAPSCAN_REGISTER", str(tmp_path / "register"))
    make_register(tmp_path / "register")
    return tmp_path


def stored(plate: str, **changes: object) -> str:
    """Older registers hold names with slashes, which `plate add` refuses today."""
    register = open_register(Path("register"))
    add_plate(register, Plate(plate, pattern="small grand", mass_kg=104.0))
    return put(register, plate=plate, **changes).name


def test_the_page_tells_what_the_shop_wrote_down(where):
    name = stored("B12", notes="the hook hummed")
    found, method, by = "crack in strut 2", "dye penetrant", "A. Person"
    done = run("scan", "outcome", name, "--found", found, "--method", method, "--by", by)
    assert done.status == 0
    done = run("report", name, "--full")
    assert (done.status, done.err) == (0, "")
    page = (where / f"{name.replace('/', '_')}.html").read_text(encoding="utf-8")
    for told in (
        '<strong class="name">B12</strong><span class="name">, small grand',
        "104 kg",
        "treble-break strut, underside",
        "the hook hummed",
    ):
        assert told in page
    assert all(what in page for what in CHECKLIST.values())
    assert f"{found} ({method}, by {by})" in page
    assert "not written down" in page  # the serial number


def test_what_nobody_examined_is_said_to_be_open(where):
    name = stored("B12")
    for words, told in (((), "No examination is noted yet"), (("--full",), "None is written down yet")):
        assert run("report", name, "--out", "page.html", *words).status == 0
        assert told in (where / "page.html").read_text(encoding="utf-8")


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


PNG = bytes.fromhex(
    "89504e470d0a1a0a0000000d49484452000000010000000108060000001f15c4890000000d49444154789c6360000002000001e221bc330000000049454e44ae426082"
)


def test_the_shop_puts_its_name_logo_units_and_dates_on_the_page(where):
    name = stored("B12")
    (where / "logo.png").write_bytes(PNG)
    (where / "shop.toml").write_text(
        'name = "Kettle Lane <Pianos>"\ncontact = "12 Kettle Lane"\nlogo = "logo.png"\nunits = "inch"\ndates = "month/day/year"\n'
    )
    assert run("report", name, "--shop", "shop.toml", "--out", "page.html").status == 0
    page = (where / "page.html").read_text(encoding="utf-8")
    assert "Kettle Lane &lt;Pianos&gt;" in page and "12 Kettle Lane" in page
    assert "data:image/png;base64,iVBOR" in page
    assert "229 lb" in page and '<strong class="name">03/14/2026</strong>' in page


UNUSABLE = ['units = "cubits"', 'colour = "red"', "name = 3", 'logo = "gone.png"', 'logo = "shop.toml"', "name ="]


def test_a_shop_file_that_cannot_be_used_is_told_in_one_line(where):
    name = stored("B12")
    told = []
    for text in UNUSABLE:
        (where / "shop.toml").write_text(text)
        done = run("report", name, "--shop", "shop.toml")
        assert (done.status, done.out) == (1, ""), text
        (line,) = done.err.splitlines()
        told += [text, re.sub(r"\(.*\)", "(WHY)", line), ""]  # the system's and the parser's own words
    assert not list(where.glob("*.html"))
    same_as_before("shop-file", "\n".join(told), {str(where): "FOLDER"})


def test_the_summary_is_short_and_says_who_decides(where):
    name = stored("B12")
    assert run("report", name, "--summary").status == 0
    page = (where / f"{name.replace('/', '_')}-summary.html").read_text(encoding="utf-8")
    assert "What to do next" in page and "named, qualified person evaluates" in page
    assert page.count('role="img"') == page.count("map-small-title map-small-desc") == 1 and len(page) < 60_000


def test_pdf_or_one_line_that_says_what_is_missing(where):
    """WeasyPrint is an extra: where it is there the file is a PDF, else one line tells how to get it."""
    name = stored("B12")
    done = run("report", name, "--pdf", "--summary", "--out", "page.pdf")
    if done.status == 0:
        assert (where / "page.pdf").read_bytes().startswith(b"%PDF-")
    else:
        (line,) = done.err.splitlines()
        assert "pip install 'tapscan[pdf]'" in line
        assert not (where / "page.pdf").exists()


def test_a_plate_alone_takes_its_newest_scan(where):
    older, newer = stored("B12"), put(open_register(Path("register")), b"other taps", plate="B12").name
    done = run("report", "b12")
    assert (done.status, done.err) == (0, "")
    assert newer != older
    assert (where / f"{newer.replace('/', '_')}.html").exists()
    assert run("plate", "add", "C1").status == 0
    assert "no scan" in run("report", "C1").err


def test_names_are_found_without_their_accents(where):
    name = stored("Glöckner Flügel")
    assert run("report", "glockner").status == 0
    assert (where / f"{name.replace('/', '_').replace(' ', '_')}.html").exists()
