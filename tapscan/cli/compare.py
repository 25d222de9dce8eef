"""`tapscan compare`: a plate's newest scan beside its baseline."""

from typing import TYPE_CHECKING, Annotated, Optional

import typer

from tapscan.cli import options as o
from tapscan.cli.writing import write_json
from tapscan.errors import NothingToCompare

if TYPE_CHECKING:
    from collections.abc import Sequence

    from tapscan.records import Comparison

DROPS = "Largest drops, in the plate's own scatter"
MOST_ROWS = 8


def compare(
    plate: o.PLATE,
    scan: Annotated[o.TEXT, typer.Option(help="Compare this scan; else the newest.")] = None,
    against: Annotated[
        Optional[list[str]],  # noqa: UP045
        typer.Option(metavar="SCAN", help="Compare with this scan; once for each; else with the baseline."),
    ] = None,
    one_job: Annotated[
        Optional[bool],  # noqa: UP045
        typer.Option(
            "--around-one-job/--across-seasons",
            help="In the piano: whether one job alone lies between the scans (screws tightened, pitch raised, moved) or weeks; else by their dates.",
        ),
    ] = None,
    json: o.JSON = None,
    settings: o.SETTINGS = None,
    register: o.REGISTER = None,
) -> None:
    """Compare a plate's newest scan with its baseline: which modes fell, beyond what warmth and chance do."""
    from tapscan.cli.still_open import print_open
    from tapscan.workflow.comparing import plainly_compared
    from tapscan.workflow.history import compare_stored
    from tapscan.workflow.report import dumps_comparison
    from tapscan.workflow.settings import read_settings
    from tapscan.workflow.still_open import open_findings, plainly

    opened = o.opened(register)
    try:
        found = compare_stored(opened, plate, read_settings(settings), scan, against or (), one_job)
    except NothingToCompare as problem:
        if json != "-":  # what is open has to be known all the same
            print_open(plainly(opened, problem.plate, open_findings(opened, problem.plate)))
        raise
    still = open_findings(opened, plate)
    written = json is None or write_json(dumps_comparison(found, still), json)
    if json != "-":
        _print(found, plainly_compared(opened, found))
        print_open(plainly(opened, found.later.rpartition("/")[0], still))
    if not written:
        raise typer.Exit(1)


def _print(c: "Comparison", plain: "Sequence[str]") -> None:
    """Plain words first; where there are any, the figures follow under their own heading."""
    from tapscan.cli.bullets import bullet, console
    from tapscan.workflow.report import common_told

    out = console()
    out.print(f"{c.later} beside {', '.join(c.baselines)}", style="bold underline", soft_wrap=True)
    for told in plain:
        out.print(told)
    if plain:
        out.print("\nIn figures", style="bold")
    out.print(c.summary)
    for indication in c.indications[1:] if c.indications and c.indications[0].sentence == c.summary else c.indications:
        out.print(bullet(indication.sentence))
    for indication in c.indications:
        for other in indication.other_explanations:
            out.print(bullet(f"it could also be: {other}", 3))
    if told := common_told(c):
        out.print(bullet(told))
    for old in c.carried:
        out.print(bullet(f"{'also in the baseline' if old.status == 'unchanged' else 'new'}: {old.sentence}"))
    if c.unlike or c.limitations:
        out.print("\nWhat limits this comparison", style="bold")
        for sentence in (*c.unlike, *c.limitations):
            out.print(bullet(sentence))
    _numbers(c)
    out.print("tapscan proposes; a named, qualified person evaluates.", style="italic")


def _numbers(c: "Comparison") -> None:
    from tapscan.cli.bullets import console
    from tapscan.cli.tables import print_table
    from tapscan.workflow.report import PLUS_MINUS, drops_in_words, odds, tones_told

    out = console()
    out.print("\nNumbers", style="bold")
    changed = [p for p in c.pairs if p.fell or p.loss_rose]
    alone = "1 stands out by itself" if len(changed) == 1 else f"{len(changed)} stand out by themselves"
    lost = sum(u.counts for u in c.lost)
    gained = sum(u.counts for u in c.gained)
    out.print(f"Tones: {tones_told(c)}; {alone}, {lost} gone, {gained} new.")
    if c.statistic is not None:
        if c.by_likelihood_ratio:
            out.print(f"Odds that some tones fell: {odds(c.statistic)}; limit {odds(c.statistic_limit or 0.0)}.")
        else:
            what = "Tones that fell and tones strong at other places, together" if c.around else DROPS
            out.print(f"{what}: {c.statistic:.1f}; limit {c.statistic_limit:.1f}.")
            out.print(f"As they are, uncapped: {drops_in_words(c)}.")
    elif c.reason:
        out.print(f"No figure: {c.reason}.")
    rows = sorted(changed or c.pairs, key=lambda p: -p.normalised_drop)[:MOST_ROWS]
    told = [
        (
            p.later_mode,
            f"{p.baseline_hz:.2f}",
            f"{p.later_hz:.2f}",
            f"{p.change_ppm / 1e4:+.4f} ±{2 * p.change_sd_ppm / 1e4:.4f}",
            "unknown" if p.loss_ratio is None else f"{p.loss_ratio:.2f}",
            "changed" if p in changed else "",
        )
        for p in rows
    ]
    if told:
        print_table(("mode", "before Hz", "now Hz", "change %, own", "loss, times", ""), told)
        out.print(PLUS_MINUS)
