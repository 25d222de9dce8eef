"""One screen: plain words first, numbers after.

print_summary(screening, report, notices, later, stored)   to standard output
"""

from collections.abc import Sequence
from pathlib import Path

from rich.console import Console
from rich.table import Table
from rich.text import Text

from tapscan.cli.bullets import bullet
from tapscan.cli.bullets import console as terminal
from tapscan.cli.tables import shown
from tapscan.records import Mode, PlayedNotes, Screening
from tapscan.wording import argument, counted, within
from tapscan.workflow.report import steps
from tapscan.workflow.told_wrongly import said_anew

MOST_INDICATIONS = 4
MOST_MODES = 6
MOST_LIMITATIONS = 4


def print_summary(
    screening: Screening,
    report: Path | None,
    notices: Sequence[str] = (),
    later: Sequence[str] = (),
    stored: str | None = None,
) -> None:
    """What was found, what to do, what weakens the test, and the numbers; `notices`: what people saw, found or mended; `later`: what newer scans say; `stored`: the scan's name."""
    out = terminal()
    for told in later:
        out.print(Text(told, style="bold"))
    summary_shown = not any(i.interpretation == "relevant" for i in screening.indications)
    _first(out, screening)
    for told in notices:
        if not (summary_shown and told in screening.summary):
            out.print(bullet(shown(told)))
    _found(out, screening)
    _doubted(out, screening, stored)
    _next(out, screening)
    _limits(out, screening, report, stored)
    _numbers(out, screening)
    if report is not None:
        out.print(Text(f"\nThe page to read and to keep: {report}"))


def _first(out: Console, screening: Screening) -> None:
    out.print(Text(screening.headline, style="bold underline"))
    if screening.lead:
        out.print(Text(screening.lead))


def _found(out: Console, screening: Screening) -> None:
    relevant = [i for i in screening.indications if i.interpretation == "relevant"]
    if not relevant:
        out.print(Text(screening.summary))
    for indication in relevant[:MOST_INDICATIONS]:
        out.print(bullet(indication.sentence))
    if len(relevant) > MOST_INDICATIONS:
        out.print(bullet(f"and {len(relevant) - MOST_INDICATIONS} more; all stand in the report and the JSON"))
    for suggestion in screening.pattern.suggestions if screening.pattern else ():
        out.print(bullet(shown(suggestion)))


def _doubted(out: Console, screening: Screening, stored: str | None) -> None:
    if not (screening.doubts and stored):
        return
    other = next((d.sounds_like.rpartition("/")[0] for d in screening.doubts if d.sounds_like), "PLATE")
    out.print(
        bullet(
            f"Where you made sure that it is this plate, in this order: `tapscan scan rescreen {argument(stored)} --same-plate`."
        )
    )
    out.print(bullet(f"Where it is another plate's: `tapscan scan move {argument(stored)} {argument(other)}`."))


def _next(out: Console, screening: Screening) -> None:
    out.print(Text("\nWhat to do next" if screening.next_steps else "", style="bold"))
    for title, lines in steps(screening.next_steps):
        if title:
            out.print(Text(f"{title}:"))
        for line in lines:
            out.print(bullet(line))
    out.print(Text("tapscan proposes; a named, qualified person evaluates.", style="italic"))


def _limits(out: Console, screening: Screening, report: Path | None, stored: str | None) -> None:
    out.print(Text("\nWhat limits this answer", style="bold"))
    for option, value in said_anew(screening):
        again = (
            f"`tapscan scan rescreen {argument(stored)} --{option} {argument(value)}`"
            if stored
            else f"again with --{option} {value}"
        )
        out.print(bullet(f"To put right what stands below: {again}."))
    for sentence in screening.limitations[:MOST_LIMITATIONS]:
        out.print(bullet(sentence))
    if len(screening.limitations) > MOST_LIMITATIONS:
        out.print(bullet(f"and {len(screening.limitations) - MOST_LIMITATIONS} more, in the report and the JSON"))
    if screening.rules_not_run:
        why = "see the report" if report else "a report, or the JSON, tells which and why"
        out.print(bullet(f"{counted(len(screening.rules_not_run), 'check')} not made; {why}."))


def _numbers(out: Console, screening: Screening) -> None:
    scan = screening.scan
    out.print(Text("\nNumbers", style="bold"))
    if scan.played is not None:
        _notes(out, scan.played, screening)
        return
    stations = len({s.station for s in scan.strikes})
    usable = sum(s.usable for s in scan.strikes)
    counts = ((len(scan.recordings), "recording"), (len(scan.strikes), "tap"), (stations, "station"))
    told = ", ".join(counted(n, word) for n, word in (*counts, (len(scan.modes), "mode")))
    out.print(Text(f"{told}; {counted(usable, 'tap')} used. In the words of ASTM E1316: {screening.disposition}."))
    for note in screening.assignment:
        out.print(bullet(note))
    if scan.modes:
        out.print(bullet(scan.agreement))
        out.print(Text("The modes named above, or the strongest:"))
        out.print(_modes(screening))


def _notes(out: Console, played: PlayedNotes, screening: Screening) -> None:
    out.print(Text(f"{counted(len(played.notes), 'note')}. In the words of ASTM E1316: {screening.disposition}."))
    for note in screening.assignment:
        out.print(bullet(note))
    from tapscan.workflow.played import reported_tones

    for f in reported_tones(screening)[:MOST_MODES]:
        told = f"tone {f.id}: {within(f.frequency, places=2)} Hz after {counted(len(f.notes), 'note')}, loss factor {within(f.loss, places=4)}"
        out.print(bullet(told))


def _modes(screening: Screening) -> Table:
    named = {m for i in screening.indications for m in i.modes}
    ranked = sorted(screening.scan.modes, key=lambda m: (m.id not in named, -(m.level_db or -999.0)))
    table = Table(box=None, padding=(0, 2, 0, 0), header_style="dim")
    for heading in ("mode", "Hz", "note", "to -60 dB", "loss factor", "stands out"):
        table.add_column(heading, justify="left" if heading == "mode" else "right")
    for mode in ranked[:MOST_MODES]:
        table.add_row(*_cells(mode))
    return table


def _cells(m: Mode) -> tuple[str, ...]:
    sd = f" ±{max(2 * m.frequency_sd_hz, 0.01):.2f}" if m.frequency_sd_hz else ""  # finer than anybody acts on
    ring = f"{m.t60.value:.2f} ±{max(2 * m.t60.sd, 0.01):.2f} s" if m.t60.value and m.t60.sd else "unknown"
    stands = {True: "yes", False: "no", None: "unknown"}[m.prominent]
    loss = f"{m.loss_factor:.5f}" if m.loss_factor else "unknown"
    return m.id, f"{m.frequency_hz:.2f}{sd}", m.note or "", ring, loss, stands
