"""The map of the plate: what each mark means, its words, its place on the page, and that it stays harmless."""

import re
import xml.etree.ElementTree as ET
from math import hypot

import pytest
from msgspec.structs import replace

from tapscan.layouts import read_layout
from tapscan.places import Layout, Outline, Station
from tapscan.records import ModalAmplitude
from tapscan.report.as_json import to_json
from tapscan.report.drawing.plate_drawing import apart, element, mark
from tapscan.report.drawing.plate_map import (
    FLOOR_DB,
    LARGEST,
    MEANING,
    amplitude_map,
    legend,
    marks,
    radius,
    station_map,
)
from tapscan.screening.disposition import PART_ONLY
from tests.report.reading import NOT_VISIBLE, lines, part
from tests.report.sheets import HOSTILE, full_page, indication, mode, screening, strike
from tests.report.test_page import read
from tests.snapshots import same_as_before

GRAND = read_layout("grand-short")
EDGE = ((0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0))


def on_grand(**changes):
    """S3 named, S1 tapped, S2 tapped in vain, the rest not tapped."""
    s = screening()
    strikes = (strike(1, "S1"), strike(2, "S2", faults=("clipped",)), strike(3, "S3"))
    modes = (mode(1, "S1", amplitudes=(ModalAmplitude("S1", -4.0), ModalAmplitude("S3", -14.0))),)
    scan = replace(s.scan, strikes=strikes, modes=modes, map=GRAND, layout="grand-short", state="strung")
    known = {"scan": scan, "indications": (indication(stations=("S3",)),), "pictures": ()}
    return screening(**{**known, **changes})


def shapes(svg: str) -> dict[str, str]:
    """First word of each station's hint and the drawn element beside it."""
    root = ET.fromstring(svg)
    return {g.find("title").text.split(",")[0]: g[1].tag for g in root.iter("g") if g.find("title") is not None}


def hints(svg: str) -> dict[str, str]:
    """What is told of each station, beside its name and its place."""
    titles = [g.find("title").text for g in ET.fromstring(svg).iter("g") if g.find("title") is not None]
    return {told.split(",")[0]: told.partition(": ")[2] for told in titles}


def notes(s) -> list[str]:
    """Beside the large map."""
    return re.findall(r'<p class="fine">(.*?)</p>', part(full_page(s), "map"))


def added(s) -> str:
    """The one note that stands there and not beside the usual map."""
    (told,) = set(notes(s)) - set(notes(on_grand()))
    return told


def test_every_meaning_has_its_own_mark():
    found = {name: m.kind for name, m in marks(on_grand()).items()}
    assert found == {"S1": "tapped", "S2": "unusable", "S3": "look", **{f"S{k}": "untapped" for k in range(4, 9)}}


@pytest.mark.parametrize("changes", [{"interpretation": "nonrelevant"}, {"interpretation": "false"}])
def test_what_is_not_relevant_raises_no_mark(changes):
    s = on_grand(indications=(indication(stations=("S3",), **changes),))
    assert marks(s)["S3"].kind == "tapped"


def test_what_stood_in_the_baseline_is_still_marked():
    """A reader of the page took an unmarked map for a plate at which nothing was found."""
    s = on_grand(indications=(indication(stations=("S3",), status="unchanged"),))
    assert marks(s)["S3"].kind == "look"


def test_shape_alone_tells_the_meaning():
    def outline(kind):
        drawn = str(mark(kind, (50.0, 50.0), 5.0))
        return re.sub(r' (fill|stroke)(-\w+)?="[^"]*"', "", drawn)

    kinds = ("look", "tapped", "unusable", "untapped", "leave", "faint")
    assert len({outline(k) for k in kinds}) == len(kinds)


def test_greys_of_the_marks_keep_apart_without_colour():
    """Relative luminance (sRGB weights) of a filled mark against the iron: 3 to 1 at least, as WCAG asks of graphics."""

    def luminance(colour):
        parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    iron = luminance("#e6e9f0")
    for kind, paint in (("look", "fill"), ("tapped", "stroke"), ("unusable", "stroke"), ("untapped", "stroke")):
        colour = re.search(rf'{paint}="(#\w{{6}})"', str(mark(kind, (9.0, 9.0), 5.0)))[1]
        assert (iron + 0.05) / (luminance(colour) + 0.05) > 3, kind


def test_the_words_in_its_place_name_what_matters_first():
    svg = str(station_map(GRAND, marks(on_grand()), "m"))
    told = re.split(r"\.\s*", ET.fromstring(svg).find("desc").text)[:-1]
    said = {kind.lower(): names for kind, names in (one.split(": ") for one in told)}
    assert list(said) == [MEANING[kind] for kind in ("look", "tapped", "unusable", "untapped")]
    assert [re.findall(r"S\d", names) for names in said.values()] == [
        ["S3"],
        ["S1"],
        ["S2"],
        [f"S{k}" for k in range(4, 9)],
    ]
    assert GRAND.stations[2].where in said[MEANING["look"]]
    assert 'role="img"' in svg and 'aria-labelledby="m-title m-desc"' in svg
    assert {name for name, hint in hints(svg).items() if "not to be tapped" in hint} == {"S4", "S5"}
    same_as_before("report", lines(svg), part="map: one place to look at, strung")


def test_the_mark_that_matters_lies_on_top():
    everywhere = {s.name: marks(on_grand())["S3" if s.name == "S1" else "S4"] for s in GRAND.stations}
    assert list(shapes(str(station_map(GRAND, everywhere, "m"))))[-1] == "S1"


def test_stations_on_one_spot_step_apart_and_others_stay():
    moved = apart([(10.0, 10.0), (10.0, 10.0), (90.0, 90.0)], [5.0, 5.0, 5.0])
    assert hypot(moved[0][0] - moved[1][0], moved[0][1] - moved[1][1]) == pytest.approx(11.0)
    assert moved[2] == (90.0, 90.0)


def test_a_discs_area_goes_as_the_amplitude():
    assert radius(0.0) == LARGEST
    assert (radius(-20.0) / radius(0.0)) ** 2 == pytest.approx(0.1)  # -20 dB: a tenth of the amplitude
    assert radius(-90.0) == radius(FLOOR_DB)


def test_a_modes_map_shows_strength_by_size_and_what_was_not_heard():
    amplitudes = (
        ModalAmplitude("S1", -4.0),
        ModalAmplitude("S3", -14.0),
        ModalAmplitude("S5", -4.0 + FLOOR_DB - 1),
        ModalAmplitude("S6", float("nan")),
    )
    svg = str(amplitude_map(GRAND, amplitudes, ["S1", "S2", "S3", "S5", "S6"], "m", "mode M1, 140 Hz,"))
    assert shapes(svg) == {
        **dict.fromkeys(("S1", "S2", "S3", "S5", "S6"), "circle"),
        **dict.fromkeys(("S4", "S7", "S8"), "rect"),
    }
    discs = [float(r) for r in re.findall(r'r="([\d.]+)"[^>]*fill-opacity', svg)]
    assert discs == pytest.approx([radius(0.0), radius(-10.0)], abs=0.06)  # written to a tenth of a unit
    assert re.findall(r"([\d.]+) dB", hints(svg)["S3"]) == ["10.0"]
    assert {name for name, hint in hints(svg).items() if "too faint" in hint} == {"S2", "S6"}
    same_as_before("report", lines(svg), part="map: where a mode is strong")
    assert "nan" not in svg


def test_a_mode_strong_at_no_known_place_has_no_map():
    assert amplitude_map(GRAND, (ModalAmplitude("elsewhere", 0.0),), [], "m", "mode M1") is None


def test_the_page_shows_a_small_map_first_and_a_large_one_below():
    html = full_page(on_grand())
    order = [
        "<h1>",
        "map-small-title",
        'id="next"',
        'id="map"',
        "map-large-title",
        'id="indications"',
        'id="tones"',
        "map-mode-1-title",
        'id="tested"',
    ]
    places = [html.index(mark_) for mark_ in order]
    assert places == sorted(places)
    reading = read(on_grand())
    for words in ("something to look at here (1)", "tapped, but no tap could be used (1)", "not tapped (5)"):
        assert reading.text.count(words) == 2
    assert re.findall(r"<h3>Mode (.*?) Hz</h3>", html) == ["M1, 140.000 ± 0.025"]
    ids = reading.values("id")
    assert len(ids) == len(set(ids))
    named = " ".join(reading.values("aria-labelledby")).split()
    assert len(named) == 6 and set(named) <= set(ids)
    assert {u[5:-1] for u in re.findall(r"url\(#[^)]*\)", html)} <= set(ids)


def test_without_a_layout_there_is_no_map_and_no_empty_box():
    html = full_page(screening())
    body = html[html.index("<body>") :]
    assert "small-map" not in body and 'id="map"' not in body and "Map of the plate" not in body


def test_without_an_outline_the_places_stand_in_a_broken_frame():
    s = on_grand(scan=replace(on_grand().scan, map=replace(GRAND, outline=None)))
    assert GRAND.name in added(s)
    same_as_before("report", "\n".join(notes(s)), part="map: without an outline")
    assert "stroke-dasharray" in str(station_map(s.scan.map, {}, "m"))


def test_stations_the_layout_does_not_know_are_told():
    s = on_grand(scan=replace(on_grand().scan, strikes=(strike(1, "S1"), strike(2, "cellar"))))
    assert "cellar" in added(s)
    same_as_before("report", "\n".join(notes(s)), part="map: a station that the layout does not know")


def test_an_indication_of_the_whole_plate_is_told_beside_the_map():
    s = on_grand(indications=(indication(stations=()),))
    assert "plate as a whole" in added(s) and "look" not in {m.kind for m in marks(s).values()}
    same_as_before("report", "\n".join(notes(s)), part="map: an indication of the whole plate")


def test_names_from_outside_stay_text():
    station = Station(HOSTILE, HOSTILE, 0.5, 0.5, trouble=HOSTILE)
    layout = Layout(HOSTILE, HOSTILE, HOSTILE, (station,), Outline(HOSTILE, 1.0, EDGE, sides=(HOSTILE,) * 4))
    s = on_grand(scan=replace(on_grand().scan, map=layout, strikes=(strike(1, HOSTILE), strike(2, "<b>"))))
    reading = read(s)
    assert not {"script", "n", "b"} & {tag for tag, _ in reading.elements} - {"b"}
    assert "<script" not in full_page(s).lower()
    assert not NOT_VISIBLE.search(reading.text)
    ET.fromstring(str(station_map(layout, marks(s), "m")))


def test_a_value_cannot_leave_its_attribute():
    assert str(element("text", "<i>", x='" onload="x', stroke_width=1.25)) == (
        '<text x="&#34; onload=&#34;x" stroke-width="1.2">&lt;i&gt;</text>'
    )


def test_characters_that_hide_or_turn_the_text_are_shown_as_boxes():
    layout = Layout("m", "k", "", (Station("S\u202e1", "rim\x00", 0.5, 0.5),))
    svg = str(station_map(layout, {}, "m"))
    assert "\u202e" not in svg and "\x00" not in svg and "S\ufffd1" in svg


def test_the_legend_names_only_what_occurs():
    counted = {"look": 1, "tapped": 1, "unusable": 1, "untapped": 5}
    told = [said for _, said in legend(GRAND, marks(on_grand()))]
    assert told == [*(f"{MEANING[kind]} ({count})" for kind, count in counted.items()), "plate screw"]
    one = {"S1": marks(on_grand())["S1"]}
    assert [said for _, said in legend(replace(GRAND, outline=None), one)] == [f"{MEANING['tapped']} (1)"]
    assert all('aria-hidden="true"' in str(sample) for sample, _ in legend(GRAND, marks(on_grand())))


def test_a_test_without_an_answer_clears_no_place():
    found = marks(on_grand(disposition="inconclusive"))
    assert found["S1"].kind == "unanswered"
    assert [said for _, said in legend(GRAND, found)][1] == f"{MEANING['unanswered']} (1)"
    drawn = str(station_map(GRAND, found, "m"))
    assert "nothing points" not in drawn
    same_as_before("report", lines(drawn), part="map: a test without an answer")


def test_where_only_a_part_was_tapped_its_places_are_told_as_the_first_sentence_tells_them():
    """That nothing was heard there stood beside marks without an answer."""
    part = on_grand(disposition="inconclusive", headline=f"{PART_ONLY}: 1 of 8 places", indications=())
    assert marks(part)["S1"].kind == "tapped"


def test_json_gives_the_stations_with_their_positions():
    stations = to_json(on_grand())["stations"]
    assert len(stations) == 8
    first = stations[0]
    assert (first["station"], first["x"], first["y"], first["direction"]) == ("S1", 0.589, 0.647, "above")
    assert "strung" in first["states"] and "strung" not in stations[1]["states"]
    assert to_json(screening())["stations"] == []
