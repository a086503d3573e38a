"""What a command says: its answer on standard output, messages on standard error."""

from __future__ import annotations

import sys
from typing import TextIO

from valvelab.errors import one_line
from valvelab.writing import cannot_write, silence


def say(message: str) -> None:
    """One message on standard error, in one line and without signs that move a terminal's cursor."""
    _send(sys.stderr, one_line(message))


def answer(text: str) -> None:
    """The answer on standard output; a reader that has gone away (`| head`) changes nothing of the exit code."""
    _send(sys.stdout, text.rstrip("\n"))


def _send(stream: TextIO, text: str) -> None:
    try:
        stream.write(text + "\n")
        stream.flush()
    except BrokenPipeError:
        silence(stream)
    except OSError as error:
        raise cannot_write(f"standard {'output' if stream is sys.stdout else 'error'}", error) from None
