"""A written page to the printer: by the system's own print command, else opened where a person prints it."""

from __future__ import annotations

import subprocess
from pathlib import Path

from PySide6.QtCore import QStandardPaths, QUrl
from PySide6.QtGui import QDesktopServices, QGuiApplication

from valvelab.errors import CannotWrite
from valvelab.language import say

_COMMANDS = ("lp", "lpr")
_WAIT_S = 30.0


def hand_over(path: Path) -> None:
    """Print a file on the system's usual printer; CannotWrite where that says no."""
    command = next((found for name in _COMMANDS if (found := QStandardPaths.findExecutable(name))), None)
    if command is None:
        if QGuiApplication.platformName() == "offscreen" or not QDesktopServices.openUrl(QUrl.fromLocalFile(str(path))):
            raise CannotWrite(str(path), say("it is written, but there is no printer here (no lp or lpr command)"))
        return
    try:
        done = subprocess.run(  # noqa: S603 - the system's own command, with a path that was just written
            [command, str(path)], capture_output=True, text=True, timeout=_WAIT_S, check=False
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        raise CannotWrite(str(path), say("it is written, but not printed: {error}").format(error=error)) from None
    if done.returncode:
        raise CannotWrite(
            str(path), say("it is written, but not printed: {what}").format(what=done.stderr.strip() or command)
        )
