"""The comparison on the page: what changed is named, what is unlike is said, text from outside stays text."""

import re

import pytest
from msgspec.structs import replace

from tapscan.layouts import read_layout
from tapscan.records import (
    CommonShift,
    Comparison,
    LikelyPlace,
    ModePair,
    StationChange,
    UnpairedMode,
    Whereabouts,
)
from tapscan.report.error_rates import measured, place_rates
from tapscan.report.extras import Extras
from tapscan.report.page import render_page
from tapscan.report.sections.comparison import DROPS
from tapscan.screening.rules import RULE_LIMITS
from tapscan.settings import Settings, limits_by_part
from tests.every import each
from tests.report.reading import lines, part, table
from tests.report.sheets import HOSTILE, full_page, screening
from tests.snapshots import same_as_before

pytestmark = pytest.mark.usefixtures("drawn_once")


def pair(number: int, change_ppm: float, *, fell: bool = False, loss: float | None = 1.02) -> ModePair:
    hz = 100.0 + 40 * number
    return ModePair(
        later_mode=f"M{number}",
        baseline_modes=(f"M{number}",),
        baseline_hz=hz,
        later_hz=hz * (1 + 1e-6 * change_ppm),
        change_ppm=change_ppm,
        change_sd_ppm=20.0,
        normalised_drop=-change_ppm / 20.0,
        fell=fell,
        loss_ratio=loss,
        loss_ratio_sd=None if loss is None else 0.01,
        normalised_loss_rise=None if loss is None else 2.0,
        loss_rose=None if loss is None else False,
        reason=None if loss else "no decay is known in one of the scans",
    )


def comparison(**changes: object) -> Comparison:
    pairs = tuple(pair(k, -1900.0 if k == 5 else 3.0, fell=k == 5) for k in range(1, 14))
    known = Comparison(
        later="BY-12/2026-09-22",
        baselines=("BY-12/2026-04-14",),
        pairs=(*pairs, pair(14, 2.0, loss=None)),
        common=CommonShift(-700.0, 2.0, 4.1, 3.2, 5.6, 4.0, True, "All modes together lie 0.07 % lower."),
        lost=(UnpairedMode("M9", 460.0, 0.001, True),),
        gained=(UnpairedMode("M3", 220.0, 0.4, False),),
        statistic=10.0,
        statistic_limit=7.5,
        loss_statistic=None,
        loss_statistic_limit=None,
        unlike=("The sensor stood elsewhere.",),
        explanation=None,
        where=(StationChange("S1", 1.0),),
        indications=(),
        carried=(),
        rules_not_run=(),
        limitations=(),
        summary="One mode fell.",
        settings_sha256="0" * 64,
    )
    return replace(known, **changes)  # type: ignore[arg-type]


def section(page: str) -> str:
    return part(page, "comparison")


def test_a_changed_mode_is_named_with_its_uncertainty():
    shown = section(full_page(replace(screening(), comparison=comparison())))
    (row,) = table(shown, "Table of changes")  # of fourteen pairs only the one that changed
    assert row[0] == "M5" and "\N{MINUS SIGN}0.1900 ± 0.0040" in row and "fell" in row[-1]
    assert "The sensor stood elsewhere." in shown
    assert "460.0 Hz" in shown  # lost, and too strong to be missed by chance
    assert "220.0 Hz" not in shown  # could well have been missed
    drawn = re.findall(r'aria-label="([^"]*)"', shown)[0]
    assert re.findall(r"(\d+) fell", drawn) == ["1"] and re.findall(r"largest by ([\d.]+) %", drawn) == ["0.190"]
    same_as_before("report", lines(shown), part="comparison: one tone fell")


def test_where_nothing_changed_the_largest_drops_are_shown_as_such():
    quiet = comparison(pairs=tuple(pair(k, 3.0) for k in range(1, 14)), where=())
    shown = section(full_page(replace(screening(), comparison=quiet)))
    rows = table(shown, "Table of changes")
    assert len(rows) == 6 and {row[-1] for row in rows} == {"within the scatter"} and "none stands out" in shown
    same_as_before("report", lines(shown), part="comparison: nothing changed")


def test_without_a_comparison_there_is_no_such_section_and_the_sheet_says_so():
    page = full_page(screening())
    assert 'id="comparison"' not in page
    assert "nothing was compared" in page


def test_text_from_outside_stays_text():
    page = full_page(replace(screening(), comparison=comparison(summary=HOSTILE, unlike=(HOSTILE,), later=HOSTILE)))
    assert "<script" not in page


def test_the_figure_of_a_microphone_is_told_as_odds_and_draws_no_limit_bars():
    by_likelihood_ratio = comparison(by_likelihood_ratio=True, statistic=8.2, statistic_limit=6.0)
    by_pickup, by_microphone = (
        section(full_page(replace(screening(), comparison=c))) for c in (comparison(), by_likelihood_ratio)
    )
    assert "10.0; limit 7.5" in lines(by_pickup).split(f"{DROPS}\n")[1]
    assert re.findall(r"<dd>([^;]*); limit (.*?)</dd>", by_microphone) == [("3600 to 1", "400 to 1")]
    same_as_before("report", lines(by_microphone), part="comparison: one tone fell, heard by a microphone")
    assert "three largest drops" not in by_microphone and "pale bar" not in by_microphone and "pale bar" in by_pickup
    assert by_microphone.count("<path") < by_pickup.count("<path")


PLACES = (
    LikelyPlace("strut 2", "strut", "keyboard end", 0.3, 0.7, 0.62, 0.08),
    LikelyPlace("corner <b>beside</b> strut 2", "corner", "", 0.32, 0.78, 0.21, 0.05),
    LikelyPlace("rim, tail end", "rim", "", 0.4, 0.05, 0.015, 0.02),
)


def located(**changes: object) -> Comparison:
    found = replace(Whereabouts(PLACES, "drops", fit=0.7), **changes)  # type: ignore[arg-type]
    return comparison(places=found.places, located=(found,))


def page_of(c: Comparison) -> str:
    shown = replace(screening(), comparison=c)
    return section(render_page(replace(shown, scan=replace(shown.scan, map=read_layout("grand-long")))))


def test_parts_are_shaded_by_belief_and_lettered_as_in_the_table():
    shown = page_of(located())
    discs = [float(x) for x in re.findall(r'fill-opacity="([\d.]+)"', shown[shown.index('id="where-drops-title"') :])]
    assert len(discs) == 2 and discs[0] < discs[1]  # the faintest is drawn first, and one under two per cent not at all
    assert "A. strut 2" in shown and "62 ± 16" in shown
    assert "<b>" not in shown
    assert 'id="where-changed-title"' not in shown  # the former map, no better than chance


def test_beside_the_places_stands_how_often_that_is_right_and_chance():
    used = limits_by_part(Settings(), RULE_LIMITS)
    figures = measured()["location"]
    told = place_rates(Whereabouts(PLACES, "drops"), used)
    assert f"{figures['drops']['first']['spoke']} of {figures['drops']['first']['of']}" in told
    assert f"{100 * figures['drops']['chance_first']:.0f} in 100" in told.partition("by chance")[2]
    fewer = place_rates(Whereabouts(PLACES, "drops", places_used=12), used)
    few = figures["few drops"]["first"]
    assert f"{few['spoke']} of {few['of']}" in fewer and "12 places" in fewer
    for uncounted in (place_rates(Whereabouts(PLACES, "weight"), used), place_rates(Whereabouts(PLACES, "drops"), ())):
        assert not re.search(r"\d", uncounted)
        same_as_before("report", uncounted, part="comparison: places that were not counted")


def test_what_cannot_be_placed_says_why():
    why = "11 places are needed to say where; here are 8"
    shown = page_of(located(places=(), reason=why))
    assert shown.count(why) == 1 and 'class="places"' not in shown
    assert 'id="where-drops-title"' not in shown and 'id="where-changed-title"' in shown


@each(("scans", "usual"), [(1, "usual between two scans"), (2, "normal variation")])
def test_beside_one_earlier_scan_no_variation_of_the_plate_itself_is_claimed(scans, usual):
    """Its own was said to be unknown, on the same page."""
    beside = comparison(baselines=tuple(f"BY-12/2026-04-1{n}" for n in range(scans)))
    page = render_page(screening(comparison=beside), beside=Extras(full=True))
    caption = page[page.index("The thin line through a mark") :][:160]
    assert usual in caption
