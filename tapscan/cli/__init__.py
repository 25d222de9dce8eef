"""The command line: parses, calls workflow, prints. Nothing else in tapscan prints or exits.

main()   entry point; turns a TapscanError, and at last any other error, into one line on stderr and exit status 1
"""

import gc
import os
import sys
from functools import partial
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable
    from sys import UnraisableHookArgs

AGAIN_S = 0.02
TRACE = "TAPSCAN_TRACE"  # set to anything: an error of the program itself is shown with its place


def main() -> None:
    """Run the command line."""
    gc.set_threshold(
        20_000, 20, 20
    )  # a command makes much and throws little away: looking for garbage took a tenth of its start

    from tapscan.errors import TapscanError

    before = sys.unraisablehook
    sys.unraisablehook = partial(_stop_again, before)
    try:
        from tapscan.cli.app import app

        app()
    except TapscanError as problem:
        print(f"tapscan: {problem}", file=sys.stderr)
        sys.exit(1)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(1)
    except KeyboardInterrupt:
        _stopped()
    except Exception as problem:
        if _begins_with_stop(problem):
            _stopped()
        if os.environ.get(TRACE):
            raise
        told = f"{type(problem).__name__}: {problem}".splitlines()[0]
        print(
            f"tapscan: an error of tapscan itself ({told}). Your recordings are as they were. To report it, run the command again with "
            f"{TRACE}=1 set and send what it prints",
            file=sys.stderr,
        )
        sys.exit(1)
    finally:
        sys.unraisablehook = before


def _stopped() -> None:
    print("tapscan: stopped; nothing was written", file=sys.stderr)
    sys.exit(1)


def _begins_with_stop(problem: BaseException) -> bool:
    """Python turns a Ctrl-C in the midst of a class statement into an error of its own."""
    cause: BaseException | None = problem
    while cause is not None and not isinstance(cause, KeyboardInterrupt):
        cause = cause.__cause__
    return cause is not None


def _stop_again(before: "Callable[[UnraisableHookArgs], object]", told: "UnraisableHookArgs") -> None:
    """A Ctrl-C that came where Python drops what is raised, as in its own imports, comes again a moment later."""
    if not isinstance(told.exc_value, KeyboardInterrupt):
        before(told)
        return
    import threading

    again = threading.Timer(AGAIN_S, _interrupt_main)
    again.daemon = True
    again.start()


def _interrupt_main() -> None:
    """In a thread: also where the main one waits for something."""
    import signal
    import threading
    from _thread import interrupt_main

    main_thread = threading.main_thread().ident
    if hasattr(signal, "pthread_kill") and main_thread is not None:
        signal.pthread_kill(main_thread, signal.SIGINT)
    else:
        interrupt_main()
