"""The command line: parses, calls workflow, prints. Nothing else in tapscan prints or exits.

main()   entry point; turns a TapscanError into one line on stderr and exit status 1
"""

import sys


def main() -> None:
    """Run the command line."""
    from tapscan.cli.app import app
    from tapscan.errors import TapscanError

    try:
        app()
    except TapscanError as problem:
        print(f"tapscan: {problem}", file=sys.stderr)
        sys.exit(1)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(1)
    except KeyboardInterrupt:
        print("tapscan: stopped; nothing was written", file=sys.stderr)
        sys.exit(1)
