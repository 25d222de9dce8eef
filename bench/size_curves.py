"""Detection against the size of the crack, with three earlier scans by contact pickup: a50, a90, a90/95 and the plot.

    python -m bench.size_curves --curve FOLDER [--sound WORK --tables FOLDER [--rates old]]

``--curve`` : tables of ``python -m bench.plates cache FOLDER --places 10 --sizes curve`` (the three patterns that are not the setting ones).
``--sound`` : a folder of bench/compare.py with the tables it was made from; its scans through the sound are laid over the model's as a check.
Writes bench/results/size_curves.txt, docs/figures/size-curves.svg and the table in docs/comparison.md.

Statistics in the manner of MIL-HDBK-1823A (bench/pod.py): logit of the logarithm of size, all castings as they came. Sizes share places and castings share
places, so the bound a90/95 is the 95th percentile over resampled places (bootstrap), which is what a new plate's place is drawn from; the handbook's
Wald bound, which takes each trial for independent, is printed beside it. Simulated; no iron was measured.
"""

from __future__ import annotations

import argparse
import math
import os
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from zlib import crc32

import numpy as np
from matplotlib import rc_context
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from msgspec import Struct
from threadpoolctl import threadpool_limits

from bench.compare import BASES, SETTINGS, Job, compare, sound_jobs
from bench.compare_scans import PICKUP, model_scan
from bench.compare_store import Casting, Store, scan_of
from bench.detection_store import SETTING
from bench.doc_pages import between
from bench.pod import Pod, fit, levelled
from bench.study import add_rates, clopper_pearson, finished, head
from bench.table_folder import read_tables
from tapscan.demo.plates import Table
from tapscan.records import FloatArray

RESULTS = Path(__file__).parent / "results" / "size_curves.txt"
DOCS = Path(__file__).parents[1] / "docs"
MARKS = "<!-- sizes -->", "<!-- end of sizes -->"
CASTINGS = range(4)  # of each place, drawn for it alone; all sizes at the place are tried on them
RESAMPLED = 400
WORDS = {
    "width": ("strut, cut across its width", "% of the width"),
    "depth": ("strut, cracked from one face", "% of the depth"),
    "corner": ("bay corner, open", "mm"),
    "inner corner": ("bay corner, inside the iron", "mm"),
    "bolt": ("plate-screw hole", "mm"),
    "pin": ("pin field", "mm of iron torn"),
    "rim": ("outer edge", "mm"),
}


class Trial(Struct, frozen=True):
    """One later scan of a cracked plate."""

    kind: str
    size: float  # %, or mm
    place: str  # pattern and crack line
    found: bool


class Curve(Struct, frozen=True):
    """What is told of one kind of crack. ``pod`` : None where no curve fits, as when nearly all is found."""

    kind: str
    trials: tuple[Trial, ...]
    pod: Pod | None
    resampled: tuple[Pod, ...]  # over places drawn again
    refused: int  # draws that no curve fits, all found or none or apart by size; they are left out

    @property
    def a90_95(self) -> float:
        """95th percentile of a90 over the draws that a curve fits."""
        return float(np.percentile([p.size_at(0.9) for p in self.resampled], 95))

    def band(self, sizes: FloatArray) -> tuple[FloatArray, FloatArray]:
        """5th and 95th percentile of the share found, at each size."""
        shares = np.array([[p.at(float(s)) for s in sizes] for p in self.resampled])
        return np.percentile(shares, 5, axis=0), np.percentile(shares, 95, axis=0)

    @property
    def sizes(self) -> list[float]:
        return sorted({t.size for t in self.trials})

    def at(self, size: float) -> list[Trial]:
        """The trials of one size."""
        return [t for t in self.trials if t.size == size]


def cases_of(table: Table) -> Iterator[tuple[str, str, float, str]]:
    """Label, kind, size in % or mm and place of every crack."""
    for case in table.meta["cases"]:
        if case["kind"] in WORDS:
            scale = 100.0 if case["kind"] in ("width", "depth") else 1000.0
            yield case["label"], case["kind"], round(scale * case["size"], 1), f"{table.name}, {case['line']}"


def model_trials(tables: Mapping[str, Table]) -> list[Trial]:
    """Every crack of every casting, from the modes with modelled errors; the patterns side by side on the cores there are."""
    done = finished(list(tables.values()), _trials_of, math.inf, os.cpu_count() or 1)
    return [trial for _, found in done for trial in found]


def _trials_of(table: Table) -> list[Trial]:
    store, out = Store(None), []
    for label, kind, size, place in cases_of(table):
        for luck in CASTINGS:
            casting = Casting("curve", table, crc32(f"{place}, {luck}".encode()))
            for role in (*BASES, f"flaw: {label}"):
                scan_of(casting, PICKUP, role, store, model_scan, SETTINGS)
            found = compare(Job(casting, PICKUP, f"flaw: {label}"), store, len(BASES))
            out.append(Trial(kind, size, place, bool(found and found.indications)))
    return out


def sound_trials(drawn: dict[str, Table], work: Path, rates: str) -> list[Trial]:
    """The same through the sound, as far as bench/compare.py has made scans."""
    store, out = Store(work / "sound.jsonl"), []
    known = {(name, label): rest for name, table in drawn.items() for label, *rest in cases_of(table)}
    for job in sound_jobs(drawn, rates):
        table, label = job.casting.table, job.role.removeprefix("flaw: ")
        if job.setting.name == PICKUP.name and table.name not in SETTING and (table.name, label) in known:
            found = compare(job, store, len(BASES))
            if found is not None:
                kind, size, place = known[table.name, label]
                out.append(Trial(str(kind), float(str(size)), str(place), bool(found.indications)))
    return out


def curve_of(kind: str, trials: Sequence[Trial], rng: np.random.Generator) -> Curve:
    """The fit, and fits over places drawn again, as many as there are."""
    mine = tuple(t for t in trials if t.kind == kind)
    pod = _fit(mine)
    by_place = [[t for t in mine if t.place == place] for place in sorted({t.place for t in mine})]
    draws = rng.integers(len(by_place), size=(RESAMPLED if pod else 0, len(by_place)))
    again = [_fit([t for i in draw for t in by_place[i]]) for draw in draws]
    kept = tuple(p for p in again if p is not None)
    return Curve(kind, mine, pod, kept, len(again) - len(kept))


def _fit(trials: Sequence[Trial]) -> Pod | None:
    return fit([t.size for t in trials], [t.found for t in trials])


def rows(curve: Curve, kinds: Mapping[str, tuple[str, str]] = WORDS) -> list[str]:
    """One line a size, one for the curve."""
    words, unit = kinds[curve.kind]
    places = len({t.place for t in curve.trials})
    each = len(curve.at(curve.sizes[0])) / places
    lines = [f"{words} (sizes in {unit}; {places} places, {each:.3g} {'casting' if each == 1 else 'castings'} each)"]
    for size in curve.sizes:
        here = curve.at(size)
        hits = sum(t.found for t in here)
        low, high = clopper_pearson(hits, len(here))
        by_place = {p: np.mean([t.found for t in here if t.place == p]) for p in {t.place for t in here}}
        never = sum(share == 0 for share in by_place.values())
        lines.append(
            f"  {size:5.1f}   found {hits:3d} of {len(here):3d}   {100 * hits / len(here):5.1f} % ({100 * low:.1f} to {100 * high:.1f})"
            f"   worst place {100 * min(by_place.values()):3.0f} %; never found at {never} of {len(by_place)} places"
        )
    return [*lines, f"  {_sentence(curve)}"]


def _sentence(curve: Curve) -> str:
    if curve.pod is None:
        return f"no curve fits, since found and missed sizes hardly overlap; {_from_on(curve)}"
    top = levelled([t.size for t in curve.trials], [t.found for t in curve.trials], curve.pod)
    if top is not None:
        a50, a90 = (top.size_at(p) for p in (0.5, 0.9))
        told = [
            f"{n} not reached" if a is None or a > curve.sizes[-1] else f"{n} {a:.1f}"
            for n, a in (("a50", a50), ("a90", a90))
        ]
        return f"levels off at {100 * top.top:.0f} %, however large: {', '.join(told)}; no a90/95 is given"
    wald = curve.pod.a90_95()
    a50, a90 = curve.pod.size_at(0.5), curve.pod.size_at(0.9)
    outside = (
        "; beyond the sizes tried"
        if a90 > curve.sizes[-1]
        else "; a50 under the sizes tried"
        if a50 < curve.sizes[0]
        else ""
    )
    lost = f", {curve.refused} of {RESAMPLED} draws fit no curve" if curve.refused else ""
    return (
        f"a50 {a50:.1f}, a90 {a90:.1f}{outside}; a90/95 {curve.a90_95:.1f} (places drawn again{lost}), "
        f"{'none' if wald is None else f'{wald:.1f}'} (Wald, trials taken as independent)"
    )


def _from_on(curve: Curve) -> str:
    """From which size on nine tenths and more were found, by the counts and by their lower bounds."""
    counts = {s: (sum(t.found for t in curve.at(s)), len(curve.at(s))) for s in curve.sizes}
    told = []
    for words, share in (
        ("by count", lambda k, n: k / n),
        ("with 95 % confidence", lambda k, n: clopper_pearson(k, n)[0]),
    ):
        enough = [s for s in counts if all(share(*counts[x]) >= 0.9 for x in counts if x >= s)]
        told.append(f"{words} from {enough[0]:g} on" if enough else f"{words} at no size tried")
    return f"nine tenths are found {', '.join(told)}"


def beside_sound(curves: Sequence[Curve], sound: Sequence[Trial]) -> list[str]:
    """Model and sound where both were run."""
    lines = []
    for curve in curves:
        for size in sorted({t.size for t in sound if t.kind == curve.kind}):
            heard = [t.found for t in sound if t.kind == curve.kind and t.size == size]
            model = curve.at(size)
            if model:
                lines.append(
                    f"  {curve.kind:12s} {size:5.1f}   sound {sum(heard):3d} of {len(heard):3d}   model {sum(t.found for t in model):3d} of {len(model):3d}"
                )
    return lines


def draw(curves: Sequence[Curve], sound: Sequence[Trial], path: Path) -> None:
    """A panel a kind: shares with their intervals, the curve with its band, and the points through the sound."""
    with rc_context({"svg.hashsalt": "sizes", "font.size": 8, "svg.fonttype": "none", "font.family": "sans-serif"}):
        figure = Figure(figsize=(9.0, 5.2), layout="constrained")
        axes = figure.subplots(2, 4).ravel()
        for axis, curve in zip(axes, curves, strict=False):
            panel(axis, curve, [t for t in sound if t.kind == curve.kind])
        _legend(axes[len(curves)])
        FigureCanvasSVG(figure).print_svg(path, metadata={"Date": None})


def panel(  # type: ignore[no-untyped-def]
    axis, curve: Curve, sound: Sequence[Trial], kinds: Mapping[str, tuple[str, str]] = WORDS
) -> None:
    """Shares with their intervals, the curve with its band, and the points through the sound."""
    words, unit = kinds[curve.kind]
    top = max(curve.sizes) * 1.12
    if curve.pod is not None:
        x = np.linspace(min(curve.sizes) * 0.4, top, 120)
        low, high = curve.band(x)
        axis.fill_between(x, low, high, color="#c9d3cf", linewidth=0)
        axis.plot(x, [curve.pod.at(float(s)) for s in x], color="#2f4f46", linewidth=1.4)
    _points(axis, curve.trials, "o", "#2f4f46", 0.0)
    _points(axis, sound, "s", "#b5651d", 0.025 * top)
    axis.axhline(0.9, color="#888888", linewidth=0.6, linestyle=":")
    axis.set(xlim=(0, top), ylim=(-0.03, 1.05), title=words, xlabel=unit)
    axis.set_yticks([0, 0.5, 0.9, 1.0], ["0", "50 %", "90 %", "100 %"])


def _points(axis, trials: Sequence[Trial], marker: str, colour: str, shift: float) -> None:  # type: ignore[no-untyped-def]
    for size in sorted({t.size for t in trials}):
        here = [t.found for t in trials if t.size == size]
        share = float(np.mean(here))
        low, high = clopper_pearson(sum(here), len(here))
        axis.errorbar(
            size + shift,
            share,
            yerr=[[share - low], [high - share]],
            fmt=marker,
            color=colour,
            markersize=3.5,
            linewidth=0.8,
            capsize=2,
        )


def _legend(axis) -> None:  # type: ignore[no-untyped-def]
    axis.axis("off")
    for y, marker, colour, text in (
        (0.92, "o", "#2f4f46", "share found, modes with\nmodelled errors; 95 % interval"),
        (0.68, "s", "#b5651d", "the same through the sound"),
    ):
        axis.plot([0.04], [y], marker=marker, color=colour, markersize=4, transform=axis.transAxes)
        axis.text(0.12, y, text, va="center", transform=axis.transAxes)
    axis.text(
        0.0,
        0.5,
        "Line and band: logit curve, and its\n5 to 95 % over places drawn again;\nnone where found and missed sizes\nhardly overlap. Dotted: 90 %.\n\nThree earlier scans, contact pickup,\n50 dB, pads moved 30 mm, 8 K.\nSIMULATED: no iron was tapped.",
        va="top",
        transform=axis.transAxes,
    )


def report(curves: Sequence[Curve], sound: Sequence[Trial]) -> str:
    """All as text."""
    lines = [
        head(),
        "SIMULATED. Three earlier scans, contact pickup, 50 dB; modes with modelled errors; castings that set no limit; 95 % intervals",
        f"patterns: {', '.join(sorted({t.place.split(', ')[0] for c in curves for t in c.trials}))}",
    ]
    for curve in curves:
        lines += ["", *rows(curve)]
    if sound:
        lines += ["", "Through the sound, other castings and the same kinds of place", *beside_sound(curves, sound)]
    return "\n".join(lines) + "\n"


def page(text: str, figures: str) -> str:
    """The page with this table in it."""
    return between(text, MARKS, f"```text\n{figures}```")


def main() -> None:
    """Tables, plot, page."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--curve", type=Path, required=True)
    parser.add_argument("--sound", type=Path)
    parser.add_argument("--tables", type=Path)
    add_rates(parser)
    given = parser.parse_args()
    tables = {name: t for name, t in read_tables(given.curve).items() if name not in SETTING}
    drawn = read_tables(given.tables)
    with threadpool_limits(1):
        trials = model_trials(tables)
        sound = sound_trials(drawn, given.sound, given.rates) if given.sound else []
    rng = np.random.default_rng(1)
    curves = [curve_of(kind, trials, rng) for kind in WORDS]
    text = report(curves, sound)
    RESULTS.write_text(text, encoding="utf-8")
    draw(curves, sound, DOCS / "figures" / "size-curves.svg")
    document = DOCS / "comparison.md"
    document.write_text(page(document.read_text(encoding="utf-8"), text), encoding="utf-8")
    print(text, end="")


if __name__ == "__main__":
    main()
