"""Completion scripts in the shells that they are for, each where it is installed."""

from __future__ import annotations

import os
import pty
import re
import select
import shutil
import subprocess
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from something import each

from valvelab.cli.main import main

LONGEST_S = 60.0
CASES = {
    "valvelab lob": "lobes",
    "valvelab springs --instr": "--instrument",
    "valvelab lobes table.csv --units inc": "inch",
    "valvelab lobes readings_of_a_sh": "readings_of_a_shaft.csv",
    "valvelab records hist": "history",
    "valvelab schema phasing-sh": "phasing-sheet",
}
"""What is typed before the Tab key, and the word that it becomes."""

Complete = Callable[[Path, str], str]


def in_bash(script: Path, line: str) -> str:
    """What Tab makes of the last word of a line."""
    words = line.split()
    asked = f"COMP_WORDS=({line}); COMP_CWORD={len(words) - 1}; _shtab_valvelab valvelab {words[-1]} {words[-2]}"
    told = f'source {script}; {asked}; echo "${{COMPREPLY[@]}}"'
    return output(["bash", "--norc", "-c", told], script.parent)


def in_fish(script: Path, line: str) -> str:
    """What Tab makes of the last word of a line."""
    told = output(["fish", "--no-config", "-c", f"source {script}; complete -C '{line}'"], script.parent)
    return told.partition("\t")[0]


def in_zsh(script: Path, line: str) -> str:
    """What Tab makes of the last word of a line, typed at a terminal: this shell completes nowhere else."""
    functions = script.parent / "functions"
    functions.mkdir(exist_ok=True)
    shutil.copy(script, functions / "_valvelab")
    setting = f"fpath=({functions} $fpath); autoload -U compinit; compinit -u -D; valvelab() {{ : }}; PS1=rea''dy"
    terminal, its_end = pty.openpty()
    seen = {**os.environ, "TERM": "dumb", "HOME": str(script.parent), "COLUMNS": "200"}
    shell = ["zsh", "-f", "-i", "+m"]
    with subprocess.Popen(
        shell, cwd=script.parent, env=seen, stdin=its_end, stdout=its_end, stderr=its_end, start_new_session=True
    ) as process:
        os.close(its_end)
        try:
            os.write(terminal, f"{setting}\n".encode())
            heard(terminal, "ready")
            os.write(terminal, f"{line}\t".encode())
            return heard(terminal, rf"{re.escape(line)}\S* $").split()[-1]
        finally:
            process.kill()
            os.close(terminal)


def heard(terminal: int, wanted: str) -> str:
    """What a terminal shows, once it is what is wanted."""
    found, until = "", time.monotonic() + LONGEST_S
    while not re.search(wanted, found.rpartition("\r")[2]):
        assert time.monotonic() < until, found
        if select.select([terminal], [], [], 0.1)[0]:
            found += os.read(terminal, 65_536).decode()
    return found


def output(command: list[str], folder: Path) -> str:
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=True, timeout=LONGEST_S)
    assert done.stderr == ""
    return done.stdout.strip()


@pytest.mark.parametrize(("shell", "complete"), [("bash", in_bash), ("fish", in_fish), ("zsh", in_zsh)])
def test_a_shell_completes_what_is_typed(
    shell: str, complete: Complete, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    if shutil.which(shell) is None:
        pytest.skip(f"the shell {shell} is not installed")
    (tmp_path / "readings_of_a_shaft.csv").touch()
    assert main(["completion", shell]) == 0
    script = tmp_path / "script"
    script.write_text(capsys.readouterr().out, encoding="utf-8")
    for line, word in each(CASES.items()):
        assert complete(script, line) == word
