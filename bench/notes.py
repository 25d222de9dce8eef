"""Played notes: how often the right key is told, and how often a buzz or a tone that rings on is called rightly and wrongly.

    python -m bench.notes WORK [--takes N] [--minutes M] [--cores C] [--setting] [--luck WORDS]

WORK keeps each take's answers, a file each, and is taken up where it was left. A take is 20 keys (a run, or every third), one in twenty the whole keyboard; a quarter has talk, a
phone or a truck in it. Unflawed takes by pickup and by microphone: N a scale each (80); half as many with a foreign tone of loss .004 to .012 under 300 Hz, a quarter with a buzz at 3 to 8 keys by pickup or by microphone, an eighth with a leaking damper. ``--setting`` : on the six scales
that limits were chosen with; without it on two others. The table goes to bench/results/notes.txt (notes_setting.txt), and without --setting the counts to tapscan/report/reach.json and docs/played-notes.md. Simulated; no piano was recorded.
"""

from __future__ import annotations

import argparse
import os
import time
from collections.abc import Iterator, Sequence
from functools import partial
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from msgspec import Struct
from threadpoolctl import threadpool_limits

from bench import study
from bench.doc_pages import between
from bench.reach_file import share, write_part
from bench.simulate.played import Played, Wrong, piano, take
from bench.simulate.round_the_piano import KINDS, spoil
from bench.simulate.string_scales import SCALES
from tapscan.records import Scan
from tapscan.screening.rules import NOTE_RULES, run_rules
from tapscan.settings import Settings
from tapscan.signal.notes.strings import key_name
from tapscan.signal.notes.wanted_keys import played_notes

RESULTS = Path(__file__).parent / "results"
PAGE = Path(__file__).parents[1] / "docs" / "played-notes.md"
MARKS = "<!-- notes -->", "<!-- end of notes -->"
COUNTED_SCALES = ("grand 227", "upright 125")  # invented after the limits were frozen on the others
SETTING_SCALES = tuple(name for name in SCALES if name not in COUNTED_SCALES)
SENSORS = ("contact", "microphone")
LOSSES = (0.004, 0.006, 0.008, 0.010, 0.012)  # of foreign tones, and how they are counted
KEYS_A_TAKE, WHOLE_ONE_IN = 20, 20
NEAR_S = 0.06  # a note found so near is that note
BUZZ_RULE, RING_RULE = (rule.name for rule in NOTE_RULES)
SETTINGS = Settings()
UNFLAWED = (
    ("contact", "unflawed", BUZZ_RULE),
    ("microphone", "unflawed", BUZZ_RULE),
    ("contact", "unflawed", RING_RULE),
)
FOUND = (
    ("contact", "buzz", BUZZ_RULE),
    ("microphone", "buzz", BUZZ_RULE),
    ("contact", "foreign", RING_RULE),
    ("contact", "leaking", RING_RULE),
)


class Unit(Struct, frozen=True):
    """One take."""

    luck: str
    kind: str  # unflawed or a flaw
    scale: str
    sensor: str
    number: int

    @property
    def name(self) -> str:
        return f"{self.luck}, {self.kind}, {self.scale}, {self.sensor}, {self.number}"


def units(takes: int, luck: str, setting: bool) -> Iterator[Unit]:
    """The unflawed and the flawed in turn, so that a stopped study has of all."""
    scales = SETTING_SCALES if setting else COUNTED_SCALES
    for number in range(takes):
        for scale in scales:
            yield Unit(luck, "unflawed", scale, "contact", number)
            yield Unit(luck, "unflawed", scale, "microphone", number)
            if number % 2 == 0:
                yield Unit(luck, "foreign", scale, "contact", number)
            if number % 4 == 0:
                yield from (Unit(luck, "buzz", scale, sensor, number) for sensor in SENSORS)
            if number % 8 == 0:
                yield Unit(luck, "leaking", scale, "contact", number)


def made(unit: Unit) -> tuple[np.ndarray, int, list[Played], Wrong, str]:
    """Samples, rate, what was played, what is wrong, what else was heard."""
    rng = np.random.default_rng(study.seed_of("notes", unit.name))
    keys = _keys(rng)
    wrong = _wrong(rng, unit.kind, keys)
    one = piano(rng, SCALES[unit.scale], wrong)
    notes, at = [], 0.8
    for key in keys:
        held = float(rng.uniform(0.3, 0.5))
        notes.append(Played(int(key), at, held, float(rng.normal(0, 2))))
        at += held + float(rng.uniform(1.1, 1.6))
    rate = int(rng.choice((44_100, 48_000)))
    noise = float(rng.uniform(-64, -52) if unit.sensor == "contact" else rng.uniform(-52, -40))
    samples = take(rng, one, notes, rate, unit.sensor, noise)
    besides = str(rng.choice(list(KINDS))) if rng.random() < 0.25 else ""
    if besides:
        samples = spoil(rng, samples, rate, besides, unit.sensor, float(rng.uniform(-30, -12)))
    return samples, rate, notes, wrong, besides


def _keys(rng: np.random.Generator) -> list[int]:
    if rng.random() < 1 / WHOLE_ONE_IN:
        return list(range(88))
    if rng.random() < 0.4:
        first = int(rng.integers(0, 88 - KEYS_A_TAKE + 1))
        return list(range(first, first + KEYS_A_TAKE))
    first = int(rng.integers(0, 88 - 3 * KEYS_A_TAKE + 3))
    return list(range(first, first + 3 * KEYS_A_TAKE, 3))[:KEYS_A_TAKE]


def _wrong(rng: np.random.Generator, kind: str, keys: list[int]) -> Wrong:
    if kind == "buzz":
        count = int(rng.integers(3, 9))
        mine = rng.choice([k for k in keys if k < 76], min(count, sum(k < 76 for k in keys)), replace=False)
        return Wrong(tuple(int(k) for k in mine), float(rng.uniform(-26, -16)), float(rng.uniform(1500, 5000)))
    if kind == "foreign":
        swing = float(rng.choice((-1, 1)) * max(0.3, abs(rng.standard_normal())))
        hz, loss = float(rng.uniform(80, 300)), float(rng.uniform(LOSSES[0], LOSSES[-1]))
        return Wrong(foreign_hz=hz, foreign_loss=loss, foreign_at_sensor=swing)
    if kind == "leaking":
        return Wrong(leaking=int(rng.integers(12, 60)))
    return Wrong()


def heard(unit: Unit) -> dict[str, Any]:
    """What JSON can hold of one take."""
    with threadpool_limits(1):
        samples, rate, notes, wrong, besides = made(unit)
        contact = unit.sensor == "contact"
        played = played_notes([("F1", samples, rate)], [key_name(n.key) for n in notes], SETTINGS, contact=contact)
        scan = Scan((), (), (), state="strung", played=played)
        spoke = [i.rule for i in run_rules(scan, SETTINGS)[0]]
        return {
            "notes": len(notes),
            "keys": _told(notes, played.notes),
            "extra": max(0, len(played.notes) - len(notes)),
            "spoke": spoke,
            "besides": besides,
            "wrong": [len(wrong.buzz), wrong.buzz_db, wrong.foreign_hz, wrong.leaking, wrong.foreign_loss],
            "buzz": [[n.key, n.buzz_over_noise_db, n.buzz_share_db] for n in played.notes],
            "buzzed": [key_name(k) for k in wrong.buzz],
            "foreign": [
                [f.frequency_hz, f.loss_factor, f.loss_factor_sd, len(f.notes), f.string_of] for f in played.foreign[:8]
            ],
            "listened": sum(n.listened_s is not None for n in played.notes),
        }


def _told(notes: Sequence[Played], found: Sequence[Any]) -> dict[str, Any]:
    """Right, wrong and not told, of the keys that were played."""
    right, unknown, wrong = 0, 0, []
    for note in notes:
        near = [f for f in found if abs(f.onset_s - note.at_s) < NEAR_S]
        keys = {f.key for f in near}
        if keys == {key_name(note.key)}:
            right += 1
        elif keys <= {None}:
            unknown += 1
        else:
            wrong.append([key_name(note.key), sorted(k or "?" for k in keys)])
    return {"right": right, "unknown": unknown, "wrong": wrong}


def _line(words: str, hits: int, of: int) -> str:
    low, high = study.clopper_pearson(hits, of)
    rate = f"{100 * hits / of:5.1f} %" if of else "    - "
    return f"  {words:58s} {hits:5d} of {of:5d} {rate}  ({100 * low:.1f} to {100 * high:.1f} %)"


def report(rows: list[tuple[Unit, dict[str, Any]]], head: str) -> str:
    """The table."""
    spoiled = [(u, r) for u, r in rows if r["besides"]]
    lines = [head, "Simulated; no piano was recorded. 95 % intervals by Clopper and Pearson.", ""]
    lines += [
        "Right key (the others: not told, or another key)",
        *(line for s in SENSORS for line in _keys_of(rows, s)),
    ]
    lines += ["", "Unflawed takes on which it spoke", *(_said(rows, *one) for one in UNFLAWED)]
    lines += ["  of these with talk, a phone or a truck:", *(_said(spoiled, *one) for one in UNFLAWED)]
    lines += ["", "Found", *(_said(rows, *one) for one in FOUND)]
    lines += ["", "Foreign tones found, by their loss factor", *_by_loss(rows)]
    return "\n".join(lines) + "\n"


def _keys_of(rows: list[tuple[Unit, dict[str, Any]]], sensor: str) -> Iterator[str]:
    every = [(u, r) for u, r in rows if u.sensor == sensor]
    for scale in (*dict.fromkeys(u.scale for u, _ in every), "all"):
        mine = [r for u, r in every if scale in (u.scale, "all")]
        yield _line(f"{sensor}, {scale}", sum(r["keys"]["right"] for r in mine), sum(r["notes"] for r in mine))
    unknown = sum(r["keys"]["unknown"] for _, r in every)
    wrong, extra = sum(len(r["keys"]["wrong"]) for _, r in every), sum(r["extra"] for _, r in every)
    yield f"    not told {unknown}, another key {wrong}, notes that nobody played {extra}"


def _by_loss(rows: list[tuple[Unit, dict[str, Any]]]) -> Iterator[str]:
    mine = [r for u, r in rows if u.kind == "foreign"]
    for low, high in pairwise(LOSSES):
        these = [r for r in mine if low <= r["wrong"][-1] < high]
        yield _line(
            f"loss {low:.3f} to {high:.3f}: {RING_RULE}", sum(RING_RULE in r["spoke"] for r in these), len(these)
        )


def _said(rows: list[tuple[Unit, dict[str, Any]]], sensor: str, kind: str, rule: str) -> str:
    return _line(f"{kind}, {sensor}: {rule}", *_count(rows, sensor, kind, rule))


def _count(rows: list[tuple[Unit, dict[str, Any]]], sensor: str, kind: str, rule: str) -> tuple[int, int]:
    mine = [r for u, r in rows if u.sensor == sensor and u.kind == kind]
    return sum(rule in r["spoke"] for r in mine), len(mine)


def counted(rows: list[tuple[Unit, dict[str, Any]]]) -> dict[str, Any]:
    """For reach.json: both rules by pickup, the buzz by microphone too."""
    by_microphone = {kind: share(*_count(rows, "microphone", kind, BUZZ_RULE)) for kind in ("unflawed", "buzz")}
    return {
        "unflawed": {rule: share(*_count(rows, "contact", "unflawed", rule)) for rule in (BUZZ_RULE, RING_RULE)},
        "found": {
            BUZZ_RULE: share(*_count(rows, "contact", "buzz", BUZZ_RULE)),
            RING_RULE: share(*_count(rows, "contact", "foreign", RING_RULE)),
        },
        "buzz_by_microphone": {"unflawed": by_microphone["unflawed"], "found": by_microphone["buzz"]},
    }


def main(arguments: Sequence[str] | None = None) -> None:
    """Count, print and write."""
    parser = argparse.ArgumentParser(prog="python -m bench.notes", description=__doc__)
    parser.add_argument("work", type=Path)
    parser.add_argument("--takes", type=int, default=80)
    parser.add_argument("--luck", default="")
    parser.add_argument("--setting", action="store_true")
    parser.add_argument("--minutes", type=float, default=60.0)
    parser.add_argument("--cores", type=int, default=os.cpu_count() or 1)
    given = parser.parse_args(arguments)
    luck = given.luck or ("notes, setting" if given.setting else "notes")
    given.work.mkdir(parents=True, exist_ok=True)
    every = list(units(given.takes, luck, given.setting))
    path_of = partial(_path, given.work)
    study.make(every, heard, path_of, time.time() + 60 * given.minutes, given.cores)
    rows = [(u, r) for u in every if (r := study.read(path_of(u))) is not None]
    text = report(rows, study.head(luck, part="notes"))
    (RESULTS / ("notes_setting.txt" if given.setting else "notes.txt")).write_text(text, encoding="utf-8")
    if not given.setting:
        write_part("notes", counted(rows))
        PAGE.write_text(between(PAGE.read_text(encoding="utf-8"), MARKS, f"```text\n{text}```"), encoding="utf-8")
    print(text)


def _path(work: Path, unit: Unit) -> Path:
    return work / f"{unit.name}.json.gz"


if __name__ == "__main__":
    main()
