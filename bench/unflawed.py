"""How often something relevant is found on a single scan of a plate without a flaw, by pickup and by microphone.

    python -m bench.unflawed WORK --tables FOLDER [--draws 75] [--pickup] [--minutes M] [--cores K]      writes bench/results/unflawed.txt and docs/rules.md

The plates without a flaw of bench/detection.py, 20 places, first scan, nothing held, spoilt as there: hum, room tones, rattles, a third at 44.1 or 48 kHz. FOLDER and WORK as there; what is finished is taken from WORK. --pickup: those by pickup are made
first, and the others not. Each draw of the iron is laid on three patterns, so the interval is also given over draws. SIMULATED; no iron was measured.
"""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from msgspec import Struct

from bench import study
from bench.compare_scans import RATE_HZ
from bench.detection_scans import Plate, luck_of
from bench.detection_store import FIRST_SEED, SETTINGS, make, read, tables_of
from bench.doc_pages import between
from tapscan.demo.plates import Table
from tapscan.screening.rules import run_rules

RESULT = Path(__file__).parent / "results" / "unflawed.txt"
PAGE = Path(__file__).parents[1] / "docs" / "rules.md"
MARKS = "<!-- unflawed -->", "<!-- end of unflawed -->"


class Told(Struct, frozen=True):
    """One scan."""

    plate: Plate
    pickup: bool
    called: tuple[str, ...]  # rules with a relevant finding


def plates_of(tables: Mapping[str, Table], draws: int) -> Iterator[Plate]:
    """As bench/detection.py draws them, and more of the same."""
    for seed in range(FIRST_SEED, FIRST_SEED + draws):
        for table in tables.values():
            yield Plate(
                table, "sound", seed, rate_hz=study.rate_of("detection", f"{table.name}, {seed}", RATE_HZ, "drawn")
            )


def by_pickup(plate: Plate) -> bool:
    """Whether it is heard so."""
    return luck_of(plate)[1].setting.room_m is None


def told_of(plates: Sequence[Plate], work: Path) -> list[Told]:
    """Of what is finished."""
    out = []
    for name, row in read(plates, work).items():
        plate = next(p for p in plates if p.name == name)
        found, _ = run_rules(row.scan, SETTINGS)
        called = tuple(sorted({i.rule for i in found if i.interpretation == "relevant"}))
        out.append(Told(plate, by_pickup(plate), called))
    return out


def line_of(words: str, some: Sequence[Told]) -> str:
    """Scans, and draws of the iron, that were called."""
    hits, draws = sum(bool(t.called) for t in some), {t.plate.seed for t in some}
    called = {t.plate.seed for t in some if t.called}
    low, high = (100 * x for x in study.clopper_pearson(hits, len(some)))
    low_draws, high_draws = (100 * x for x in study.clopper_pearson(len(called), len(draws)))
    rules = ", ".join(f"{rule} {n}" for rule, n in sorted(Counter(r for t in some for r in t.called).items()))
    return (
        f"{words:34}{hits:4} of {len(some):4}  {100 * hits / max(len(some), 1):4.1f} % ({low:.1f} to {high:.1f})"
        f"   draws {len(called):2} of {len(draws):3} ({low_draws:.1f} to {high_draws:.1f})  {rules}".rstrip()
    )


def table(told: Sequence[Told], head: str) -> str:
    """A row a sensor and kind of rate."""
    lines = [
        f"Single scans without a flaw; {head}",
        "SIMULATED. Something relevant; asked: at most 2 %; 95 % intervals (Clopper and Pearson)",
    ]
    for words, pickup in (("pickup", True), ("microphone at 0.1 m, room 0.6 s", False)):
        mine = [t for t in told if t.pickup == pickup]
        if mine:
            lines += [
                line_of(words, mine),
                line_of("  of these at 44.1 kHz and over", [t for t in mine if t.plate.rate_hz > RATE_HZ]),
            ]
    return "\n".join(lines) + "\n"


def main() -> None:
    """Print and store."""
    ask = study.parser_of("bench.unflawed", __doc__, "detection")
    ask.add_argument("--draws", type=int, default=75)
    ask.add_argument("--pickup", action="store_true")
    said = ask.parse_args()
    said.work.mkdir(parents=True, exist_ok=True)
    plates = list(plates_of(tables_of(said.tables)[0], said.draws))
    wanted = [p for p in plates if by_pickup(p) or not said.pickup]
    head = study.kept_head(said.work, said.luck, "single")
    make(wanted, said.work, time.time() + 60 * said.minutes, said.cores)
    text = table(told_of(plates, said.work), head)
    RESULT.write_text(text, encoding="utf-8")
    PAGE.write_text(between(PAGE.read_text(encoding="utf-8"), MARKS, f"```text\n{text}```"), encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()
