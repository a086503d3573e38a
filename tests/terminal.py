"""Runs the program on a terminal of a given width, as a person sees it."""

from __future__ import annotations

import os
import re
import struct
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
_OVER = "\r\x1b[K"
_COLOUR = re.compile(r"\x1b\[[0-9;]*m")


@dataclass(frozen=True)
class Seen:
    """What stood on the terminal, both streams, and the exit code."""

    code: int
    text: str

    @property
    def lines(self) -> list[str]:
        """Its lines without colours; of one that was drawn over, what it became."""
        drawn = (line.rpartition(_OVER)[2] for line in self.text.rstrip().split("\n"))
        return [_COLOUR.sub("", line) for line in drawn]

    @property
    def coloured(self) -> bool:
        """Whether anything was painted."""
        return _COLOUR.search(self.text) is not None


def on_terminal(*words: str, width: int = 80, more: Mapping[str, str] | None = None) -> Seen:
    """One command line in the folder of the samples."""
    import fcntl
    import pty
    import termios

    own, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 50, width, 0, 0))
    plain = {key: value for key, value in os.environ.items() if key not in {"COLUMNS", "NO_COLOR"}}
    environment = {**plain, "PYTHONPATH": str(ROOT), "TERM": "xterm-256color", **(more or {})}
    command = [sys.executable, "-m", "valvelab", *words]
    with subprocess.Popen(
        command, cwd=ROOT / "sample_profiles", env=environment, stdin=theirs, stdout=theirs, stderr=theirs
    ) as child:
        os.close(theirs)
        parts: list[bytes] = []
        while True:
            try:
                part = os.read(own, 65536)
            except OSError:  # the other end is closed
                break
            if not part:
                break
            parts.append(part)
        os.close(own)
        code = child.wait()
    return Seen(code, b"".join(parts).decode().replace("\r\n", "\n"))
