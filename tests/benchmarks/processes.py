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


def _environment() -> dict[str, str]:
    return {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"} | ALONE


def cost(*command: str | Path) -> tuple[float, bytes]:
    """CPU seconds, user and system, of a fresh process, and what it printed; a fault ends the run."""
    words = [str(word) for word in command]
    with tempfile.TemporaryFile() as out, tempfile.TemporaryFile() as err:
        process = subprocess.Popen(
            words, stdout=out, stderr=err, stdin=subprocess.DEVNULL, cwd=ROOT, env=_environment()
        )
        _, status, used = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
        out.seek(0)
        err.seek(0)
        if process.returncode not in VERDICTS:
            sys.exit(f"{' '.join(words[2:])}: {err.read().decode()}")
        return used.ru_utime + used.ru_stime, out.read()


_SMALL = """
import resource, subprocess, sys
code = subprocess.call(sys.argv[1:], stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
print(code, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)
"""


def peak_mb(*command: str | Path) -> float:
    """The most MB that a fresh process held.

    A small process begins it: on Linux the peak of a process starts with that of the one it was begun by.
    """
    words = [sys.executable, "-I", "-S", "-c", _SMALL, *(str(word) for word in command)]
    told = subprocess.run(words, check=True, capture_output=True, text=True, cwd=ROOT, env=_environment()).stdout
    code, kilobytes = map(int, told.split())
    if code not in VERDICTS:
        sys.exit(f"{' '.join(words[6:])}: exit code {code}")
    return kilobytes / 1024.0


def processor_seconds(*command: str | Path, rounds: int = 7) -> float:
    """CPU seconds of a command, the least of some rounds."""
    cost(*command)
    return min(cost(*command)[0] for _ in range(rounds))


def against(base: tuple[str | Path, ...], *command: str | Path, rounds: int = 5) -> float:
    """CPU of a command over that of another, both the least of some rounds in turn."""
    cost(*command)
    pairs = [(cost(*command)[0], cost(*base)[0]) for _ in range(rounds)]
    return min(ours for ours, _ in pairs) / min(theirs for _, theirs in pairs)
