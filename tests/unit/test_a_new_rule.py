"""A rule is one file and one line in the registry: a made-up one shows up in JSON, page, docs, thresholds and "not run" by that alone."""

import ast
import sys
from pathlib import Path
from types import ModuleType

from msgspec.structs import replace

from bench.rules_page import every_rule
from tapscan.report.as_json import to_json
from tapscan.report.error_rates import NOT_MEASURED, error_rates
from tapscan.report.page import render_page
from tapscan.report.rule_words import meaning_of, rule_title
from tapscan.screening import rules as registry
from tapscan.screening.next_steps import tests as examinations
from tapscan.settings import Settings, every_threshold, read_settings
from tests.every import each
from tests.report.sheets import screening
from tests.rule_scans import mode, scan

FILE = '''
"""A rule made up for the tests."""

from msgspec import Struct

from tapscan.records import Indication, RuleNotRun
from tapscan.screening.rule import Rule, condition
from tapscan.settings.definition import JUDGEMENT, stage, threshold


@stage("rules.too-many-modes", counted_in=("single",))
class Limits(Struct, frozen=True):
    """When it speaks."""

    modes: float = threshold(3.0, "modes", "more are too many", JUDGEMENT)


def run(scan, settings):
    """At most one indication."""
    if not scan.modes:
        return RuleNotRun("too-many-modes", "no mode was found")
    if len(scan.modes) <= settings.of(Limits).modes:
        return []
    figures = (condition(settings.of(Limits), "modes", "modes there are", float(len(scan.modes))),)
    return [Indication("X1", "too-many-modes", "relevant", None, (), (), "There are too many.", figures, ())]


RULE = Rule(
    "too-many-modes", "Too many modes", run, frozenset({"frequencies"}), bare_only=True, shows=frozenset({"hard iron"}),
    limits=(Limits,), meanings=(("modes there are", "how many were counted"),),
)
'''


def made_up() -> ModuleType:
    module = ModuleType("too_many_modes")
    sys.modules["too_many_modes"] = module  # types look their module up
    exec(FILE, module.__dict__)
    return module


def test_one_file_and_one_line_are_all_a_rule_needs(monkeypatch, tmp_path):
    rule = made_up().RULE
    monkeypatch.setattr(registry, "RULES", (*registry.RULES, rule))
    monkeypatch.setattr("tapscan.report.rule_words.RULES", registry.RULES)
    monkeypatch.setattr(
        "tapscan.report.rule_words._meanings",
        __import__("tapscan.report.rule_words", fromlist=["x"])._meanings.__wrapped__,
    )
    many = scan([mode(f"M{i}", 100.0 * i) for i in range(1, 6)])
    found, _ = registry.run_rules(many, Settings(), registry.RULES)
    (mine,) = [i for i in found if i.rule == rule.name]
    (figure,) = mine.conditions
    assert (figure.value, figure.limit, figure.unit, figure.source) == (5.0, 3.0, "modes", "engineering judgement")
    assert rule_title(rule.name) == "Too many modes"
    assert meaning_of("modes there are") == "how many were counted"
    assert error_rates(rule.name, ()) == NOT_MEASURED
    (row,) = [row.strip("| ").split(" | ") for row in every_rule() if rule.name in row]
    assert row == [f"{rule.title} (`{rule.name}`)", sys.modules["too_many_modes"].__doc__, "frequencies", "yes", "no"]
    assert [step.code for step in examinations([rule.name])] == ["hard-test"]

    shown = replace(screening(), scan=many, indications=(mine,))
    assert [i["rule"] for i in to_json(shown)["indications"]] == [rule.name]
    page = render_page(shown)
    assert "Too many modes" in page and "how many were counted" in page

    path = tmp_path / "own.toml"
    path.write_text("[rules.too-many-modes]\nmodes = 9\n", encoding="utf-8")
    changed = read_settings(path, (*registry.RULE_LIMITS, *rule.limits))
    assert [t.value for t in every_threshold(changed, rule.limits) if t.stage == "rules.too-many-modes"] == [9.0]
    quiet, _ = registry.run_rules(many, changed, registry.RULES)
    assert rule.name not in [i.rule for i in quiet]


def test_a_made_up_rule_is_not_run_where_it_lacks_its_input_or_its_state():
    rule = made_up().RULE
    _, none = registry.run_rules(scan([]), Settings(), (rule,))
    _, piano = registry.run_rules(scan([mode("M1", 300.0)], state="strung"), Settings(), (rule,))
    assert [n.reason for n in none] == ["no mode was found"]
    assert [n.reason for n in piano] == [registry.IN_PIANO_REASON]


FILES = sorted(p for folder in ("rules", "piano") for p in (Path(registry.__file__).parents[1] / folder).glob("*.py"))


@each("path", FILES, ids=lambda p: p.name)
def test_unit_and_source_of_a_figure_come_from_its_threshold(path):
    calls = [n for n in ast.walk(ast.parse(path.read_text(encoding="utf-8"))) if isinstance(n, ast.Call)]
    made = [ast.unparse(c.func) for c in calls if ast.unparse(c.func).split(".")[-1] == "Condition"]
    assert made == [], "tapscan.screening.rule has condition, by_standard and measured"
