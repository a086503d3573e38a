"""Where files of opened jobs lie; tidied away at a start, before anything heavy is loaded."""

from __future__ import annotations

import contextlib
from pathlib import Path

from valvelab.writing import remove_folder

FOLDER = "jobs"
"""Where files of opened jobs lie, in the folder of settings."""
_KEPT_S = 7 * 24 * 3600.0


def tidy(place: Path, now_s: float) -> None:
    """Take away files of jobs opened long ago that no bench left behind refers to; what can't be taken away stays."""
    left = "".join(path.read_text(encoding="utf-8", errors="replace") for path in place.glob("recovery*.json"))
    for folder in (place / FOLDER).glob("*"):
        with contextlib.suppress(OSError):
            if folder.name not in left and now_s - folder.stat().st_mtime > _KEPT_S:
                remove_folder(folder)
