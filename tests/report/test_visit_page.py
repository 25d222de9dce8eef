"""The document of a visit: one sheet and an appendix, true to what it is given, harmless, and without what a phone hides in a photo."""

import base64
import io
import re

import pytest
from markupsafe import Markup
from msgspec.structs import replace

from tapscan.report.photos import picture
from tapscan.report.visit_page import LIMITS, Found, Unknown, own_ids, render_visit, short
from tapscan.report.visit_words import words_in
from tapscan.screening.next_steps import CALL, STOP
from tests.every import each
from tests.report.reading import NOT_VISIBLE, VOID, Reading
from tests.report.sheets import HOSTILE
from tests.report.test_print import PAPERS, sheets
from tests.report.visits import LONG, WORDS, brimming, flawed, fullest, photo, photo_file

FLAWED = ((1, LONG * 4), (3, WORDS), (9, WORDS), (60, WORDS))
PARTLY = ((0, 7), (3, 5), (6, 1))  # findings and unknowns, each a user's long one


def full_sheets():
    base = fullest()
    partly = (replace(base, found=base.found[:f], unknown=base.unknown[:u]) for f, u in PARTLY)
    return (brimming(), *partly, *(flawed(n, note) for n, note in FLAWED))


@pytest.mark.parametrize("paper", PAPERS)
def test_the_page_is_one_sheet_however_much_there_is_and_the_appendix_begins_on_the_next(browser, paper, tmp_path):
    sheet = fullest(photos=(photo(tmp_path),))
    count, size = sheets(browser, render_visit(sheet, appendix=False), paper)
    assert all(abs(a - b) <= 1 for a, b in zip(size, PAPERS[paper], strict=True))
    assert count == 1
    for full in full_sheets():
        assert sheets(browser, render_visit(full, appendix=False), paper)[0] == 1
    assert sheets(browser, render_visit(sheet), paper)[0] > 2


@pytest.mark.slow
@pytest.mark.parametrize("paper", PAPERS)
def test_the_pdf_too_is_one_sheet_before_the_appendix(paper):
    weasyprint = pytest.importorskip("weasyprint")
    css = weasyprint.CSS(string=f"@page {{ size: {paper} }}")
    for sheet in (fullest(), brimming(), flawed(*FLAWED[0]), flawed(*FLAWED[-1])):
        made = weasyprint.HTML(string=render_visit(sheet, appendix=False)).render(stylesheets=[css])
        assert len(made.pages) == 1


class Shown(Reading):
    """What is read on a screen, or on paper: the style sheet hides what is the other's."""

    def __init__(self, html: str, *, paper: bool) -> None:
        self.hidden = {"rest"} if paper else {"cut", "on-paper"}
        self.under: list[bool] = []
        super().__init__(html)

    def handle_starttag(self, tag, attrs):
        super().handle_starttag(tag, attrs)
        if tag not in VOID:
            self.under.append(bool(self.hidden & set((dict(attrs).get("class") or "").split())))

    def handle_endtag(self, tag):
        super().handle_endtag(tag)
        self.under.pop()

    def handle_data(self, data):
        if not any(self.under):
            super().handle_data(data)


def parts(html: str, *, paper: bool = True) -> tuple[str, str]:
    """What is read on the page and in the appendix."""
    page, _, appendix = " ".join(Shown(html, paper=paper).text.split()).partition(" Appendix ")
    assert page and appendix
    return page, appendix


def test_cautions_stand_before_the_headline_and_to_stop_before_all_other_steps():
    text, _ = parts(render_visit(fullest()))
    headline = text.rindex("The eye saw what may be a crack", 0, text.index("What was found"))  # also the page's title
    assert text.index("plane of the strings") < headline
    steps = text[text.index("What to do, and who should look next") :]
    others = [step.partition(": ")[2] for step in fullest().steps]
    assert others.pop(0) == STOP.text and CALL.text in others
    assert STOP.text.startswith("Stop. Leave the piano")
    assert steps.index(STOP.text) < min(steps.index(other.split(",")[0]) for other in others)


@each(("flaws", "note"), [(2, "short"), *FLAWED])
def test_the_worst_stands_first_and_how_many_flaws_more_there_are_is_said(flaws, note):
    sheet = flawed(flaws, note)
    page, appendix = parts(render_visit(sheet))
    found = page[page.index("What was found") : page.index("What could not be known")]
    first, *rest = re.findall(r"crack (\d+) in strut", found)
    more = [int(n) for n in re.findall(r"and (\d+) more, in the appendix", found)]
    assert first == "0"
    in_all = sum(f.flaws or 1 for f in sheet.found)
    shown = sum(f.flaws == 0 and f.title in found for f in sheet.found)
    assert len(rest) + 1 + shown + sum(more) == in_all
    for told in re.findall(r"crack \d+ in strut [^;]*?2026-11-28\)", sheet.found[0].text):
        assert told in page or told in appendix
    screen, _ = parts(render_visit(sheet), paper=False)
    assert all(" ".join(f.text.split()) in screen for f in sheet.found)


WHOLE = " ".join(LONG.split())


def test_what_does_not_fit_on_paper_is_counted_there_and_whole_in_the_appendix():
    sheet = fullest()
    page, appendix = parts(render_visit(sheet))
    least = LIMITS[-3]  # less than that makes way for flaws alone
    assert page.count("in the appendix") >= least.found + least.unknown
    assert f"and {len(sheet.found) - least.found} more, in the appendix" in page
    assert f"and {len(sheet.unknown) - least.unknown} more, in the appendix" in page
    assert WHOLE not in page
    assert appendix.count(WHOLE) >= len(sheet.found) + len(sheet.unknown) + len(sheet.rows)
    steps = [step.partition(": ")[2] for step in sheet.steps]
    assert [s for s in steps if (s in page) == (s in appendix)] == [], "each step whole, and once"


def test_on_a_screen_the_page_is_whole_and_nothing_is_told_twice():
    sheet = fullest()
    page, appendix = parts(render_visit(sheet), paper=False)
    assert "appendix" not in page and "…" not in page
    assert page.count(WHOLE) == len(sheet.found) + len(sheet.unknown) + 1  # and the keys
    steps = [step.partition(": ")[2] for step in sheet.steps]
    assert [s for s in steps if s not in page or s in appendix] == []


def test_why_something_is_not_known_stands_in_the_appendix_and_what_it_is_on_the_page():
    title, place, why = "Could not be seen", "horn", "behind a cloth"
    sheet = replace(fullest(), unknown=(Unknown("hidden", f"{title}: {place}.", f"{place}: {why}"),))
    for paper in (False, True):
        page, appendix = parts(render_visit(sheet), paper=paper)
        assert f"{title}: {place}." in page and why not in page
        assert f"{title}: {place}: {why}" in appendix and f"{title}: {place}." not in appendix


CUTS = [
    ("Short.", 9, "Short."),
    ("One line. Two lines of it.", 20, "One line. (more in the appendix)"),
    ("struts; ends of the struts; rim", 22, "struts; and more, in the appendix"),
    ("A line of rust (40 mm; deep)", 24, "A line of rust (more in the appendix)"),
    ("one sentence that has no end", 17, "one sentence that … (more in the appendix)"),
    ("Ab. one long sentence after a short word", 20, "Ab. one long … (more in the appendix)"),
    ("x" * 20, 7, "xxxxxxx … (more in the appendix)"),
]


@each(("text", "most", "paper"), CUTS)
def test_a_text_is_cut_where_a_sentence_or_an_item_ends_and_nothing_is_lost(text, most, paper):
    cut = short(text, most)
    assert cut.head + cut.mark == paper and cut.head + cut.rest == text and len(cut.head) <= most


def test_a_word_of_the_trade_is_explained_where_it_is_used():
    sheet = fullest()
    _, appendix = parts(render_visit(sheet))
    named = ["Agraffe flange, capo or pressure bar", "horn, the arm", "nose bolts"]
    words = words_in(" ".join([*named, *sheet.steps]))
    assert {w for w, _ in words} >= {"agraffe", "capo", "horn", "nose bolt", "penetrant", "replica"}
    assert all(meaning in appendix for w, meaning in words if w in ("agraffe", "penetrant", "replica"))
    assert words_in("the moon") == []


def test_a_clients_paper_names_no_file_and_a_round_without_a_note_has_no_empty_label():
    html = render_visit(fullest(note=""))
    assert not re.search(r"docs/|\.md\b|\.jpg|from memory", Reading(html).text)
    assert 'data-label="Note"' not in html
    assert 'data-label="Note"' in render_visit(fullest())


def test_ids_of_several_scans_are_there_once():
    html = Markup('<section id="a"><article class="x" id="b"></article></section>')
    both = str(own_ids(html, 0) + own_ids(html, 1))
    ids = Reading(both).values("id")
    assert ids[:2] == ["a", "b"] and len(set(ids)) == 4


@each("state", ["strung", None, "in-piano-unstrung", "stripped"])
def test_it_is_whole_and_stands_alone(state):
    html = render_visit(fullest(state))
    reading = Reading(html)
    assert reading.open == [] and not NOT_VISIBLE.search(reading.text)
    assert not re.search(r"https?:|@import|<script", html)
    ids = reading.values("id")
    assert len(ids) == len(set(ids))


def test_text_from_outside_stays_text():
    html = render_visit(fullest(words=HOSTILE, note=HOSTILE))
    assert "<script" not in html.lower() and not {"script", "n"} & {tag for tag, _ in Reading(html).elements}


def test_a_photo_is_upright_small_and_without_the_place_it_was_taken_at(tmp_path):
    from PIL import Image

    path = photo_file(tmp_path)
    assert b"PERRY" in path.read_bytes()
    made = picture(path, path.name)
    content = base64.b64decode(made.data.partition(",")[2])
    assert b"PERRY" not in content and b"Exif" not in content
    with Image.open(io.BytesIO(content)) as shown:
        assert shown.size == (562, 1000) and not shown.getexif()


@each(("name", "content", "words"), [
    ("a.heic", b"\0\0\0\x18ftypheic" + bytes(40), "HEIC"),
    ("b.jpg", b"\xff\xd8\xff\xe0" + bytes(100), ""),
    ("c.jpg", None, "missing"),
])  # fmt: skip
def test_a_photo_that_cannot_be_shown_says_why_and_the_page_is_written(name, content, words, tmp_path):
    if content is not None:
        (tmp_path / name).write_bytes(content)
    made = picture(tmp_path / name, name)
    assert not made.data and made.reason and words in made.reason
    assert f"Not shown: {made.reason}" in Reading(render_visit(fullest(photos=(made,)))).text


def test_a_flaw_is_never_cut_nor_left_to_the_appendix():
    """However full the page is, and whatever stands beside it."""
    flaw = f"An examination found: {'w' * 300}."
    others = fullest().found
    sheet = replace(fullest(), found=(*others, Found("The corners", f"{flaw} {WHOLE}", True, len(flaw))))
    page, _ = parts(render_visit(sheet))
    assert flaw in page and WHOLE not in page
