"""The JSON by its keys: one form for a screening, a comparison, and what lies in both."""

import json
import re
from pathlib import Path

import numpy as np
import pytest
from msgspec.structs import replace

import tapscan
from tapscan.plain_values import SCHEMA, plain, written_as
from tapscan.records import Comparison, Indication, RuleNotRun
from tapscan.report.as_json import dumps, dumps_comparison, to_json
from tapscan.screening.open_findings import OpenFinding
from tests.report.sheets import indication, screening
from tests.report.test_comparison_section import comparison

NEW = indication(rule="change-since-baseline", status="new")
COMPARED = comparison(indications=(NEW,), carried=(indication(),))


def test_a_screening_holds_what_compare_gives():
    alone = json.loads(
        dumps_comparison(COMPARED, [OpenFinding("BY-12/2025-01-02", "2025-01-02", "buzz", "It buzzed.")])
    )
    inside = json.loads(dumps(screening(comparison=COMPARED)))
    assert inside["comparison"] == {k: v for k, v in alone.items() if k not in ("tapscan", "schema", "open_findings")}
    assert set(inside["comparison"]) == set(written_as(Comparison).values())
    assert alone["schema"] == inside["schema"] == SCHEMA
    assert alone["open_findings"][0]["scan"] == "BY-12/2025-01-02"


def test_an_indication_has_one_form_wherever_it_stands():
    document = to_json(screening(comparison=COMPARED))
    here, compared, carried = (
        set(document["indications"][0]),
        set(document["comparison"]["indications"][0]),
        set(document["comparison"]["carried"][0]),
    )
    assert here == compared == carried == set(Indication.__struct_fields__) | {"status_reason"}


@pytest.mark.parametrize(
    "not_run, reason",
    [
        ((), "no earlier scan to compare with"),
        ((RuleNotRun("buzz", "no"), RuleNotRun("change-since-baseline", "compressed")), "compressed"),
    ],
)
def test_without_a_comparison_the_key_is_null_with_a_reason(not_run, reason):
    document = to_json(screening(rules_not_run=not_run))
    assert (document["comparison"], document["comparison_reason"]) == (None, reason)


def test_a_number_that_is_none_is_refused():
    assert plain((np.float64(2.5), np.bool_(True))) == [2.5, True]
    with pytest.raises(ValueError, match="nan"):
        dumps_comparison(replace(COMPARED, statistic=float("nan")), [])


def test_the_schema_is_numbered_in_one_place():
    told = [p for p in Path(tapscan.__file__).parent.rglob("*.py") if re.search(r"^SCHEMA\b.*=", p.read_text(), re.M)]
    assert [p.name for p in told] == ["plain_values.py"]
