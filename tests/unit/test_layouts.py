"""Station layouts: those that ship are whole, a bad one is refused with what would mend it."""

import pytest

from tapscan.errors import BadLayout
from tapscan.layouts import known_layouts, read_layout

GOOD = 'name = "mine"\nkind = "grand"\n[[station]]\nname = "A"\nwhere = "rim"\nx = 0.1\ny = 0.9\n'


@pytest.mark.parametrize("name", known_layouts())
def test_layouts_that_ship(name):
    layout = read_layout(name)
    assert layout.name == name
    assert len(layout.stations) >= 6
    assert all(0 <= s.x <= 1 and 0 <= s.y <= 1 and s.where for s in layout.stations)
    assert len({(s.x, s.y) for s in layout.stations}) == len(layout.stations)
    assert not any("_" in s.name for s in layout.stations)  # a file's station ends at its first "_"


def test_a_layout_of_ones_own(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text(GOOD, encoding="utf-8")
    assert [s.name for s in read_layout(str(path)).stations] == ["A"]


def test_unknown_layout_lists_the_known():
    with pytest.raises(BadLayout, match=known_layouts()[0]):
        read_layout("gran")


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("", "needs name"),
        ("name = 3 =", "cannot be read as a layout"),
        (GOOD.replace('where = "rim"\n', ""), "where"),
        (GOOD.replace("x = 0.1", 'x = "left"'), "left"),
        (GOOD + GOOD[GOOD.index("[[") :], "station named twice: A"),
        ('name = "m"\nkind = "k"\nstation = []\n', "no station in it"),
        ('name = "m"\nkind = "k"\nstation = 3\n', "needs name"),
    ],
)
def test_bad_layout(tmp_path, text, match):
    path = tmp_path / "mine.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(BadLayout, match=match) as caught:
        read_layout(str(path))
    assert "\n" not in str(caught.value)


def test_missing_layout_file(tmp_path):
    with pytest.raises(BadLayout, match=r"nowhere\.toml"):
        read_layout(str(tmp_path / "nowhere.toml"))
