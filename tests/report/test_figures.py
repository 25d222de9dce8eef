"""Drawings and curves of a page: one typeface, one size of lettering, closed struts, before and now side by side."""

import re
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from tapscan.layouts import read_layout
from tapscan.records import ModalAmplitude
from tapscan.report.drawing.plate_drawing import FONT
from tapscan.report.drawing.plate_map import amplitude_map, station_map
from tapscan.report.extras import Sound
from tapscan.report.figures import tones
from tapscan.report.figures.sheet import FONT_PT
from tapscan.report.figures.tones import before_and_now
from tapscan.report.sections.listen import players
from tapscan.report.time_frequency import time_frequency_of
from tests.report.sheets import full_page, screening

GRAND = read_layout("grand-long")
REM_PX, LETTERING_PX = 16.0, 12.0
RATE = 16000
T = np.arange(2 * RATE) / RATE


def lettering_px(svg: str) -> float:
    """As it stands on a screen: units of the lettering by the width that the drawing is given."""
    width = float(re.search(r"width:([\d.]+)rem", svg)[1]) * REM_PX
    units = float(re.search(r'viewBox="0 0 ([\d.]+)', svg)[1])
    return (FONT if "aria-labelledby" in svg[:300] else FONT_PT) * width / units


def ring(hz: float):
    found = time_frequency_of(np.sin(2 * np.pi * hz * T) * np.exp(-3 * T), RATE, 0.0)
    assert found is not None
    return found


def test_lettering_has_one_size_and_one_typeface():
    page = full_page(screening())
    curves = [s for s in re.findall(r"<svg.*?</svg>", page, re.S) if "width:" in s[:300]]
    maps = [str(station_map(GRAND, {}, "a")), str(station_map(GRAND, {}, "b", 300.0))]
    assert len(curves) >= 2
    assert [lettering_px(s) for s in (*curves, *maps)] == pytest.approx([LETTERING_PX] * (len(curves) + 2), abs=0.1)
    sizes = {float(n) for s in curves for n in re.findall(r"font(?:-size)?: (?:bold )?([\d.]+)px", s)}
    assert sizes == {FONT_PT}
    assert not re.search(r"sans-serif|Arial", page)


def test_struts_are_closed_and_keep_within_the_rim():
    svg = str(station_map(GRAND, {}, "m"))
    root = ET.fromstring(svg)
    groups = {g.get("clip-path"): list(g) for g in root.iter("g") if g.get("clip-path")}
    assert set(groups) == {"url(#m-bays)", "url(#m-edge)"}
    assert all(len(bars) == len(GRAND.outline.struts) for bars in groups.values())
    assert all(p.get("d").endswith("Z") for bars in groups.values() for p in bars)
    assert all(p.get("stroke") for p in groups["url(#m-bays)"])


def test_every_place_is_labelled_where_the_change_is_drawn():
    heard = [ModalAmplitude(GRAND.stations[0].name, 0.0)]
    svg = str(amplitude_map(GRAND, heard, [s.name for s in GRAND.stations], "m", "the changed modes"))
    labels = {t.text for t in ET.fromstring(svg).iter("text")}
    assert {s.name for s in GRAND.stations} <= labels


def test_before_and_now_share_one_axis_and_their_difference_is_drawn():
    svg = str(before_and_now(ring(400.0), ring(900.0), (900.0,), "S4", "x"))
    assert [svg.count(f">{word}<") for word in ("before", "now", "difference")] == [1, 1, 1]
    assert svg.count("<image") == 2 and svg.count("frequency, Hz") == 1
    same = str(before_and_now(ring(400.0), ring(400.0), (), "S4", "x"))
    assert len(same) < len(svg), "what does not differ is not drawn"


def test_the_panels_of_before_and_now_can_be_read_across(monkeypatch):
    """One scale of frequency and one of time, with ticks at the same heights."""
    monkeypatch.setattr(tones, "as_svg", lambda figure, *_: figure)
    first, *others = before_and_now(ring(400.0), ring(900.0), (900.0,), "S4", "x").axes
    assert len(others) == 2
    for panel in others:
        assert (panel.get_ylim(), panel.get_xlim()) == (first.get_ylim(), first.get_xlim())
        assert list(panel.get_yticks()) == list(first.get_yticks())


def test_before_and_now_are_one_looped_sound():
    made = ring(400.0)
    (group,) = players([Sound("A change", "S4, before and now", "in turn", b"mp3", made, (), made)])
    (row,) = group[1]
    assert row["loops"] and row["picture"] is not None
    assert not players([Sound("A change", "S4", "alone", b"mp3", made)])[0][1][0]["loops"]
