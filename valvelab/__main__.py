"""Starts the program: a command line, or the window.

`python3 valvelab …` in a checkout runs this file from its folder and first sees to the environment;
`python -m valvelab` and the installed `valvelab` command go straight to `main`.
"""

from __future__ import annotations

import gc
import os
import sys
import warnings
from collections.abc import Callable

NO_WINDOW = 2
NEW_OBJECTS = 200_000
"""How many objects a command makes between two searches for rings of garbage: it ends before most are worth one."""


def has_display() -> bool:
    """Whether a window can be shown; an offscreen or minimal platform counts as no display."""
    if os.environ.get("QT_QPA_PLATFORM", "").partition(":")[0] in {"offscreen", "minimal"}:
        return False
    if sys.platform in {"win32", "darwin"}:
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def main() -> int:
    """Entry point: a command when one is named, else the window with the files given."""
    from valvelab.cli import main as command_line

    if not sys.warnoptions:
        warnings.simplefilter("ignore")  # what a reader has to know stands in the notes; tests let warnings through
    arguments = sys.argv[1:]
    # many small matrices: idle BLAS threads cost more than they give, most of all on a busy machine
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # plug-ins of pydantic would be looked for among everything that is installed; none has a say in records here
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
    window = open_window if has_display() else None
    if command_line.is_command(arguments):
        gc.set_threshold(NEW_OBJECTS)
        code = command_line.main(arguments, window)
        gc.freeze()  # the process ends: what is left is not searched once more
        return code
    return command_line.guarded(lambda: _window(arguments, window))


def _window(files: list[str], window: Callable[[list[str]], int] | None) -> int:
    from valvelab.cli.main import check_files

    check_files(files)
    if window is None:
        sys.stderr.write("valvelab: no display for the window; name a command (valvelab --help lists them)\n")
        return NO_WINDOW
    return window(files)


def open_window(files: list[str]) -> int:
    """Show the window with `files` on the bench; says what is missing where the system can't show one."""
    from valvelab.bootstrap import ON_SCREEN, missing_packages

    missing = missing_packages(ON_SCREEN)
    if missing:
        sys.stderr.write(f"valvelab: the window needs system libraries: apt-get install {' '.join(missing)}\n")
        return NO_WINDOW
    from valvelab.window.start import run

    return run(files)


def _run_from_folder() -> int:
    """Run as `python3 valvelab`: the folder itself is on the path then; its parent has to be."""
    from pathlib import Path

    folder = Path(__file__).resolve().parent
    sys.path[0] = str(folder.parent)
    if (folder.parent / "pyproject.toml").is_file():
        from valvelab import bootstrap

        if not (bootstrap.inside_venv() and bootstrap.is_set_up("")):
            libraries = bootstrap.ON_SCREEN if has_display() else {}
            bootstrap.enter([str(folder), *sys.argv[1:]], libraries=libraries)
    return main()


if __name__ == "__main__":
    sys.exit(main() if __package__ else _run_from_folder())
