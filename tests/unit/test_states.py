"""What each state of a plate means is told in one place, and no module spells it out again."""

import ast
from pathlib import Path
from typing import get_args

import tapscan
from tapscan.places import IN_PIANO, STATES, STRUNG, State
from tapscan.screening.step import INSIDE, OUT, TENSION, UNKNOWN
from tests.every import each

ROOT = Path(tapscan.__file__).parent
MODULES = [p for p in sorted(ROOT.rglob("*.py")) if p != ROOT / "places.py"]
BELONGS: dict[State, tuple[bool, bool]] = {  # in the piano, with strings that pull
    "as-found": (True, True),
    "old-finish": (False, False),
    "stripped": (False, False),
    "primed": (False, False),
    "finished": (False, False),
    "fitted-out": (False, False),
    "in-piano-unstrung": (True, False),
    "strung": (True, True),
}


def test_every_state_is_told_of():
    assert set(BELONGS) == set(STATES) == set(get_args(State)) and len(STATES) == len(set(STATES))


@each("state", STATES)
def test_every_state_belongs_where_it_should(state):
    in_piano, strings = BELONGS[state]
    assert (state in IN_PIANO, state in STRUNG) == (in_piano, strings)
    assert (state in INSIDE, state in TENSION, state in OUT) == (in_piano, strings, not in_piano)


def test_an_untold_state_is_none_of_them():
    assert {None} == UNKNOWN
    assert not UNKNOWN & (INSIDE | TENSION | OUT)


def spelt(path: Path) -> list[int]:
    """Lines with a list of words that is one of the named sets, with or without the untold state."""
    lists = [n for n in ast.walk(ast.parse(path.read_text(encoding="utf-8"))) if isinstance(n, ast.Tuple | ast.List | ast.Set)]  # fmt: skip
    named = (frozenset(IN_PIANO), frozenset(STRUNG))
    return [n.lineno for n in lists if frozenset(e.value for e in n.elts if isinstance(e, ast.Constant)) - {None} in named]  # fmt: skip


@each("path", MODULES, ids=lambda p: p.relative_to(ROOT).as_posix())
def test_no_module_spells_out_the_states_of_a_named_set(path):
    assert spelt(path) == []
