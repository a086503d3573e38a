"""What is killed while it writes leaves nothing half written and loses nothing that was confirmed; few kills of many.

`python tests/killing.py` kills each writer 500 times.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

from something import each

HERE = Path(__file__).resolve().parent
KILLS = os.environ.get("VALVELAB_KILLS", "5")


def test_a_kill_at_any_moment_leaves_whole_files_and_records() -> None:
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join([str(HERE.parent), str(HERE)])}
    done = subprocess.run(
        [sys.executable, str(HERE / "killing.py"), KILLS], capture_output=True, text=True, check=False, env=environment
    )
    assert done.returncode == 0, done.stdout + done.stderr
    for line in each(done.stdout.splitlines()):
        assert re.search(r" 0 half written, 0 lost, 0 hindered", line), line
