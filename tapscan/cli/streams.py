"""Standard input and output as a person may leave them: closed, full, or unable to show a sign.

sound_streams()       context manager around a command; ends it with one line where its output cannot be written
end_if_output_failed  the same, where an error is told of
write_to_output(...)  bytes of a document that was asked for there
"""

import io
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import Any

from tapscan.errors import BadRequest


@contextmanager
def sound_streams() -> Iterator[None]:
    """What a closed stream is given or asked for goes to nobody; a sign that an output cannot show becomes a question mark there."""
    _open_closed()
    for stream in (sys.stdout, sys.stderr):
        if getattr(stream, "errors", "") == "strict" and hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    try:
        yield
    finally:
        _flush_or_end()


def end_if_output_failed(problem: Exception) -> None:
    """With its line, where the error comes of writing to standard output; not with another file's."""
    if not isinstance(problem, OSError):
        return
    if isinstance(getattr(sys.stdout, "buffer", None), io.RawIOBase):  # unbuffered: nothing is left to be tried again
        if problem.filename is None:
            _end(problem)
    else:
        _flush_or_end()


def write_to_output(content: bytes) -> None:
    """Raises BadRequest where standard output was closed before the program began."""
    if sys.__stdout__ is None:
        raise BadRequest("standard output is closed; name a file")
    try:
        sys.stdout.flush()
        sys.stdout.buffer.write(content)
        sys.stdout.buffer.flush()
    except BrokenPipeError:
        raise
    except OSError as problem:
        _end(problem)


def _open_closed() -> None:
    """In the order of their numbers, so that no other file gets the number of a closed stream."""
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, mode, encoding="utf-8"))  # noqa: SIM115, PTH123 - to the program's end


def _flush_or_end() -> None:
    try:
        sys.stdout.flush()
    except BrokenPipeError:  # nobody reads on
        _drop(sys.stdout)
    except OSError as problem:
        _end(problem)


def _end(problem: OSError) -> None:
    _drop(sys.stdout)
    why = f"tapscan: the output cannot be written: {problem.strerror}; send it where there is room"
    print(why, file=sys.stderr)
    sys.exit(1)


def _drop(stream: Any) -> None:
    """What is still in it goes to nobody, or Python complains of it at the end."""
    with suppress(OSError):
        nobody = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nobody, stream.fileno())
        os.close(nobody)
