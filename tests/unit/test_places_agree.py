"""Which places of a plate may be struck in the piano: layouts, list, sheet, recorder, import, visit and docs say the same for every layout and state."""

import re
from pathlib import Path

import numpy as np
import pytest
import soundfile
from msgspec.structs import replace

from tapscan.errors import BadRequest
from tapscan.layouts import known_layouts, read_layout
from tapscan.layouts.assignment import expected, wanted
from tapscan.layouts.take import ORDER, Take, groups_of, mismatch
from tapscan.page.draft_parts import places_of
from tapscan.places import IN_PIANO, STATES
from tapscan.report.layout_sheet import render_sheet
from tapscan.screening.limitations import limitations
from tapscan.settings import Settings
from tapscan.workflow.check import Found, Request, TappedFile, assigned, check
from tapscan.workflow.draft import Draft
from tapscan.workflow.keep_draft import look, moved
from tests.cli.commands import run
from tests.every import each
from tests.unit.test_allowed_states import onsets, scan

DOCS = Path(__file__).parents[2] / "docs"
PAIRS = [(name, state) for name in known_layouts() for state in IN_PIANO]
PLACES = {"as-found": (4, 8), "strung": (4, 8), "in-piano-unstrung": (8, 24)}  # of the short one, of the others


def on_the_sheet(name, state):
    html = render_sheet(read_layout(name), state, ORDER, name)
    table = html.partition('id="stations"')[2].partition("</section>")[0]
    rows = re.findall(r"<tr.*?</tr>", table, re.S)[1:]
    return [re.search(r'class="name">(S\d+)<', row)[1] for row in rows if 'class="box"' in row]


@each(("name", "state"), PAIRS)
def test_layout_sheet_and_import_agree(name, state):
    layout = read_layout(name)
    allowed = [s.name for s in layout.allowed(state)]
    assert len(allowed) == PLACES[state][0 if name.endswith("-short") else 1]
    assert on_the_sheet(name, state) == allowed
    at = tuple(onsets(len(allowed), len(ORDER)))
    assert expected(layout, state, at, len(ORDER)) == allowed == wanted(layout, state)
    assert mismatch(Take(len(at), groups_of(at), len(ORDER), at), layout, state, lambda: ()) is None
    taps, told = assigned([TappedFile("a.wav", at)], Request(layout=layout, state=state, order=ORDER))
    assert list(dict.fromkeys(t.station for t in taps)) == allowed and not any(
        "expected" in line.split(" ")[0] for line in told
    )
    said = " ".join(limitations(replace(scan(state, allowed), map=layout, layout=name), Settings()))
    assert "says not to tap" not in said and "tap at eight places or more" not in said


@each(("name", "state"), PAIRS)
def test_what_may_not_be_struck_is_told_where_it_was_struck_all_the_same(name, state):
    layout = read_layout(name)
    barred = [s.name for s in layout.stations if state not in s.states]
    said = " ".join(limitations(replace(scan(state, barred), map=layout, layout=name), Settings()))
    assert bool(barred) == ("says not to tap" in said)


@pytest.mark.parametrize("state", IN_PIANO)
def test_the_list_on_the_terminal_bars_the_same(state):
    for name in ("grand-short", "upright-long"):
        told = run("layout", "show", name, "--state", state).out
        shown = [m[1] for m in re.finditer(r"^  (S\d+) (.*)$", told, re.M) if "leave out" not in m[2]]
        assert shown == [s.name for s in read_layout(name).allowed(state)]


def test_the_page_for_an_inspector_names_the_same_places():
    """The table of docs/visit.md: layout, how many of how many, which."""
    rows = re.findall(
        r"^\| `([a-z-]+)` \| (\d+) of (\d+) \| (.+) \|$", (DOCS / "visit.md").read_text(encoding="utf-8"), re.M
    )
    told = {name: (int(n), int(of), names.split(", ")) for name, n, of, names in rows}
    real = {}
    for name in known_layouts():
        layout = read_layout(name)
        allowed = [s.name for s in layout.allowed("strung")]
        real[name] = (len(allowed), len(layout.stations), allowed)
        assert layout.allowed("as-found") == layout.allowed("strung")
    assert {name: real[name] for name in told} == told
    assert {n.removesuffix("-short").removesuffix("-long") for n in told} == {
        "grand",
        "grand-three-quarter",
        "upright",
        "upright-three-quarter",
    }


CARDS = [*re.findall(r"layout print (\S+) --state (\S+?)[`\s]", (DOCS / "how-to-tap.md").read_text(encoding="utf-8")), *re.findall(r"layout print (\S+) --state (\S+?)[`\s]", (DOCS / "visit.md").read_text(encoding="utf-8"))]  # fmt: skip


def test_each_card_names_as_many_places_as_its_layout_leaves():
    words = {4: "four", 8: "eight"}
    assert len(CARDS) >= 2 and all(state in STATES for _, state in CARDS)
    for page in ("how-to-tap.md", "visit.md"):
        text = (DOCS / page).read_text(encoding="utf-8")
        for name, state, said in re.findall(
            r"layout print (\S+) --state (\S+?)`[^.]*\.? [^.]*?\bleaves (\w+) places", text
        ):
            assert words[len(read_layout(name).allowed(state))] == said, page
        assert "places; tap no others" in text


TAKE = tuple(onsets(4, 3))
TALK = ((0.5, True), *((t, False) for t in (5.0 + t for t in TAKE)), (90.0, True))


def places(heard, **more):
    file = TappedFile("a.wav", tuple(t for t, _ in heard), tuple(grew for _, grew in heard))
    taps, told = assigned([file], Request(layout=read_layout("grand-short"), state="strung", order=ORDER, **more))
    return [(t.name, t.station) for t in taps], " ".join(told)


def test_what_grew_like_talk_is_left_out_where_the_rest_is_as_the_sheet_asks():
    taps, told = places(TALK)
    assert [s for _, s in taps] == [s for s in ("S1", "S6", "S7", "S8") for _ in range(3)]
    assert (
        [n for n, _ in taps] == [f"T{k}" for k in range(2, 14)]
        and "T1, T14" in told
        and "grew instead of fading" in told
    )


def test_nothing_is_left_out_where_it_fits_as_it_is_or_does_not_fit_either_way():
    grown = tuple((t, k == 4) for k, t in enumerate(TAKE))
    taps, told = places(grown)
    assert len(taps) == 12 and "left out" not in told, "a tap that grew, in its place"
    with pytest.raises(BadRequest):
        places((*TALK[:7], TALK[-1]))  # two places were not tapped


def test_talk_stays_left_out_beside_what_a_person_leaves_out_and_a_place_given_by_hand_takes_one_in():
    four = TAKE[5] + 0.2
    heard = (*TALK[:7], (four, False), *TALK[7:])
    at = [s for s in ("S1", "S6", "S7", "S8") for _ in range(3)]
    taps, told = places(heard, skip=(8,))
    assert [s for _, s in taps] == at and "by hand: T8" in told and "does: T1, T15" in told
    taps, told = places(heard, skip=(8, 15))
    assert [s for _, s in taps] == at and "by hand: T8, T15" in told and "does: T1" in told
    taps, told = places(heard, skip=(8,), assign=(("T1", "S7"),))
    assert dict(taps)["T1"] == "S7" and [s for n, s in taps if n != "T1"] == at and "does: T15" in told
    taps, _ = places(heard, skip=(7, 8), assign=(("T7", "S6"),))
    assert [s for n, s in taps] == at and "T7" in dict(taps)


def test_what_grew_and_is_given_a_place_by_hand_stands_there_and_is_said_to_be_unused():
    taps, told = places(TALK, assign=(("T1", "S7"),))
    assert dict(taps)["T1"] == "S7" and told.count("T1 at S7") == 1 and "not used" in told
    assert "not used" not in places(TALK, assign=(("T2", "S7"),))[1], "it faded"
    single = [TappedFile(f"S{k}_1.wav", (1.0,), (k == 2,)) for k in (1, 2, 3)]
    by_file = Request(layout=read_layout("grand-short"), assign=(("S2_1.wav", "S7"),))
    assert "T2 at S7" in " ".join(assigned(single, by_file)[1])


def test_a_place_given_by_hand_makes_no_iron_of_talk(tmp_path):
    """What is told in words holds for the reading: the strike stands there, and keeps out of the modes."""
    rate = 16_000
    t = np.arange(3 * rate) / rate
    ring = np.sin(2 * np.pi * 700 * t) * np.exp(-4 * t)
    voice = np.sin(2 * np.pi * 220 * t) * np.minimum(1, 0.1 + 2 * t)  # sets in, and grows
    noise = 1e-4 * np.random.default_rng(1).standard_normal(len(t) + rate)
    for name, sound in (("S1_1", ring), ("S2_1", voice)):
        take = noise.copy()
        take[rate:] += 0.5 * sound
        soundfile.write(tmp_path / f"{name}.wav", take, rate, subtype="FLOAT")
    paths = [str(p) for p in sorted(tmp_path.glob("*.wav"))]
    found = check(paths, Request(assign=(("S2_1.wav", "S1"),))).screening
    assert [(s.station, s.usable) for s in found.scan.strikes] == [("S1", True), ("S1", False)]
    assert any("T2 at S1" in told and "not used" in told for told in found.assignment)


@each(("state", "contact", "keep"), [("strung", False, False), ("strung", True, True), ("stripped", False, True)])
def test_a_scan_is_kept_to_compare_with_only_where_it_can_be_compared(state, contact, keep):
    said = " ".join(limitations(scan(state, ["S1"]), Settings(), contact))
    assert ("keep this one" in said, "cannot be compared" in said) == (keep, not keep)


def test_the_page_shows_every_tap_that_is_left_out_and_takes_one_in_again(tmp_path):
    typed = {"layout": "grand-short", "order": "soft,hard,hard", "state": "strung"}
    draft = Draft(tmp_path / "drafts" / "0", "B12", "", answers={"typed": typed, "skip": [5]})
    heard = Found((TappedFile("a.wav", tuple(t for t, _ in TALK), tuple(grew for _, grew in TALK)),), (), ())
    shown = places_of(look(draft, heard), draft)
    assert shown.out == tuple((f"T{n}", TALK[n - 1][0]) for n in (1, 5, 14))
    back = replace(draft, answers={**draft.answers, **moved(draft, ["T14"], "S8")})
    assert [name for name, _ in places_of(look(back, heard), back).out] == ["T1", "T5"]
