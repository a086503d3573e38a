"""What a command says: its answer on standard output, messages on standard error."""

from __future__ import annotations

import sys
from typing import Literal, TextIO

from valvelab.cli.progress import LINE
from valvelab.cli.screen import screen_of
from valvelab.errors import one_line
from valvelab.writing import cannot_write, silence


def say(message: str, level: Literal["info", "warning"] | None = None) -> None:
    """One message on standard error, in one line and without signs that move a terminal's cursor.

    On a terminal the line is broken between words.
    """
    text, screen = one_line(message if level is None else f"{level}: {message}"), screen_of(sys.stderr)
    if screen is not None:
        text = screen.wrapped(text)
        if level == "warning":
            text = screen.paint(text[: len(level) + 1], level) + text[len(level) + 1 :]
    _send(sys.stderr, text)


def answer(text: str) -> None:
    """The answer on standard output; a reader that has gone away (`| head`) changes nothing of the exit code."""
    _send(sys.stdout, text.rstrip("\n"))


def _send(stream: TextIO, text: str) -> None:
    LINE.clear()
    try:
        stream.write(text + "\n")
        stream.flush()
    except BrokenPipeError:
        silence(stream)
    except OSError as error:
        raise cannot_write(f"standard {'output' if stream is sys.stdout else 'error'}", error) from None
