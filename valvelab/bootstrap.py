"""Sets up `.venv` beside a checkout, so that `python3 valvelab …` and `python3 tests` work at once.

Standard library only, because it runs before anything is installed. What is installed are the versions that a lock
beside the checkout names, each file checked against its hash; it is stamped with the hash of lock and pyproject.toml,
and a start with a matching stamp costs a few small file reads. An installed copy never comes here.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import NoReturn

ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / ".venv"
OLDEST = (3, 11)
#: the newest Python for which the locked versions were tried; a later one gets what pyproject.toml allows
NEWEST_LOCKED = (3, 14)
#: set to anything: no system packages are installed; the versions are those that pyproject.toml allows
KEEP_SYSTEM = "VALVELAB_NO_APT"
UNLOCKED = "VALVELAB_UNLOCKED"
CANNOT_SET_UP = 3

#: shared library → Debian and Ubuntu package, for Qt without a screen
OFFSCREEN = {
    "libEGL.so.1": "libegl1",
    "libGL.so.1": "libgl1",
    "libxkbcommon.so.0": "libxkbcommon0",
    "libdbus-1.so.3": "libdbus-1-3",
    "libglib-2.0.so.0": "libglib2.0-0",
    "libfontconfig.so.1": "libfontconfig1",
}
#: the same for a window on an X screen
ON_SCREEN = {
    **OFFSCREEN,
    "libxcb-cursor.so.0": "libxcb-cursor0",
    "libxcb-icccm.so.4": "libxcb-icccm4",
    "libxcb-image.so.0": "libxcb-image0",
    "libxcb-keysyms.so.1": "libxcb-keysyms1",
    "libxcb-randr.so.0": "libxcb-randr0",
    "libxcb-render-util.so.0": "libxcb-render-util0",
    "libxcb-shape.so.0": "libxcb-shape0",
    "libxcb-xkb.so.1": "libxcb-xkb1",
    "libxkbcommon-x11.so.0": "libxkbcommon-x11-0",
}


def missing_packages(libraries: dict[str, str]) -> list[str]:
    """Packages whose shared library can't be loaded here; empty outside Linux, where the wheels bring all."""
    if not sys.platform.startswith("linux"):
        return []
    import ctypes

    missing = []
    for library, package in libraries.items():
        try:
            ctypes.CDLL(library)
        except OSError:
            missing.append(package)
    return missing


def say(sentence: str) -> None:
    """One line on standard error."""
    sys.stderr.write(f"valvelab: {sentence}\n")
    sys.stderr.flush()


def refuse(sentence: str) -> NoReturn:
    """One line on standard error, and the end."""
    say(sentence)
    sys.exit(CANNOT_SET_UP)


def provide_packages(packages: list[str]) -> bool:
    """Install system packages where that is allowed without asking, else say which; whether all are there."""
    if not packages:
        return True
    names = " ".join(packages)
    as_root = hasattr(os, "geteuid") and os.geteuid() == 0
    if os.environ.get(KEEP_SYSTEM) or not (as_root and shutil.which("apt-get")):
        say(f"this system lacks packages; as root: apt-get install {names}")
        return False
    say(f"this system lacks packages that Qt wants, apt-get install would add: {names} (never with {KEEP_SYSTEM}=1)")
    if not _agreed("Install them now? [Y/n] "):
        return False
    environment = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    install = ["apt-get", "install", "-y", "-qq", "--no-install-recommends", *packages]
    _run(["apt-get", "update", "-qq"], environment)
    if _run(install, environment):
        return True
    say(f"apt-get could not install: {names}")
    return False


def _agreed(question: str) -> bool:
    """Whoever sits at the terminal decides; where nobody does, the set-up goes on."""
    if not (sys.stdin and sys.stdin.isatty() and sys.stderr.isatty()):
        return True
    sys.stderr.write(f"valvelab: {question}")
    sys.stderr.flush()
    return sys.stdin.readline().strip().lower() in {"", "y", "yes"}


def _run(command: list[str], environment: dict[str, str] | None = None) -> bool:
    """Run with nothing to read; what it said goes to standard error only where it failed."""
    done = subprocess.run(  # noqa: S603 - fixed commands of our own
        command,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        env=environment,
        check=False,
    )
    if done.returncode:
        sys.stderr.write(done.stdout.decode(errors="replace"))
    return done.returncode == 0


def venv_python() -> Path:
    """The interpreter of `.venv`."""
    return VENV / ("Scripts/python.exe" if os.name == "nt" else "bin/python")


def inside_venv() -> bool:
    """Whether this very process runs in `.venv`."""
    return os.path.realpath(sys.prefix) == os.path.realpath(VENV)


def _stamp_file(extra: str) -> Path:
    return VENV / f"installed{'-' + extra if extra else ''}.stamp"


def lock_file(extra: str) -> Path:
    """The versions and hashes for the program alone, or with an extra."""
    return ROOT / ".packaging" / f"locked{'-' + extra if extra else ''}.txt"


def _lock(extra: str) -> Path | None:
    """The lock that counts here, where there is one."""
    path = lock_file(extra)
    too_new = sys.version_info[:2] > NEWEST_LOCKED
    return None if too_new or os.environ.get(UNLOCKED) or not path.exists() else path


def _stamp(extra: str) -> str:
    lock = _lock(extra)
    content = (ROOT / "pyproject.toml").read_bytes() + (lock.read_bytes() if lock else b"")
    return hashlib.sha256(content).hexdigest()


def _running_version() -> str:
    return f"{sys.version_info.major}.{sys.version_info.minor}"


def is_set_up(extra: str) -> bool:
    """Whether `.venv` holds what today's pyproject.toml asks for, for the Python that `.venv` runs."""
    try:
        stamp, version = _stamp_file(extra).read_text(encoding="ascii").split()
    except (OSError, ValueError):
        return False
    return stamp == _stamp(extra) and venv_python().exists() and (not inside_venv() or version == _running_version())


def set_up(extra: str, libraries: dict[str, str] | None = None) -> None:
    """Make or refresh `.venv` with the project (editable), its dependencies and one extra; end with a line if not."""
    try:
        VENV.mkdir(exist_ok=True)
        with _only_one_at_a_time():
            if not is_set_up(extra):
                _install(extra, libraries or {})
    except OSError as error:
        refuse(f"can't set up {VENV}: {error.strerror or error}")
    except KeyboardInterrupt:
        refuse("interrupted; the next start goes on from here")


@contextlib.contextmanager
def _only_one_at_a_time() -> Iterator[None]:
    """Hold a lock in `.venv`, so that two first starts don't install over each other (where the system has locks)."""
    try:
        import fcntl
    except ImportError:
        yield
        return
    with (VENV / "set_up.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield


def _install(extra: str, libraries: dict[str, str]) -> None:
    say(f"setting up {VENV} (once; about half a minute and half a gigabyte)")
    base = getattr(sys, "_base_executable", sys.executable)
    pip = _make_venv(base)
    provide_packages(missing_packages(libraries))
    environment = {**os.environ, "PIP_ROOT_USER_ACTION": "ignore", "PIP_DISABLE_PIP_VERSION_CHECK": "1"}
    install = [*pip, "install", "-qq"]
    lock = _lock(extra)
    if lock:
        # the project's own build tool is locked too, so that nothing comes unchecked
        steps = [
            [*install, "--require-hashes", "--only-binary", ":all:", "--requirement", str(lock)],
            [*install, "--no-deps", "--no-build-isolation", "--editable", str(ROOT)],
        ]
    else:
        steps = [[*install, "--editable", f"{ROOT}[{extra}]" if extra else str(ROOT)]]
    if not all(_run(step, environment) for step in steps):
        ways = f"; {UNLOCKED}=1 takes the versions that can be had instead" if lock else ""
        refuse(f"the dependencies could not be installed (the reason stands above){ways}")
    version = subprocess.run(  # noqa: S603 - the interpreter just made
        [str(venv_python()), "-c", "import sys; print(*sys.version_info[:2], sep='.')"],
        capture_output=True,
        text=True,
        check=True,
    ).stdout.strip()
    for name in {"", extra}:
        _stamp_file(name).write_text(f"{_stamp(name)} {version}\n", encoding="ascii")


def _make_venv(base: str) -> list[str]:
    """Make `.venv` where it is missing or broken; returns the pip command that installs into it.

    Debian splits ensurepip off its Python; then pip of the system installs into a venv made without it.
    """
    usable = _works([str(venv_python()), "-c", ""])
    inner_pip = [str(venv_python()), "-m", "pip"]
    if usable and _works([*inner_pip, "--version"]):
        return inner_pip
    outer_pip = [base, "-m", "pip", "--python", str(venv_python())]
    has_outer_pip = _works([base, "-m", "pip", "--version"])
    if usable and has_outer_pip:
        return outer_pip
    has_ensurepip = _works([base, "-c", "import ensurepip"])
    if not (has_ensurepip or has_outer_pip):
        if not provide_packages([_venv_package()]):
            sys.exit(CANNOT_SET_UP)
        has_ensurepip = True
    if has_ensurepip and _run([base, "-m", "venv", "--clear", str(VENV)]):
        return inner_pip
    if has_outer_pip and _run([base, "-m", "venv", "--clear", "--without-pip", str(VENV)]):
        return outer_pip
    refuse(f"this Python can't make a virtual environment (the reason stands above); it may need {_venv_package()}")


def _venv_package() -> str:
    return f"python{_running_version()}-venv"


def _works(command: list[str]) -> bool:
    try:
        done = subprocess.run(command, stdin=subprocess.DEVNULL, capture_output=True, check=False)  # noqa: S603
    except OSError:
        return False
    return done.returncode == 0


def enter(command: list[str], extra: str = "", libraries: dict[str, str] | None = None) -> NoReturn:
    """Replace this process by `.venv`'s Python running `command`, after set-up where that is due.

    `libraries` (library → package) are seen to at set-up.
    """
    if sys.version_info[:2] < OLDEST:
        refuse(f"found Python {_running_version()}, expected {'.'.join(map(str, OLDEST))} or later")
    if not is_set_up(extra):
        set_up(extra, libraries)
    whole = [str(venv_python()), *command]
    if os.name == "nt":
        sys.exit(subprocess.call(whole))  # noqa: S603 - exec returns to the shell too early there
    sys.stdout.flush()
    os.execv(whole[0], whole)  # noqa: S606
