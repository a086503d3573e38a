"""What a fresh process costs: processor time, memory, and the one as a ratio to another's.

One thread for linear algebra; modules are compiled before and kept so, whatever the environment says of that, because
a person's second start is what counts.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
ALONE = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "QT_QPA_PLATFORM": "offscreen"}
IMPORTS = (sys.executable, "-c", "import numpy, scipy.interpolate, scipy.optimize")
"""What commands are held against."""
VALVELAB = (sys.executable, "-m", "valvelab")
VERDICTS = (0, 1, 4)
"""Exit codes that are decisions on parts, not faults."""


def cost(*command: str | Path) -> tuple[float, float, bytes]:
    """CPU seconds, user and system, and peak MB of a fresh process, and what it printed; a fault ends the run."""
    words = [str(word) for word in command]
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"} | ALONE
    with tempfile.TemporaryFile() as out, tempfile.TemporaryFile() as err:
        process = subprocess.Popen(words, stdout=out, stderr=err, stdin=subprocess.DEVNULL, cwd=ROOT, env=environment)
        _, status, used = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
        out.seek(0)
        err.seek(0)
        if process.returncode not in VERDICTS:
            sys.exit(f"{' '.join(words[2:])}: {err.read().decode()}")
        return used.ru_utime + used.ru_stime, used.ru_maxrss / 1024.0, out.read()


def processor_seconds(*command: str | Path, rounds: int = 7) -> float:
    """CPU seconds of a command, the least of some rounds."""
    cost(*command)
    return min(cost(*command)[0] for _ in range(rounds))


def against(base: tuple[str | Path, ...], *command: str | Path, rounds: int = 5) -> float:
    """CPU of a command over that of another, both the least of some rounds in turn."""
    cost(*command)
    pairs = [(cost(*command)[0], cost(*base)[0]) for _ in range(rounds)]
    return min(ours for ours, _ in pairs) / min(theirs for _, theirs in pairs)
