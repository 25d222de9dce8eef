"""`tapscan history`: all scans of a plate, and its modes through time."""

from typing import TYPE_CHECKING

import typer

from tapscan.cli import options as o

if TYPE_CHECKING:
    from tapscan.records import BesidePattern
    from tapscan.workflow.history import History, ModeCourse, Trend
    from tapscan.workflow.scan import ScanEntry

MOST_MODES = 10
MOST_SENTENCES = 2
FEWEST = 4  # scans; screening.trend needs as many


def history(plate: o.PLATE, settings: o.SETTINGS = None, register: o.REGISTER = None) -> None:
    """Show how a plate's modes, indications and outcomes went through all its scans."""
    from tapscan.cli.still_open import print_open
    from tapscan.workflow.history import history_of
    from tapscan.workflow.settings import read_settings
    from tapscan.workflow.still_open import open_findings

    opened = o.opened(register)
    found = history_of(opened, plate, read_settings(settings))
    if not found.past:
        typer.echo(f"{found.plate} has no scans yet: tapscan scan import")
        return
    _print_past(found)
    print_open(open_findings(opened, plate))
    _print_trend(found)


def _print_past(found: "History") -> None:
    from tapscan.cli.bullets import bullet, console
    from tapscan.cli.tables import print_scans, shown

    out = console()
    out.print(f"Plate {found.plate}", style="bold")
    print_scans([p.entry for p in found.past])
    for p in found.past:
        for told in _by_people(p.entry):
            out.print(bullet(f"{p.entry.name}: {shown(told)}"))
        if p.entry.crossed_out:
            continue
        if p.pattern is not None:
            out.print(bullet(f"{p.entry.name}: {shown(_among(p.pattern))}"))
        for indication in p.relevant[:MOST_SENTENCES]:
            out.print(bullet(f"{p.entry.name}: {indication.sentence}"))
        if len(p.relevant) > MOST_SENTENCES:
            out.print(bullet(f"{p.entry.name}: and {len(p.relevant) - MOST_SENTENCES} more (tapscan scan show)"))


def _among(found: "BesidePattern") -> str:
    """Where the plate lay among others of its pattern."""
    beside = f"among {len(found.used)} plates of pattern {found.pattern}"
    if found.unlike.value is None:
        return f"{beside}: not judged, {found.unlike.reason}"
    moves = f"its shapes differ {found.unlike.value:.2f} times as much as theirs (limit {found.unlike.limit:.2f})"
    if found.losses.value is None:
        return f"{beside}: {moves}; losses not judged"
    return f"{beside}: {moves}; losses {found.losses.value:.1f} (limit {found.losses.limit:.1f})"


def _by_people(e: "ScanEntry") -> list[str]:
    """What they saw, found and mended."""
    from tapscan.wording import listed
    from tapscan.workflow.scan import in_words

    return [
        *([e.crossed_out] if e.crossed_out else []),
        *(f"moved here on {m.on} from {m.before}: {m.why}" for m in e.moves),
        *([f"seen by eye: {listed(in_words(e.seen))}"] if e.seen else []),
        *(f"an examination found: {o.told}" for o in e.outcomes),
    ]


def _print_trend(found: "History") -> None:
    from tapscan.cli.bullets import bullet, console

    out, trend = console(), found.trend
    out.print("\nModes through time", style="bold")
    if found.unlike:
        out.print(
            bullet(
                f"left out, made in another state or by another sensor than the newest scan: {', '.join(found.unlike)}"
            )
        )
    if trend is None:
        out.print(bullet("one scan in this state: nothing to follow yet"))
        return
    if len(trend.scans) < FEWEST:
        out.print(bullet(f"{len(trend.scans)} scans in this state: from {FEWEST} on a drift is told from a step"))
    else:
        _print_count(trend)
    courses = [m for m in trend.modes if m.course in ("drift", "step")]
    for scan, shift in zip(trend.scans[1:], trend.shared_ppm[1:], strict=True):
        out.print(bullet(f"{scan}: all modes together {shift / 1e4:+.3f} % against {trend.dates[0]}, as warmth does"))
    for m in sorted(courses, key=lambda m: m.size_ppm or 0.0)[:MOST_MODES]:
        out.print(bullet(_course(m, trend)))


def _print_count(trend: "Trend") -> None:
    from tapscan.cli.bullets import bullet, console

    steady = sum(m.course == "steady" for m in trend.modes)
    few = sum(m.course is None for m in trend.modes)
    moved = len(trend.modes) - steady - few
    told = f"{len(trend.scans)} scans; of {len(trend.modes)} modes in the first, {moved} moved, {steady} held"
    console().print(bullet(told + (f", {few} were heard in too few scans to tell" if few else "")))


def _course(m: "ModeCourse", trend: "Trend") -> str:
    size = f"{(m.size_ppm or 0.0) / 1e4:+.4f} %"
    if m.course == "step" and m.step_before is not None:
        return f"{m.frequency_hz:.1f} Hz: one step of {size}, seen first in {trend.scans[m.step_before]}"
    return f"{m.frequency_hz:.1f} Hz: drifts, {size} from the first scan to the last"
