"""`tapscan history`: all scans of a plate, and its modes through time."""

from typing import TYPE_CHECKING

from tapscan.cli import options as o
from tapscan.wording import counted

if TYPE_CHECKING:
    from tapscan.records import BesidePattern
    from tapscan.workflow.history import History
    from tapscan.workflow.scan import ScanEntry, ScanLine

MOST_SENTENCES = 2


def history(plate: o.PLATE, settings: o.SETTINGS = None, register: o.REGISTER = None) -> None:
    """Show how a plate's modes, indications and outcomes went through all its scans."""
    from tapscan.cli.still_open import print_open, say_next
    from tapscan.workflow.as_listed import lines_of
    from tapscan.workflow.history import history_of
    from tapscan.workflow.settings import read_settings
    from tapscan.workflow.still_open import open_findings, plainly

    opened = o.opened(register)
    found = history_of(opened, plate, read_settings(settings))
    if not found.past:
        say_next(opened, found.plate, f"{found.plate} has no scans yet: tapscan scan import")
        print_open(plainly(opened, found.plate, open_findings(opened, found.plate)))
        _print_taken_back(found)
        return
    _print_past(found, lines_of(opened, [p.entry for p in found.past]))
    _print_taken_back(found)
    if still := plainly(opened, found.plate, open_findings(opened, found.plate)):
        print_open(still)
    else:
        say_next(opened, found.plate)
    _print_trend(found)


def _print_past(found: "History", lines: "list[ScanLine]") -> None:
    from tapscan.cli.bullets import bullet, console
    from tapscan.cli.tables import print_scans, shown

    out = console()
    out.print(f"Plate {found.plate}", style="bold")
    print_scans(lines)
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


def _print_taken_back(found: "History") -> None:
    from tapscan.cli.bullets import bullet, console
    from tapscan.cli.tables import shown

    for told in found.taken_back:
        console().print(bullet(shown(told)))


def _among(found: "BesidePattern") -> str:
    """Where the plate lay among others of its pattern."""
    if found.unlike.value is None:
        why = found.rules_not_run[0].reason if found.rules_not_run else found.unlike.reason
        return f"beside its pattern {found.pattern} not judged: {why}"
    beside = f"among {counted(len(found.used), 'other plate')} of pattern {found.pattern}"
    moves = f"its shapes differ {found.unlike.value:.2f} times as much as theirs (limit {found.unlike.limit:.2f})"
    if found.losses.value is None:
        return f"{beside}: {moves}; losses not judged"
    return f"{beside}: {moves}; losses {found.losses.value:.1f} (limit {found.losses.limit:.1f})"


def _by_people(e: "ScanEntry") -> list[str]:
    """What they saw, found and mended."""
    from tapscan.wording import small

    return [
        *([e.crossed_out] if e.crossed_out else []),
        *(f"moved here on {m.on} from {m.before}: {m.why}" for m in e.moves),
        *(small(told.rstrip(".")) for told in e.by_eye),
        *(f"an examination found: {o.told}" for o in e.outcomes),
    ]


def _print_trend(found: "History") -> None:
    from tapscan.cli.bullets import bullet, console
    from tapscan.workflow.trend_sentences import course_words

    out = console()
    out.print("\nModes through time", style="bold")
    for told in course_words(found):
        out.print(bullet(told))
