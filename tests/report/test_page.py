"""The page holds what the screening says, escapes what comes from outside, and stands alone."""

import re
from pathlib import Path

import numpy as np
import pytest
from msgspec.structs import replace

from tapscan.records import ModalAmplitude, Scan
from tapscan.report.error_rates import error_rates
from tapscan.report.page import render_page, write_page
from tapscan.report.sections import appendix
from tests.report.reading import NOT_VISIBLE, Reading, lines, part, table
from tests.report.sheets import (
    HOSTILE,
    empty,
    full_page,
    indication,
    mode,
    picture,
    screening,
    strike,
    unknown_mode,
)
from tests.snapshots import same_as_before

pytestmark = pytest.mark.usefixtures("drawn_once")


def read(s) -> Reading:
    reading = Reading(full_page(s))
    assert reading.open == []
    return reading


def hostile():
    scan = screening().scan
    return screening(
        summary=HOSTILE,
        headline=HOSTILE,
        next_steps=(HOSTILE,),
        limitations=(HOSTILE,),
        assignment=(HOSTILE,),
        indications=(indication(sentence=HOSTILE, stations=(HOSTILE,), rule=HOSTILE, other_explanations=(HOSTILE,)),),
        scan=replace(
            scan,
            recordings=(replace(scan.recordings[0], file=HOSTILE, faults=(HOSTILE,)),),
            strikes=(strike(1, HOSTILE, faults=(HOSTILE,)),),
            modes=(mode(1, HOSTILE, reason=HOSTILE),),
            layout=HOSTILE,
        ),
        pictures=(picture(HOSTILE),),
    )


def test_everything_the_screening_says_is_on_the_page():
    s = screening()
    text = read(s).text
    said = [
        s.headline,
        s.summary,
        *s.next_steps,
        *s.limitations,
        *s.assignment,
        s.disposition,
        s.settings_sha256,
    ]
    said += [i.sentence for i in s.indications] + [o for i in s.indications for o in i.other_explanations]
    said += [c.source for i in s.indications for c in i.conditions] + [r.reason for r in s.rules_not_run]
    said += ["A buzz", "Own rule", "qualified person", "Listeners disagree"]
    said += [error_rates(i.rule, s.limits_sha256) for i in s.indications]
    said += [r.sha256 for r in s.scan.recordings] + [t.id for t in s.scan.strikes]
    assert [phrase for phrase in said if phrase not in text] == []


def test_what_was_found_and_what_to_do_come_before_any_figure():
    html = full_page(screening())
    order = ["<h1>", 'id="next"', 'id="indications"', 'id="tested"', 'id="reach"', 'id="cautions"', 'id="words"']
    places = [html.index(mark) for mark in [*order, 'id="pictures"', "<svg", 'id="appendix"']]
    assert places == sorted(places)


def test_the_uncertainty_stands_beside_the_value():
    text = read(screening()).text
    assert "140.000 ± 0.025" in text  # two significant digits of twice 0.0123 Hz
    assert "5.00 ± 0.10" in text
    assert "1.382 ± 0.028 s" in text  # T60 has the relative uncertainty of the decay rate: 1 %, twice


def test_unknown_is_a_word_with_its_reason():
    reading = read(screening(scan=replace(screening().scan, modes=(unknown_mode(1), unknown_mode(2)))))
    assert "overlaps its neighbours" in reading.text
    assert "180.0 ± unknown" in reading.text
    above = [row[-2] for row in table(full_page(screening()), "Table of taps")]
    assert above == ["45.0", f"unknown: {screening().scan.strikes[1].reason}"]


@pytest.mark.parametrize("make", [screening, empty, hostile])
def test_no_programmers_word_is_visible(make):
    reading = read(make())
    seen = [reading.text, *reading.values("aria-label")]
    assert [m.group() for piece in seen for m in NOT_VISIBLE.finditer(piece)] == []


def test_values_that_are_not_numbers_are_unknown():
    broken = mode(1, level_db=float("nan"), q=float("inf"), tone_to_noise_db=float("nan"))
    text = read(screening(scan=replace(screening().scan, modes=(broken,)))).text
    assert not NOT_VISIBLE.search(text)


def test_names_from_outside_stay_text():
    html = full_page(hostile())
    reading = read(hostile())
    assert not {"script", "n"} & {tag for tag, _ in reading.elements}
    assert "<script" not in html.lower()
    assert html.count("&lt;script&gt;") >= 10
    assert reading.text.count(HOSTILE) >= 10
    assert not [a for _, attrs in reading.elements for a in attrs if a.startswith("on")]


def test_characters_that_hide_or_turn_the_text_are_shown_as_boxes():
    scan = screening().scan
    name = "S1\u202egnp.exe\x00\x1b[2J\ud800.wav"
    html = full_page(screening(scan=replace(scan, recordings=(replace(scan.recordings[0], file=name),))))
    assert "S1\ufffdgnp.exe\ufffd\ufffd[2J\ufffd.wav" in html
    html.encode("utf-8")


def test_nothing_is_fetched_from_anywhere():
    html = full_page(screening())
    reading = read(screening())
    assert not re.search(r"https?:|//[a-z]|@import", html)
    assert not {"script", "link", "img", "iframe", "object", "embed"} & {tag for tag, _ in reading.elements}
    assert all(v.startswith("#") for v in reading.values("href", "src", "xlink:href"))
    assert all(target.startswith("#") for target in re.findall(r"url\(([^)]*)\)", html))


def test_figures_have_words_in_their_place_and_ids_are_unique():
    strikes = tuple(strike(k, f"S{k}") for k in range(1, 4))
    pictures = tuple(picture(f"S{k}", f"T{k}") for k in range(1, 4))
    reading = read(screening(scan=replace(screening().scan, strikes=strikes), pictures=pictures))
    drawings = [attrs for tag, attrs in reading.elements if tag == "svg"]
    assert len(drawings) == 6
    assert all(d["role"] == "img" and len(d["aria-label"] or "") > 40 for d in drawings)
    ids = reading.values("id")
    assert len(ids) == len(set(ids))
    used = [v[1:] for v in reading.values("href")]
    used += re.findall(r"url\(#([^)]*)\)", full_page(screening()))
    assert set(used) <= set(ids)


def test_at_most_eight_stations_are_drawn_and_the_rest_named():
    names = [f"P{k}" for k in range(1, 16)]
    s = screening(
        scan=replace(screening().scan, strikes=tuple(strike(k, n) for k, n in enumerate(names))),
        pictures=tuple(picture(n, f"T{k}") for k, n in enumerate(names)),
        indications=(indication(stations=("P15",)),),
    )
    reading = read(s)
    assert sum(tag == "svg" for tag, _ in reading.elements) == 16
    pictures = part(full_page(s), "pictures")
    drawn = re.findall(r'<h3>Station <span class="name">(P\d+)</span>', pictures)
    assert sorted(drawn, key=names.index) == [*names[:7], "P15"]
    assert re.findall(r"P\d+", pictures.partition("Not drawn")[2]) == names[7:14]
    below = pictures[pictures.rindex("</article>") + len("</article>") : -len("</section>")]
    same_as_before("report", lines(below), part="pictures: stations not drawn")


def test_the_strongest_modes_and_the_named_ones_are_listed_and_the_rest_counted():
    modes = tuple(mode(k) for k in range(1, 101))
    s = screening(scan=replace(screening().scan, modes=modes), indications=(indication(modes=("M90",)),))
    rows = set(re.findall(r'<th scope="row">(M\d+)</th>', full_page(s)))
    assert rows == {f"M{k}" for k in range(1, 61)} | {"M90"}
    assert re.findall(r"(\d+) more", part(full_page(s), "appendix")) == [str(len(modes) - len(rows))]


def test_a_page_without_taps_says_so():
    html, text = full_page(empty()), read(empty()).text
    assert empty().headline in text and empty().scan.recordings[0].reason in text
    tested, pictures = part(html, "tested"), part(html, "pictures")
    assert "<table" not in tested and "no place" in tested and "<svg" not in pictures and "Table of taps" not in html
    said = [lines(text).splitlines()[1] for text in (tested, pictures)]
    same_as_before("report", "\n".join(said), part="tested, and pictures: without taps")


def test_pictures_that_hold_nothing_are_told_in_words():
    bare = replace(
        picture(),
        frequency_hz=np.zeros(1),
        spectrum_db=np.zeros(1),
        noise_db=None,
        time_s=np.zeros(1),
        envelope_db=np.zeros(1),
    )
    drawn, told = (part(full_page(screening(pictures=p)), "pictures") for p in ((picture(),), (bare,)))
    assert (drawn.count("<svg"), told.count("<svg")) == (2, 0) and told.count("<figure>") == 2
    same_as_before("report", lines(told[told.index("<article") : -len("</section>")]), part="pictures: nothing to draw")


def test_limits_from_simulation_are_told_as_simulated():
    assert "set on simulated plates, computed and not cast" in read(screening()).text


def test_no_verdict_on_the_plate():
    text = read(screening()).text.lower()
    assert not re.search(r"\b(defect\w*|pass(ed)?|fail(ed)?|score of|healthy|good plate|sound plate)\b", text)


def test_the_same_screening_gives_the_same_page():
    assert full_page(screening()) == full_page(screening())


def test_writing_is_whole_or_not_at_all(tmp_path, monkeypatch):
    target = tmp_path / "page.html"
    write_page(screening(), target)
    before = target.read_bytes()
    assert before.decode("utf-8") == render_page(screening())

    def full_disk(self: Path, other: Path) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", full_disk)
    with pytest.raises(OSError, match="No space"):
        write_page(empty(), target)
    assert [p.name for p in tmp_path.iterdir()] == ["page.html"]
    assert target.read_bytes() == before


def test_a_place_that_cannot_be_written_leaves_nothing(tmp_path):
    (tmp_path / "folder.html").mkdir()
    with pytest.raises(OSError):
        write_page(screening(), tmp_path / "folder.html")
    with pytest.raises(OSError):
        write_page(screening(), tmp_path / "missing" / "page.html")
    assert [p.name for p in tmp_path.rglob("*")] == ["folder.html"]


def test_an_empty_scan_with_nothing_to_say_still_makes_a_page():
    s = screening(scan=Scan((), (), ()), indications=(), rules_not_run=(), limitations=(), pictures=())
    assert "every check was made" in read(s).text


def test_long_tables_are_cut_and_counted(monkeypatch):
    monkeypatch.setattr(appendix, "MOST_ROWS", 5)
    s = screening(scan=replace(screening().scan, strikes=tuple(strike(k) for k in range(8))))
    appendix_ = part(full_page(s), "appendix")
    assert len(table(appendix_, "Table of taps")) == 5
    assert re.findall(r"first (\d+); (\d+) more", appendix_) == [("5", "3")]


def test_the_highest_peaks_carry_the_numbers_not_the_strongest_starts():
    fast, slow = (
        mode(20, amplitudes=(ModalAmplitude("S1", 9.0),)),
        mode(1, amplitudes=(ModalAmplitude("S1", 1.0),)),
    )  # 900, 140 Hz
    html = full_page(screening(scan=replace(screening().scan, modes=(fast, slow)), indications=()))
    assert set(re.findall(r"strongest at ([^H]*) Hz", html)) == {"140, 900"}  # the picture's peaks: 0 dB and -20 dB
