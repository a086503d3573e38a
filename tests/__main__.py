"""`python3 tests [pytest options]`: sets everything up, then runs the tests without a screen.

Without options every test runs, spread over the cores file by file; with options pytest gets them as they are.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
#: each worker holds a window and a database of its own, so that there may be too many of them; one that crashes ends
#: the run: by files, xdist waits for ever for what a replaced worker was given
SPREAD = ["-n", "auto", "--maxprocesses", "4", "--dist", "loadfile", "--max-worker-restart", "0"]


def main() -> None:
    """See to `.venv` with the test extra and to Qt's system libraries, then become pytest."""
    sys.path[0] = str(ROOT)
    from valvelab import bootstrap

    bootstrap.provide_packages(bootstrap.missing_packages(bootstrap.OFFSCREEN))
    os.environ["QT_QPA_PLATFORM"] = "offscreen"
    os.chdir(ROOT)
    bootstrap.enter(["-m", "pytest", *(sys.argv[1:] or SPREAD)], extra="test")


if __name__ == "__main__":
    main()
