"""What is shipped: the wheel carries resources and samples, and runs away from the checkout."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
TOP_LEVEL = {"README.md", "DEVELOPERS.md", "pyproject.toml", "valvelab", "resources", "tests", "sample_profiles"}


def tracked_files() -> list[str]:
    if shutil.which("git") is None or not (ROOT / ".git").exists():
        pytest.skip("not a git checkout")
    listing = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    return [name for name in listing.split("\0") if name]


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel, built without network from the checkout."""
    folder = tmp_path_factory.mktemp("wheel")
    subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(folder)],
        cwd=ROOT,
        check=True,
        capture_output=True,
    )
    (built,) = folder.glob("*.whl")
    return built


@pytest.fixture(scope="module")
def site(wheel: Path) -> Path:
    """The wheel's content laid out as an installation lays it."""
    folder = wheel.parent / "site"
    with zipfile.ZipFile(wheel) as content:
        content.extractall(folder)
    return folder


def run_shipped(site: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    environment = {**os.environ, "PYTHONPATH": str(site), "PYTHONSAFEPATH": "1", "QT_QPA_PLATFORM": "offscreen"}
    return subprocess.run(
        [sys.executable, *arguments], cwd=site.parent, env=environment, capture_output=True, text=True, check=False
    )


def test_wheel_carries_resources_samples_and_types(wheel: Path) -> None:
    names = set(zipfile.ZipFile(wheel).namelist())
    expected = {
        f"valvelab/_bundled/{name}" for name in tracked_files() if name.startswith(("resources/", "sample_profiles/"))
    }
    assert expected <= names, expected - names
    assert {name for name in tracked_files() if name.startswith("valvelab/")} <= names


def test_wheel_carries_nothing_else(wheel: Path) -> None:
    names = zipfile.ZipFile(wheel).namelist()
    assert {name.partition("/")[0].partition("-")[0] for name in names} == {"valvelab"}
    assert not [name for name in names if "__pycache__" in name or "/tests/" in name]


def test_shipped_copy_finds_its_own_files(site: Path) -> None:
    done = run_shipped(site, "-c", "from valvelab import places; print(places.resources(), places.sample_profiles())")
    assert done.stdout.split() == [str(site / "valvelab/_bundled" / name) for name in ("resources", "sample_profiles")]


def test_shipped_copy_never_sets_up_an_environment(site: Path) -> None:
    for arguments in (["-m", "valvelab", "--version"], [str(site / "valvelab"), "--version"]):
        done = run_shipped(site, *arguments)
        assert done.returncode == 0, done.stderr
        assert done.stdout.startswith("valvelab ")
        assert done.stderr == ""
    assert not list(site.rglob(".venv"))


def test_version_loads_nothing_heavy(site: Path) -> None:
    done = run_shipped(site, "-X", "importtime", "-m", "valvelab", "--version")
    loaded = {line.rpartition("|")[2].strip().partition(".")[0] for line in done.stderr.splitlines()}
    assert "argparse" in loaded
    assert not loaded & {
        "numpy",
        "scipy",
        "pydantic",
        "PySide6",
        "pyqtgraph",
        "reportlab",
        "pypdf",
        "pikepdf",
        "sqlalchemy",
    }


def test_top_level_is_the_agreed_one() -> None:
    top = {name.partition("/")[0] for name in tracked_files()}
    assert {name for name in top if not name.startswith(".")} == TOP_LEVEL
