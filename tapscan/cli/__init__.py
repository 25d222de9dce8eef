"""The command line: parses, calls workflow, prints. Nothing else in tapscan prints or exits.

main()   entry point; turns a TapscanError, and at last any other error, into one line on stderr and exit status 1; a Ctrl-C into one and 130
"""

import os
import sys
from typing import NoReturn

TRACE = "TAPSCAN_TRACE"  # set to anything: an error of the program itself is shown with its place


def main() -> None:
    """Run the command line."""
    from tapscan.cli.streams import sound_streams

    with sound_streams():
        _run()


def _run() -> None:
    from tapscan.workers.memory import keep_freed, seldom_looked

    seldom_looked()
    keep_freed()

    from tapscan.cli.early import begun_early
    from tapscan.cli.stopping import STATUS, begins_with_stop, stoppable
    from tapscan.cli.streams import end_if_output_failed
    from tapscan.errors import TapscanError, WrongUsage

    try:
        with stoppable(), begun_early(sys.argv[1:]):
            from tapscan.cli.app import app

            app()
    except TapscanError as problem:
        print(f"tapscan: {problem}", file=sys.stderr)
        sys.exit(2 if isinstance(problem, WrongUsage) else 1)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(1)
    except KeyboardInterrupt as stop:
        _stopped(stop)
    except SystemExit as end:
        if end.code == STATUS:  # typer ends so, and says nothing
            _stopped(end)
        raise
    except Exception as problem:
        if begins_with_stop(problem):
            _stopped(problem)
        end_if_output_failed(problem)
        if os.environ.get(TRACE):
            raise
        _own_error(problem)


def _own_error(problem: Exception) -> NoReturn:
    told = f"{type(problem).__name__}: {problem}".splitlines()[0]
    print(
        f"tapscan: an error of tapscan itself ({told}). Your recordings are as they were. To report it, run the command again with "
        f"{TRACE}=1 set and send what it prints",
        file=sys.stderr,
    )
    sys.exit(1)


def _stopped(stop: BaseException) -> NoReturn:
    """On a line of its own: a terminal has just shown ^C."""
    from tapscan.cli.stopping import STATUS, what_stands

    print(f"{chr(10) * sys.stderr.isatty()}tapscan: stopped; {what_stands(stop)}", file=sys.stderr)
    sys.exit(STATUS)
