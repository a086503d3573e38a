"""The terminal that an answer is read on: how wide it is, and whether it has colours; files and pipes are none."""

from __future__ import annotations

import os
import sys
from dataclasses import replace
from textwrap import wrap
from typing import Literal, TextIO

from valvelab.frozen import frozen

NARROWEST, USUAL = 20, 80
Paint = Literal["accept", "reject", "undecided", "warning", "strong"]
_CODES: dict[Paint, str] = {"accept": "32", "reject": "1;31", "undecided": "33", "warning": "33", "strong": "1"}
"""ECMA-48, select graphic rendition: colours of the palette that the person chose for the terminal."""


@frozen
class Screen:
    """A terminal. width: signs in a line, at least 20."""

    width: int
    colour: bool

    def paint(self, text: str, how: Paint | None) -> str:
        """The text in a colour, where there are colours."""
        return f"\x1b[{_CODES[how]}m{text}\x1b[0m" if self.colour and how is not None and text else text

    def within(self, indent: str) -> Screen:
        """What is left of it behind an indent."""
        return replace(self, width=self.width - len(indent))

    def wrapped(self, text: str) -> str:
        """Lines no wider than the terminal, broken between words and behind what each begins with."""
        lines = [piece for line in text.split("\n") for piece in wrapped(line, self.width)]
        return "\n".join(lines)


def wrapped(line: str, width: int) -> list[str]:
    """One line as several of at most `width`; a word that is longer by itself is broken. An empty line stays."""
    indent = " " * min(len(line) - len(line.lstrip()), width // 2)
    return wrap(line.strip(), width, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False) or [""]


def screen_of(stream: TextIO | None = None) -> Screen | None:
    """The terminal behind standard output, or behind another stream; None where a file or a pipe is."""
    stream = sys.stdout if stream is None else stream
    if not stream.isatty():
        return None
    coloured = not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"
    knows_colours = os.name != "nt" or bool(os.environ.get("WT_SESSION") or os.environ.get("TERM"))
    return Screen(max(NARROWEST, _columns(stream)), coloured and knows_colours)


def _columns(stream: TextIO) -> int:
    """Signs in a line, by the environment as POSIX has it, else as the terminal says; 80 where nothing does."""
    stated = os.environ.get("COLUMNS", "")
    if stated.isdecimal() and int(stated):
        return int(stated)
    try:
        return os.get_terminal_size(stream.fileno()).columns or USUAL
    except (OSError, ValueError):
        return USUAL
