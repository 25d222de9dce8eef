"""A screening into the files a person asked for.

write_out(screening, json, report, wish)   a screening as JSON, as a page, or both
write_json(text, target)             any JSON text to a file, or to standard output for "-"
write_page(path, write)              a page, by a function that writes it
with told_where(out, what):          writing that ends the command where it cannot be done

The first three give False where something could not be written; the line that says so is on stderr.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from tapscan.cli.streams import write_to_output
from tapscan.errors import BadRequest, TapscanError

if TYPE_CHECKING:
    from tapscan.records import Screening
    from tapscan.workflow.write_report import Wish


def write_out(screening: "Screening", json: str | None, report: Path | None, wish: "Wish | None" = None) -> bool:
    """The summary still comes after a False."""
    done = True
    if json is not None:
        from tapscan.workflow.report import dumps

        done = write_json(dumps(screening), json)
    if report is None:
        return done
    from tapscan.workflow.write_report import Wish, write_check_page

    return write_page(report, lambda: write_check_page(screening, report, wish or Wish())) and done


def write_page(path: Path, write: Callable[[], object]) -> bool:
    """`write` raises OSError where it cannot."""
    return _written(str(path), write)


def write_json(text: str, target: str) -> bool:
    """To standard output as UTF-8, whatever the terminal's own encoding."""
    if target != "-":
        from tapscan.workflow.report import write_text

        return _written(target, lambda: write_text(Path(target), text))
    write_to_output(text.encode())
    return True


@contextmanager
def told_where(out: Path | None, what: str) -> Iterator[None]:
    """Raises BadRequest in place of OSError."""
    try:
        yield
    except TapscanError:
        raise
    except OSError as problem:
        raise BadRequest(
            f"{out or what} cannot be written: {problem.strerror}; give another place with --out"
        ) from None


def _written(target: str, write: Callable[[], object]) -> bool:
    try:
        write()
    except TapscanError as problem:
        typer.echo(f"tapscan: {problem}", err=True)
        return False
    except OSError as problem:
        typer.echo(
            f"tapscan: {problem.filename or target}: cannot be written ({problem.strerror}); "
            "name a folder that exists and may be written to",
            err=True,
        )
        return False
    return True
