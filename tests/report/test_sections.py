"""Named tones, the course through all scans, how far the test reaches, and what stands at the head of the page."""

import re

import numpy as np
import pytest
from msgspec.structs import replace

from tapscan.records import RuleNotRun
from tapscan.report.about import About, Head
from tapscan.report.error_rates import error_rates
from tapscan.report.extras import Course, CourseLine, Extras, ToneDecay
from tapscan.report.page import render_page
from tapscan.report.rule_words import rule_title
from tapscan.report.sections.comparison import counted_tones
from tapscan.report.sections.reach import error_rates_section
from tapscan.report.sections.tones import named, tones_section
from tapscan.report.sections.trend import trend_section
from tapscan.report.shop import Shop
from tapscan.screening.compare.trend import FEWEST
from tapscan.screening.rules import RULES
from tapscan.wording import spelled
from tests.report.reading import lines, part
from tests.report.sheets import full_page, indication, mode, screening
from tests.report.test_comparison_section import comparison, pair
from tests.snapshots import same_as_before

pytestmark = pytest.mark.usefixtures("drawn_once")

T = np.linspace(0.05, 1.0, 40)


def decay(**changes: object) -> ToneDecay:
    known = ToneDecay("M1", 140.0, "S1", "T1", T, -43.4 * T, 0.0, 5.0, 0.05)
    return replace(known, **changes)  # type: ignore[arg-type]


def course(*lines: CourseLine, dates=("2024-03-01", "2025-03-01", "2026-03-01")) -> Course:
    names = tuple(f"B12/{d}" for d in dates)
    return Course(names, tuple(dates), tuple(-100.0 * k for k in range(len(dates))), lines, 70, FEWEST)


def test_tones_come_in_turn_from_every_indication():
    modes = tuple(mode(k) for k in range(1, 10))
    s = screening(
        scan=replace(screening().scan, modes=modes),
        indications=(indication(modes=("M1", "M2", "M3")), indication(modes=("M2", "M7")), indication(modes=("M99",))),
    )
    assert [m.id for m in named(s)] == ["M1", "M2", "M7", "M3"]


def test_a_named_tone_has_its_decay_with_the_measured_line_and_the_fitted_one():
    found = tones_section(screening(), [decay()])
    assert found is not None
    row = found.rows[0]
    assert re.findall(r"([\d.]+) dB a second", row["decay"]) == ["43.4", "43.4"]
    assert all(told in row["decay_words"] for told in ("T1", "S1", "1.382 ± 0.028 s"))
    same_as_before("report", f"{lines(row['decay'])}\n{row['decay_words']}", part="tones: its decay")


def test_a_decay_that_could_not_be_had_says_why():
    nothing = decay(time_s=np.empty(0), level_db=np.empty(0), reason="heard too shortly")
    found = tones_section(screening(), [nothing])
    assert found is not None
    assert found.rows[0]["decay"] is None
    assert nothing.reason in found.rows[0]["decay_words"]
    same_as_before("report", found.rows[0]["decay_words"], part="tones: a decay that could not be had")


def test_without_named_tones_there_is_no_such_section():
    assert tones_section(screening(indications=()), []) is None
    assert 'id="tones"' not in full_page(screening(indications=()))


def test_the_course_is_drawn_and_told_in_a_table():
    line = CourseLine(311.2, (0.0, None, -1900.0), (10.0, None, 12.0), "one step")
    html = full_page(screening(), None, Extras(Shop(dates="day.month.year"), course=course(line)))
    for told in ("01.03.2024", "311.2 Hz", "not heard", "\N{MINUS SIGN}0.190", "one step", "\N{MINUS SIGN}0.020"):
        assert told in html
    few = trend_section(course(line), None)
    assert few is not None and (few["few"], few["scans"], few["fewest"]) == (True, 3, spelled(FEWEST))
    drawn = part(html, "trend").partition("<title")[2].partition("</title>")[0]
    assert re.findall(r"(-[\d.]+) %", drawn) == ["-0.020", "-0.190"]
    same_as_before("report", lines(part(html, "trend")), part="trend: three scans")
    assert "2024-03-01" not in html.replace("B12/2024-03-01", "")


def test_days_in_sentences_are_the_shops_and_names_of_scans_stay():
    shop = Shop(dates="month/day/year")
    told = "Since the baseline of 2026-03-02 to 2026-08-31 (2 scans), B12/2026-03-02-1, 2026-13-45."
    shops = told.replace("of 2026-03-02", "of 03/02/2026").replace("to 2026-08-31", "to 08/31/2026")
    assert shop.dated(told) == shops != told
    s = screening(
        indications=(indication(sentence="Since 2026-03-02 it rings."),), summary="Since 2026-03-02 it rings."
    )
    assert "2026-03-02" not in full_page(s, None, Extras(shop))


def test_one_scan_has_no_course():
    assert trend_section(None, None) is None
    assert trend_section(course(dates=("2026-03-01",)), None) is None
    assert 'id="trend"' not in full_page(screening())


def test_scans_of_one_day_are_drawn_too():
    line = CourseLine(311.2, (0.0, 5.0), (10.0, 10.0), "too few scans to say")
    found = trend_section(course(line, dates=("2026-03-01", "2026-03-01")), None)
    assert found is not None and "<svg" in found["drawing"]


def test_every_rule_says_what_it_did_here_and_how_far_it_reaches():
    s = screening(indications=(indication(rule="buzz"),), rules_not_run=(RuleNotRun("string", "no strings"),))
    rows = {name: (said, far) for name, said, far in error_rates_section(s)}
    assert len(rows) >= len(RULES)
    assert rows["A buzz"] == ("raised 1 indication here", error_rates("buzz", s.limits_sha256))
    assert rows.pop(rule_title("string"))[0] == "not run here"
    (silent,) = {said for name, (said, _) in rows.items() if name != "A buzz"}
    assert "found nothing" in silent
    same_as_before("report", silent, part="reach: a rule that ran and found nothing")


@pytest.mark.parametrize(
    ("judged", "told"),
    [
        ((True, True, False), "2 compared with the earlier scan, of 2 heard"),
        ((None, True, True), "2 heard, 3 of them also in the earlier scan"),
    ],
)
def test_tones_found_again_and_compared_add_up(judged, told):
    pairs = tuple(replace(pair(k, 1.0), judged=j) for k, j in enumerate(judged, 1))
    said = counted_tones(replace(screening(), comparison=comparison(pairs=pairs)))
    assert said.startswith(told)
    assert ("compared with" in said) == (None not in judged)


def test_plate_day_and_whom_it_is_for_stand_at_the_head():
    about = About("B12", "B12/2026-03-14", "2026-03-14", "small grand, serial number 77", "A. Person")
    head = full_page(screening(), about, Extras(whom="Mill Street <School>")).split("<h1>")[0]
    for told in ("B12", "small grand, serial number 77", "2026-03-14", "A. Person", "Mill Street &lt;School&gt;"):
        assert told in head


def test_every_page_has_the_same_head_also_of_recordings_that_are_in_no_register():
    given = Extras(Shop("Kettle Lane Pianos", "12 Kettle Lane"), head=Head("a parlour grand", "2026-11-29"))
    pages = [render_page(screening(), None, replace(given, summary=short)) for short in (False, True)]
    for head in (page[page.index('class="heading"') : page.index("<h1>")] for page in pages):
        assert re.findall(r"<dt>(.*?)</dt>", head) == ["Piano", "Tapped on", "Workshop", "Contact"]
        assert all(told in head for told in ("a parlour grand", "2026-11-29", "Kettle Lane Pianos", "12 Kettle Lane"))
    assert render_page(screening()).split("<h1>")[0].count("not given") == 4


def test_the_page_for_a_buyer_says_each_finding_once():
    first, second = indication(sentence="The first thing."), indication(sentence="The second thing.")
    told = screening(indications=(first, second), summary="The first thing. 1 further indication below.")
    page = full_page(told, None, Extras(summary=True))
    assert page.count("The first thing.") == page.count("The second thing.") == 1


def test_a_tones_figures_go_as_far_as_its_uncertainty():
    """Tried by a shop: "± under 0.01 Hz" stood there six times."""
    sharp = mode(1, "S1", frequency_hz=140.123456, frequency_sd_hz=0.0042)
    page = full_page(screening(scan=replace(screening().scan, modes=(sharp,))))
    assert "140.1235 ± 0.0084 Hz" in page and "under 0.0" not in page
