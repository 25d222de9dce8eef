"""The sheet to chalk from: whole, harmless, and true to the state it was printed for."""

import re
import shlex
from html import unescape

import pytest

from tapscan.layouts import known_layouts, read_layout
from tapscan.places import CHECKLIST, IN_PIANO, REGIONS, STATES, Layout, Station
from tapscan.report import words
from tapscan.report.layout_sheet import HINTS, commands, render_sheet, write_sheet
from tapscan.screening.next_steps import EYES_IN_PIANO
from tests.every import each
from tests.report.reading import NOT_VISIBLE, Reading, lines, part
from tests.report.sheets import HOSTILE
from tests.snapshots import same_as_before

ORDER = ("soft", "soft", "hard", "hard")


def sheet(name="grand-short", state=None, order=ORDER):
    layout = read_layout(name)
    return render_sheet(layout, state, order, name)


def rows(html: str) -> list[str]:
    table = part(html, "stations")
    return [unescape(row) for row in re.findall(r"<tr.*?</tr>", table, re.S)[1:]]


def command(html: str) -> list[str]:
    """The words of the command on the sheet that names the layout, as a shell takes them."""
    return shlex.split(next(line for line in typed(html) if "--layout" in line))


def typed(html: str) -> list[str]:
    """Lines to type once the taps are recorded."""
    return [
        unescape(re.sub(r"</?span[^>]*>", "", line))
        for line in re.findall(r"<(?:li|p)>(?:Then: )?<code>(tapscan .*?)</code></", html)
    ]


@each("name", known_layouts())
def test_every_station_with_where_direction_and_boxes(name):
    html = sheet(name)
    reading = Reading(html)
    assert reading.open == []
    for station, row in zip(read_layout(name).stations, rows(html), strict=True):
        assert station.where in row and station.trouble in row and f">{station.name}<" in row
        assert row.count('class="box"') == 4 and row.count("soft") == 2
        assert ("sideways" in row) == (station.direction == "sideways")
        told = "not on a strung plate" in row or "only: " in row
        assert told == ("strung" not in station.states)
    assert not NOT_VISIBLE.search(reading.text)


def test_for_a_strung_plate_only_what_may_be_struck_is_listed_and_the_rest_is_named_in_one_line():
    html = sheet(state="strung")
    every = read_layout("grand-short").stations
    names = [s.name for s in every if "strung" not in s.states]
    assert [re.findall(r">(S\d)<", row) for row in rows(html)] == [[s.name] for s in every if s.name not in names]
    (line,) = re.findall(r'<p class="barred">(.*?)</p>', part(html, "stations"))
    drawn = html[html.index("<desc") : html.index("</desc>")]
    assert re.findall(r"S\d", line) == re.findall(r"S\d", drawn.partition("Leave out")[2]) == names
    assert "With strings on: tap nothing near pins, agraffes or strings" in Reading(html).text
    words_ = command(html)
    wanted = ["--layout", "grand-short", "--order", ",".join(ORDER), "--state", "strung"]
    assert words_[words_.index("--layout") :][:6] == wanted
    first = lines(html[html.index('<p class="summary"') : html.index('<div class="fields"')])
    assert f"{8 - len(names)} of 8 places" in first
    said = [first, lines(part(html, "map")), lines(part(html, "how")), lines(line)]
    same_as_before("layout-sheet", "\n".join(said), part="strung")


@each("state", [None, *STATES])
def test_the_eye_comes_before_the_hammer_and_touches_nothing(state):
    html = sheet(state=state)
    look = part(html, "round" if state in IN_PIANO else "look")
    assert html.index(look) < html.index('id="how"') < html.index('id="stations"')
    assert not re.search(r"fingernail|feel|mark where|scratch", look)
    assert ('id="look"' in html) != ('id="round"' in html), "one list to tick"
    stop = html.partition('id="first"')[2].partition("</p>")[0]
    if state not in {None, *IN_PIANO}:
        assert not stop
        return
    assert html.index('id="first"') < html.index('id="map"')
    assert unescape(stop).endswith(EYES_IN_PIANO.text[1:]) and ("in its piano" in stop) == (state is None)
    assert {"stop", "look"} <= set(re.findall(r"\w+", stop.lower())), "the words of the steps"


def test_no_line_ends_between_an_option_and_its_value():
    for state in (None, *STATES):
        wide = {"strung": '"my plates.toml"'}.get(state, "grand-short")
        html = render_sheet(read_layout("grand-short"), state, ORDER, wide.strip('"'))
        whole = [unescape(told) for told in re.findall(r'<span class="whole">(.*?)</span>', html)]
        assert f"--state {state or 'STATE'}" in whole and f"--layout {wide}" in whole
        assert not re.search(
            r"--\S+ ",
            re.sub(
                r'<span class="whole">.*?</span>',
                "",
                " ".join(re.findall(r"<code>tapscan .*?</code>", html)).replace("--help", ""),
            ),
        )


def test_for_a_bare_plate_everything_is_tapped_and_no_string_is_spoken_of_in_the_steps():
    text = Reading(sheet(state="stripped")).text
    assert "Leave out" not in text and "With strings on" not in text and "not on a strung plate" not in text


def test_without_a_state_it_can_be_ticked_and_the_strings_are_spoken_of():
    text = Reading(sheet()).text
    assert "State of the plate:" in text and "in the piano, strung" in text and "If it has strings" in text


def test_the_boxes_follow_the_order():
    html = sheet(order=("hard", "soft"))
    assert [w for w in re.findall(r"</i>(soft|hard)", rows(html)[0])] == ["hard", "soft"]
    (told,) = re.findall(r"(\d) taps: ([^.]*)", part(html, "how"))
    assert told == ("2", "hard, soft") and command(html)[command(html).index("--order") + 1] == "hard,soft"


def test_the_checklist_asks_what_the_register_keeps():
    text = Reading(sheet()).text.lower()
    assert [item for item in CHECKLIST.values() if item not in text] == [] and list(HINTS) == list(CHECKLIST)


def test_in_the_piano_the_sheet_holds_the_round_that_a_visit_is_noted_by():
    for state in (None, *STATES):
        html = sheet(state=state)
        table = html.partition('id="round"')[2].partition("</table>")[0]
        rows = re.findall(r'<th scope="row">(.*?)</th>', table)
        assert [unescape(row).lower() for row in rows] == (
            [t.lower() for t in REGIONS.values()] if state in IN_PIANO else []
        )
        assert table.count('class="box"') == 3 * len(rows)


def test_what_to_type_then_stands_on_it_and_in_the_piano_it_ends_in_the_document():
    for state in (None, *STATES):
        shown = typed(sheet(state=state))
        assert shown == list(commands("grand-short", state, ORDER))
        assert (shown[-1] == "tapscan visit report PLATE") == (state in IN_PIANO)


def test_cautions_stand_on_the_sheet():
    text = Reading(sheet()).text
    assert "Wear eye protection" in text and "stand clear of the line of the strings" in text


def test_it_stands_alone_and_prints_to_any_paper():
    html = sheet()
    assert not re.search(r"https?:|//[a-z]|@import|<script", html)
    assert "size: auto" in html and "size: A4" not in html[html.rindex("@page") :]
    reading = Reading(html)
    assert not {"script", "link", "img", "iframe"} & {tag for tag, _ in reading.elements}
    ids = reading.values("id")
    assert len(ids) == len(set(ids))


def test_names_from_outside_stay_text():
    station = Station(HOSTILE, HOSTILE, 0.5, 0.5, trouble=HOSTILE, states=("strung", "stripped"))
    html = render_sheet(Layout(HOSTILE, HOSTILE, HOSTILE, (station,)), None, ORDER, HOSTILE)
    reading = Reading(html)
    assert "<script" not in html.lower() and not {"script", "n"} & {tag for tag, _ in reading.elements}
    (only,) = re.findall(r'<b class="only">only: (.*?)</b>', html)
    assert only == "; ".join(words.STATES[s] for s in ("stripped", "strung"))


def test_a_name_with_blanks_is_quoted_in_the_command():
    asked = command(render_sheet(read_layout("grand-short"), None, ORDER, "my plates.toml"))
    assert asked[3:5] == ["--layout", "my plates.toml"]


def test_writing_is_whole_or_not_at_all(tmp_path):
    target = tmp_path / "sheet.html"
    write_sheet(target, read_layout("grand-short"), "strung", ORDER, "grand-short")
    assert target.read_text(encoding="utf-8") == sheet(state="strung")
    with pytest.raises(OSError):
        write_sheet(tmp_path / "missing" / "sheet.html", read_layout("grand-short"), None, ORDER, "grand-short")
    assert [p.name for p in tmp_path.iterdir()] == ["sheet.html"]
