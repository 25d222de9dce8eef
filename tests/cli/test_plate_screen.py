"""The recorder's screen at 80 by 24: everything fits, the name is large, places differ by shape."""

import io

from msgspec.structs import replace
from rich.console import Console

from tapscan.cli.large_letters import FIVE, fitting, large
from tapscan.cli.plate_screen import DONE, HERE, OPEN, screen
from tapscan.layouts import known_layouts, read_layout
from tapscan.screening.played_notes import KEYBOARD
from tapscan.workflow.at_the_plate import View
from tests.every import each
from tests.snapshots import same_as_before


def shown(**changes) -> list[str]:
    name = changes.pop("layout", "grand-short")
    layout = read_layout(name) if name else None
    view = View(
        "S4", "pin field, treble, between the pins", "hard", "1 of 1 soft, 1 of 2 hard", 3, 8,
        "The hammer touched twice. Let it bounce off by itself.", "bad", -31.0, -72.0, "READY: tap", None, layout,
        frozenset({"S1", "S2", "S3"}),
    )  # fmt: skip
    view = replace(view, **changes)
    console = Console(width=80, height=24, file=io.StringIO(), force_terminal=False)
    console.print(screen(view, 80), height=24)
    return console.file.getvalue().splitlines()  # type: ignore[attr-defined]


def test_all_of_it_fits_and_nothing_wraps():
    lines = shown()
    assert len(lines) == 24
    assert sum("█" in line for line in lines[:13]) == 10, "name and force stand in block letters"
    same_as_before("recorder-screen", "\n".join(lines))


@each("layout", known_layouts())
def test_places_differ_by_shape_on_every_layout(layout):
    text = "\n".join(shown(layout=layout, station=read_layout(layout).stations[-1].name))
    assert text.count(HERE) == 2, "the place and the legend"
    assert DONE in text and OPEN in text


def test_trouble_stands_over_the_last_words():
    text = "\n".join(shown(trouble="The microphone gives no sound."))
    assert "gives no sound" in text and "touched twice" not in text


def test_a_key_that_is_wanted_stands_in_block_letters_and_black_ones_differ_from_white():
    words = "black key, number 41 of 88 from the left"
    lines, white = (shown(layout=None, station=k, where=words, counts="", force="key") for k in ("C#4", "C4"))
    assert len(lines) == 24 and sum("█" in line for line in lines[:13]) == 10
    assert set("".join(KEYBOARD)) <= set(FIVE), "every sign of a key is drawn"
    assert lines[2:7] != white[2:7] and any(words in line for line in lines) and "keys played" in lines[0]
    assert any("No pedal." in line for line in lines), "nothing is cut off"


def test_letters_are_of_one_size():
    for sign, rows in FIVE.items():
        widths = {len(r) for r in rows.split()}
        assert len(rows.split()) == 5 and len(widths) == 1, sign
    assert len(large("S12")) == 5
    name = "a name that is far too long for it"
    assert fitting(name, 20) == [name[:20]]
