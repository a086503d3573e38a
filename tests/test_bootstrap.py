"""Starting from a checkout: environment made once, reused after, and every refusal one line."""

from __future__ import annotations

import configparser
import hashlib
import io
import os
import shutil
import subprocess
import sys
import sysconfig
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from something import each

from valvelab import __version__, bootstrap
from valvelab.__main__ import has_display

ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture
def checkout(tmp_path: Path) -> Path:
    """A copy of the checkout whose `.venv` is there and stamped; it borrows the packages of this environment."""
    folder = tmp_path / "check out"
    shutil.copytree(ROOT / "valvelab", folder / "valvelab", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "pyproject.toml", folder)
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", str(folder / ".venv")], check=True)
    (site,) = (folder / ".venv").rglob("site-packages")
    (site / "borrowed.pth").write_text(sysconfig.get_path("purelib") + "\n", encoding="utf-8")
    stamp(folder)
    return folder


def stamp(folder: Path) -> None:
    digest = hashlib.sha256((folder / "pyproject.toml").read_bytes()).hexdigest()
    version = f"{sys.version_info.major}.{sys.version_info.minor}"
    (folder / ".venv" / "installed.stamp").write_text(f"{digest} {version}\n", encoding="ascii")


def start(folder: Path, *words: str, cwd: Path, **environment: str) -> subprocess.CompletedProcess[str]:
    base = getattr(sys, "_base_executable", sys.executable)
    return subprocess.run(
        [base, str(folder / "valvelab"), *words],
        cwd=cwd,
        capture_output=True,
        text=True,
        check=False,
        stdin=subprocess.DEVNULL,
        env={**os.environ, **environment},
    )


def test_folder_runs_from_anywhere_in_its_own_environment(checkout: Path, tmp_path: Path) -> None:
    (tmp_path / "numpy.py").write_text("raise SystemExit('the wrong numpy')\n", encoding="utf-8")
    done = start(checkout, "--version", cwd=tmp_path)
    assert (done.returncode, done.stdout, done.stderr) == (0, f"valvelab {__version__}\n", "")
    done = start(checkout, "characteristics", "--json", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""


def test_own_modules_do_not_hide_the_library(checkout: Path, tmp_path: Path) -> None:
    # the folder itself must leave the path: a module of ours must never stand in for one of the same name
    (checkout / "valvelab" / "fractions.py").write_text("raise SystemExit('hidden')\n", encoding="utf-8")
    done = start(checkout, "characteristics", cwd=tmp_path)
    assert done.returncode == 0, done.stderr


def test_no_display_is_one_line(checkout: Path, tmp_path: Path) -> None:
    done = start(checkout, cwd=tmp_path, QT_QPA_PLATFORM="offscreen", DISPLAY=":99")
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.count("\n") == 1
    assert "no display" in done.stderr


def test_changed_dependencies_are_noticed(checkout: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bootstrap, "ROOT", checkout)
    monkeypatch.setattr(bootstrap, "VENV", checkout / ".venv")
    assert bootstrap.is_set_up("")
    assert not bootstrap.is_set_up("test")
    with (checkout / "pyproject.toml").open("a", encoding="utf-8") as stream:
        stream.write("# another dependency\n")
    assert not bootstrap.is_set_up("")


def test_environment_of_a_python_that_is_gone_is_noticed(checkout: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bootstrap, "ROOT", checkout)
    monkeypatch.setattr(bootstrap, "VENV", checkout / ".venv")
    bootstrap.venv_python().unlink()
    assert not bootstrap.is_set_up("")


def test_folder_that_cannot_be_written(
    checkout: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    blocked = checkout / "a file" / ".venv"
    blocked.parent.write_text("", encoding="utf-8")
    monkeypatch.setattr(bootstrap, "ROOT", checkout)
    monkeypatch.setattr(bootstrap, "VENV", blocked)
    with pytest.raises(SystemExit) as ended:
        bootstrap.set_up("")
    assert ended.value.code == bootstrap.CANNOT_SET_UP
    assert capsys.readouterr().err.count("\n") == 1


def test_python_that_is_too_old(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setattr(bootstrap, "OLDEST", (99, 0))
    with pytest.raises(SystemExit):
        bootstrap.enter(["-c", ""])
    assert "expected 99.0 or later" in capsys.readouterr().err


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="wheels bring all libraries elsewhere")
def test_missing_libraries_are_named() -> None:
    assert bootstrap.missing_packages({"libc.so.6": "libc6", "libnone-such.so.9": "libnone9"}) == ["libnone9"]


@pytest.fixture
def fake_apt(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An apt-get that writes down how it was called; nothing is installed."""
    script = tmp_path / "bin" / "apt-get"
    script.parent.mkdir()
    script.write_text(f'#!/bin/sh\necho "$@" >> {tmp_path}/calls\n', encoding="utf-8")
    script.chmod(0o755)
    monkeypatch.setenv("PATH", f"{script.parent}:{os.environ['PATH']}")
    return tmp_path / "calls"


def test_root_gets_its_packages(fake_apt: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "geteuid", lambda: 0)
    assert bootstrap.provide_packages(["libegl1", "libgl1"])
    update, install = fake_apt.read_text(encoding="utf-8").splitlines()
    assert update.startswith("update")
    assert install.startswith("install -y")
    assert install.endswith("libegl1 libgl1")


def test_others_are_told_in_one_line(
    fake_apt: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(os, "geteuid", lambda: 1000)
    assert not bootstrap.provide_packages(["libegl1"])
    assert capsys.readouterr().err == "valvelab: this system lacks packages; as root: apt-get install libegl1\n"
    assert not fake_apt.exists()


@pytest.mark.parametrize(
    ("environment", "expected"),
    [
        ({}, False), ({"DISPLAY": ":0"}, True), ({"WAYLAND_DISPLAY": "wayland-0"}, True), ({"DISPLAY": ""}, False),
        ({"DISPLAY": ":0", "QT_QPA_PLATFORM": "offscreen"}, False),
        ({"DISPLAY": ":0", "QT_QPA_PLATFORM": "minimal:x"}, False), ({"DISPLAY": ":0", "QT_QPA_PLATFORM": "xcb"}, True),
    ],
)  # fmt: skip
@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="other systems always have a display")
def test_what_counts_as_a_display(monkeypatch: pytest.MonkeyPatch, environment: dict[str, str], expected: bool) -> None:
    for name in ("DISPLAY", "WAYLAND_DISPLAY", "QT_QPA_PLATFORM"):
        monkeypatch.delenv(name, raising=False)
    for name, value in environment.items():
        monkeypatch.setenv(name, value)
    assert has_display() is expected


@pytest.mark.parametrize("extra", ["", "test"])
def test_lock_names_a_version_and_hashes_for_all_that_is_asked(extra: str) -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    text = bootstrap.lock_file(extra).read_text(encoding="utf-8")
    assert "://" not in text, "a lock names no address"
    locked: dict[str, list[str]] = {}
    for entry in each(text.replace("\\\n", " ").splitlines()):
        requirement, *hashes = entry.split(" --hash=sha256:")
        assert hashes, requirement
        assert all(len(digest.strip()) == 64 for digest in hashes), requirement
        name, _, version = requirement.partition(";")[0].strip().partition("==")
        locked.setdefault(canonicalize_name(name), []).append(version)
    asked = [Requirement(line) for line in project["dependencies"]]
    asked += [Requirement(line) for line in project["optional-dependencies"].get(extra, ())]
    for requirement in each(asked):
        if requirement.name == "valvelab":
            continue
        versions = locked.get(canonicalize_name(requirement.name), [])
        assert versions, f"{requirement.name} is not locked: python3 .packaging/lock.py"
        assert all(requirement.specifier.contains(version) for version in versions), (requirement, versions)


def test_lock_counts_in_the_stamp(checkout: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bootstrap, "ROOT", checkout)
    monkeypatch.setattr(bootstrap, "VENV", checkout / ".venv")
    assert bootstrap.is_set_up("")
    (checkout / ".packaging").mkdir()
    bootstrap.lock_file("").write_text("a locked version\n", encoding="ascii")
    assert not bootstrap.is_set_up("")
    monkeypatch.setenv(bootstrap.UNLOCKED, "1")
    assert bootstrap.is_set_up("")


class Terminal(io.StringIO):
    """Text that says it comes from a terminal."""

    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize(("answer", "runs"), [("\n", True), ("y\n", True), ("n\n", False)])
def test_system_packages_are_asked_for_before_they_are_installed(
    monkeypatch: pytest.MonkeyPatch, answer: str, runs: bool
) -> None:
    asked = Terminal()
    ran: list[list[str]] = []
    monkeypatch.setattr("sys.stdin", Terminal(answer))
    monkeypatch.setattr("sys.stderr", asked)
    monkeypatch.setattr("os.geteuid", lambda: 0)
    monkeypatch.setattr("shutil.which", lambda _name: "/usr/bin/apt-get")
    done = subprocess.CompletedProcess([], 0, stdout=b"")
    monkeypatch.setattr("subprocess.run", lambda command, **_how: ran.append(command) or done)
    assert bootstrap.provide_packages(["libegl1"]) is runs
    assert "apt-get install would add: libegl1" in asked.getvalue()
    assert [command[:2] for command in ran] == ([["apt-get", "update"], ["apt-get", "install"]] if runs else [])
    monkeypatch.setenv(bootstrap.KEEP_SYSTEM, "1")
    assert not bootstrap.provide_packages(["libegl1"])


@pytest.mark.skipif(os.name == "nt", reason="the menu entry is for desktops of Linux")
def test_one_folder_build_enters_the_menu(tmp_path: Path) -> None:
    folder = tmp_path / "bench 100% $new"
    (folder / "desktop").mkdir(parents=True)
    shutil.copy(ROOT / ".packaging" / "install.sh", folder)
    for name in ("valvelab.desktop", "valvelab.xml"):
        shutil.copy(ROOT / ".packaging" / name, folder / "desktop")
    (folder / "desktop" / "valvelab.svg").write_text("<svg/>", encoding="utf-8")
    environment = {"PATH": "/usr/bin:/bin", "HOME": str(tmp_path), "XDG_DATA_HOME": str(tmp_path / "data")}
    subprocess.run(["sh", str(folder / "install.sh")], env=environment, check=True, capture_output=True)
    entry = configparser.ConfigParser(interpolation=None)
    entry.read(tmp_path / "data/applications/valvelab.desktop", encoding="utf-8")
    # as the Desktop Entry Specification quotes: backslash before $, and %% for a per cent sign
    assert entry["Desktop Entry"]["Exec"] == f'"{tmp_path}/bench 100%% \\\\$new/valvelab" %F'
    assert (tmp_path / "data/mime/packages/valvelab.xml").exists()
    subprocess.run(["sh", str(folder / "install.sh"), "--remove"], env=environment, check=True, capture_output=True)
    assert not (tmp_path / "data/applications/valvelab.desktop").exists()
