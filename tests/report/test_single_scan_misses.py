"""The first screen of a single scan says how often a severed strut was noticed, by the file that the bench wrote."""

import json

from msgspec.structs import replace

from tapscan.report import error_rates as reach
from tapscan.report.page import render_page
from tapscan.screening.compare.compare_scans import compare_scans, with_comparison
from tapscan.screening.rules import RULE_LIMITS
from tapscan.settings import Settings, limits_by_part
from tapscan.workflow.conclude import conclude
from tests.compared import BASE, named, scan
from tests.report.sheets import screening

SHIPPED = limits_by_part(Settings(), RULE_LIMITS)
SILENT = replace(screening(), scan=scan(seed=51), indications=(), limits_sha256=SHIPPED)


def figure() -> str:
    found = json.loads(reach.FILE.read_text(encoding="utf-8"))["single"]["any_relevant"]["severed strut"]
    return f"{found['spoke'] or 'none'} of {found['of']}"


def test_it_stands_on_the_first_screen_with_the_figure_of_the_file(monkeypatch):
    said = conclude(SILENT, Settings())
    assert figure() in said.summary
    page = render_page(said)
    assert figure() in page[: page.index('id="next"')], "before the steps"
    other = {"single": {"any_relevant": {"severed strut": {"spoke": 7, "of": 99}}}}
    monkeypatch.setattr(reach, "measured", lambda: other)
    assert "7 of 99" in conclude(SILENT, Settings()).summary, "read, not typed"


def test_other_settings_have_no_figure_and_the_sentence_all_the_same():
    said = conclude(replace(SILENT, limits_sha256=()), Settings()).summary
    assert figure() not in said and "mostly passes unnoticed" in said


def test_beside_a_baseline_it_is_left_out():
    compared = with_comparison(SILENT, compare_scans(named(SILENT.scan, "2026-05-01"), BASE, Settings()), Settings())
    assert "unnoticed" not in conclude(compared, Settings()).summary
    assert compared.headline == conclude(compared, Settings()).headline
