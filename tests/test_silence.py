"""The rules the tests themselves run under: a skip in CI fails, a warning fails."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).parent

SKIPS = """
import warnings
import pytest

def test_skips():
    pytest.skip("not today")

def test_allowed():
    pytest.skip("surfalize comes with the dev extra only")

def test_runs():
    pass
"""


def run_pytest(folder: Path, in_ci: bool, *options: str) -> str:
    for name in ("conftest.py", "same_machine.py", "postgres.py", "papers.py"):
        (folder / name).write_text((HERE / name).read_text(encoding="utf-8"), encoding="utf-8")
    environment = {**os.environ, "CI": "true" if in_ci else ""}
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "--rootdir", str(folder), *options, "."],
        capture_output=True,
        text=True,
        env=environment,
        cwd=folder,
        check=False,
    )
    return done.stdout.strip().splitlines()[-1]


def test_unexpected_skip_fails_in_ci_only(tmp_path: Path) -> None:
    (tmp_path / "test_skips.py").write_text(SKIPS, encoding="utf-8")
    assert "1 failed, 1 passed, 1 skipped" in run_pytest(tmp_path, in_ci=True)
    assert "1 passed, 2 skipped" in run_pytest(tmp_path, in_ci=False)


def test_skipped_module_fails_in_ci(tmp_path: Path) -> None:
    (tmp_path / "test_away.py").write_text(
        "import pytest\npytest.skip('gone', allow_module_level=True)\n", encoding="utf-8"
    )
    assert "1 error" in run_pytest(tmp_path, in_ci=True)


def test_warning_fails(tmp_path: Path) -> None:
    code = "import warnings\ndef test_warns():\n    warnings.warn('loud', UserWarning, stacklevel=1)\n"
    (tmp_path / "test_loud.py").write_text(code, encoding="utf-8")
    assert "1 failed" in run_pytest(tmp_path, False, "-c", str(HERE.parent / "pyproject.toml"))
