"""How often the single-scan rules that read decays are right when losses scatter, lean and follow the place otherwise than the limits were chosen with.

    python -m bench.loss_families WORK --tables FOLDER [--castings N] [--luck WORDS] [--setting] [--minutes N] [--cores N]

FOLDER holds the tables of bench/detection.py (--sizes screened, 36 stations); the two setting patterns are left out, or with --setting the others. N castings of each pattern (34) without a flaw, and one of each flawed place.
Families of loss: 5, 10 and 20 % from mode to mode; 10 % with losses that rise or fall with frequency; 10 % on supports that damp unevenly. Sound iron whose damping follows the place: from bass to treble by 1.27 and 1.6, or as the root
of the thickness (a measured sound rotor varied by about a third, doi 10.1007/s11661-016-3580-x). Fine-flake iron. Mode lists with modelled errors (bench/compare_scans.model_scan), contact pickup, nothing that rattles;
breathing cracks are not tried, since the rule that finds them reads frequencies. Simulated; no iron was measured. Castings are the unit of every interval. The table goes to bench/results/loss_families.txt and docs/rules.md.
"""

from __future__ import annotations

import time
from collections.abc import Iterator, Mapping, Sequence
from functools import partial
from pathlib import Path

import numpy as np
from msgspec import Struct
from msgspec.structs import replace
from threadpoolctl import threadpool_limits

from bench import study
from bench.compare_scans import PICKUP, draw_state, model_scan
from bench.detection_scans import USUAL_PLACES
from bench.detection_store import SETTING, layout_of
from bench.doc_pages import between
from bench.simulate.supports import gradient
from bench.table_folder import read_tables, with_places
from tapscan.demo.plates import Iron, State, Support, Table, draw_iron, plate_modes
from tapscan.records import Scan
from tapscan.screening.rule import Rule
from tapscan.screening.rules import dead_place, long_decay
from tapscan.settings import Settings

PAGE = Path(__file__).parents[1] / "docs" / "rules.md"
MARKS = "<!-- loss families -->", "<!-- end of loss families -->"
RESULTS = Path(__file__).parent / "results" / "loss_families.txt"
SETTINGS = Settings()
RISE = 0.3  # power of frequency
UNEVEN = (0.02, 0.8)  # loss factor of one pad, log-uniform
UNEVEN_N_M = 8e4
AIMS = {"x 1.27": 2, "root of thickness": 2, "x 1.6": 5}
FLAWS = {"chilled": "chilled", "closed crack that rubs": "depth 50 %", "severed": "severed"}


class Family(Struct, frozen=True):
    """How the losses are drawn. ``place`` : what sound iron does over the plate, a key of AIMS, or empty."""

    name: str
    scatter: float = 0.10
    power: float = 0.0
    uneven: bool = False
    place: str = ""
    mean: float | None = None


LOSSES = (
    Family("scatter 5 %", 0.05),
    Family("scatter 10 %"),
    Family("scatter 20 %", 0.20),
    Family("rising with frequency", power=RISE),
    Family("falling with frequency", power=-RISE),
    Family("supports that damp unevenly", uneven=True),
)
SMOOTH = tuple(
    Family(f"{place}, scatter {100 * s:.0f} %", s, place=place) for place in AIMS for s in (0.05, 0.10, 0.20)
)
FINE = (Family("loss factor .001", mean=0.001), Family("loss factor .0013", mean=0.0013))


class Unit(Struct, frozen=True):
    """One casting with one family of loss, sound or flawed."""

    pattern: str
    family: Family
    kind: str
    label: str
    number: int
    places: int
    luck: str

    @property
    def name(self) -> str:
        """Of its file and its luck."""
        return (
            f"{self.luck}, {self.pattern}, {self.family.name}, {self.label or self.kind}, {self.number}, {self.places}"
        )


class Told(Struct, frozen=True):
    """What the two rules said."""

    unit: Unit
    lasting: bool  # an area rings on
    dull: bool
    whole: str | None  # interpretation of a finding on the whole plate


def tell(tables: Mapping[str, Table], unit: Unit) -> tuple[bool, bool, str | None]:
    """One scan."""
    with threadpool_limits(1):
        scan = _scan(with_places(tables[unit.pattern], unit.places), unit)
    long, dull = (_said(rule, scan) for rule in (long_decay.RULE, dead_place.RULE))
    whole = [how for name, how in long if name == "D1"]
    return ("D2", "relevant") in long, ("E1", "relevant") in dull, whole[0] if whole else None


def _said(rule: Rule, scan: Scan) -> list[tuple[str, str]]:
    found = rule.run(scan, SETTINGS)
    return [(i.id, i.interpretation) for i in found] if isinstance(found, list) else []


def _scan(table: Table, unit: Unit) -> Scan:
    rng = np.random.default_rng(study.seed_of("loss families", unit.name))
    iron = draw_iron(table, rng, unit.family.mean, loss_scatter=unit.family.scatter)
    label = unit.label if unit.kind in ("chilled", "severed") else "sound"
    iron = leaning(table, label, iron, unit.family)
    state = draw_state(rng, rubbing=unit.label if unit.kind == "closed crack that rubs" else "")
    if unit.family.uneven:
        state = replace(state, supports=_uneven(state, rng))
    scan = model_scan(plate_modes(table, label, iron, state), PICKUP, rng, SETTINGS, unit.places)
    quiet = {"late_sounds": (), "late_sounds_reason": None}
    return replace(scan, map=layout_of(table), **quiet)


def _uneven(state: State, rng: np.random.Generator) -> tuple[Support, ...]:
    losses = np.exp(rng.uniform(*np.log(UNEVEN), len(state.supports)))
    return tuple(
        replace(s, stiffness_n_m=UNEVEN_N_M, loss_factor=float(x)) for s, x in zip(state.supports, losses, strict=True)
    )


def leaning(table: Table, label: str, iron: Iron, family: Family) -> Iron:
    """The casting with losses that lean with frequency, and that follow the place: each mode's by its strain energy in every patch."""
    case = table.case_index(label)
    f = np.maximum(table.arrays["frequency_hz"][case], 50.0)
    loss = iron.loss_factor * (f / 500.0) ** family.power
    if family.place:
        held = table.arrays["strain_share"][case] @ over_the_plate(table, family.place)
        bends = held > 0
        loss = loss * np.where(bends, held / np.median(held[bends]), 1.0)
    return replace(iron, loss_factor=loss)


def over_the_plate(table: Table, place: str) -> np.ndarray:
    """(patches,) loss over the plate's own, by place."""
    if place == "root of thickness":
        thick = np.asarray(table.meta["patch_thickness_m"])
        return np.sqrt(thick / np.median(thick))
    return float(place.removeprefix("x ")) ** np.asarray(gradient(table, 1.0))


def units(tables: Mapping[str, Table], castings: int, luck: str) -> Iterator[Unit]:
    """Sound ones first, then each flaw at each of its places, at the usual places and at all."""
    for number in range(castings):
        for family in (*SMOOTH, *LOSSES, *FINE):
            for name in tables:
                yield Unit(name, family, "sound", "", number, USUAL_PLACES, luck)
    for family in LOSSES:
        for kind, word in FLAWS.items():
            for name, table in tables.items():
                for number, label in enumerate(x for x in table.labels if x.startswith(word)):
                    for places in (USUAL_PLACES, len(table.station_names)) if kind == "chilled" else (USUAL_PLACES,):
                        yield Unit(name, family, kind, label, number, places, luck)


def rate(hits: int, of: int) -> str:
    """One scan a casting, so castings are the unit; Clopper and Pearson."""
    if not of:
        return "none tried"
    low, high = study.clopper_pearson(hits, of)
    return f"{hits:3d} of {of:3d}  {100 * hits / of:5.1f} % ({100 * low:4.1f} to {100 * high:5.1f})"


def report(told: Sequence[Told], head: str) -> str:
    """All of it."""
    sound = [t for t in told if t.unit.kind == "sound"]
    lines = [
        head,
        "SIMULATED mode lists with modelled errors, contact pickup, single scans, one a casting, no iron. 95 % intervals.",
        "",
        "Sound iron, called by the area rules (an area rings on; an area is dull)",
    ]
    for family in (*SMOOTH, *LOSSES):
        part = [t for t in sound if t.unit.family == family]
        aim = f"  aim at most {AIMS[family.place]} %" if family.place else "  aim at most 2 %"
        both = [t.lasting or t.dull for t in part]
        lines.append(
            f"  {family.name:34s} {rate(sum(both), len(both))}   rings on {sum(t.lasting for t in part)}, dull {sum(t.dull for t in part)}{aim}"
        )
    for place, most in AIMS.items():
        every = [t.lasting or t.dull for t in sound if t.unit.family.place == place]
        lines.append(f"  {f'{place}, all scatters':34s} {rate(sum(every), len(every))}   aim at most {most} %")
    lines += ["", "Sound fine-flake iron: the whole plate called hard (relevant); told as fine or hard (nonrelevant)"]
    for family in FINE:
        part = [t for t in sound if t.unit.family == family]
        hard, fine = ([t.whole == w for t in part] for w in ("relevant", "nonrelevant"))
        lines.append(f"  {family.name:34s} {rate(sum(hard), len(hard))}   told {sum(fine)}")
    return "\n".join([*lines, "", "Flawed, called by the rule that aims at it", *_flawed(told)]) + "\n"


def _flawed(told: Sequence[Told]) -> Iterator[str]:
    for kind in FLAWS:
        for places in sorted({t.unit.places for t in told if t.unit.kind == kind}):
            shares = []
            for family in LOSSES:
                part = [t for t in told if (t.unit.kind, t.unit.places, t.unit.family) == (kind, places, family)]
                hits = [
                    t.lasting if kind == "chilled" else t.dull if kind != "severed" else t.lasting or t.dull
                    for t in part
                ]
                if hits:
                    shares.append(100 * float(np.mean(hits)))
                yield f"  {kind:24s} {places} places  {family.name:30s} {rate(sum(hits), len(hits))}"
            if shares:
                yield f"  {kind:24s} {places} places  over the families {min(shares):.0f} to {max(shares):.0f} %"


def _path(work: Path, unit: Unit) -> Path:
    return work / f"{study.seed_of('file', unit.name):032x}.json.gz"


def main(arguments: Sequence[str] | None = None) -> None:
    """Count, print and write."""
    parser = study.parser_of("bench.loss_families", __doc__, "loss families")
    parser.add_argument("--castings", type=int, default=34, help="without a flaw, of each pattern and family")
    given = parser.parse_args(arguments)
    tables = {n: t for n, t in read_tables(given.tables).items() if (n in SETTING) == given.setting}
    head = study.head(given.luck, part="single")
    every = list(units(tables, given.castings, given.luck))
    given.work.mkdir(parents=True, exist_ok=True)
    path_of = partial(_path, given.work)
    study.make(every, partial(tell, tables), path_of, time.time() + 60 * given.minutes, given.cores)
    told = [Told(u, *row) for u in every if (row := study.read(path_of(u)))]
    text = report(told, head)
    if not given.setting:
        RESULTS.write_text(text, encoding="utf-8")
        PAGE.write_text(between(PAGE.read_text(encoding="utf-8"), MARKS, f"```text\n{text}```"), encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()
