"""Makes the one-folder build: `python3 .packaging/build.py [FOLDER]`, on Debian, Windows or macOS.

In an environment of its own the wheel is built and installed with PyInstaller; beside the program come the desktop
entry, the icon, the kind of file, and the notices that the libraries' licences want. Standard library only.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parent
#: texts of the licence under which Qt and its bindings are used here, as Debian lays them
COMMON = Path("/usr/share/common-licenses")
QT = """Qt and Qt for Python (PySide6, shiboken6)

This program uses the Qt framework and its Python bindings under the GNU Lesser General Public License, version 3
(LGPL-3.txt, which adds to GPL-3.txt). They are unchanged and lie in this folder as shared libraries
(_internal/libQt6*, _internal/PySide6, _internal/shiboken6): you may replace them by versions of your own that have
the same interface, and take the program apart to find what goes wrong when you do. Their complete source is
published by the Qt project under the version number {version}; whoever gave you this folder gives you that source on
request.
"""


def run(*command: str | Path, folder: Path) -> None:
    """Run in `folder`, away from the checkout's own package, or end with the reason that the command printed."""
    done = subprocess.run([str(word) for word in command], check=False, stdin=subprocess.DEVNULL, cwd=folder)
    if done.returncode:
        sys.exit(f"build: {Path(str(command[0])).name} {command[1]} failed (the reason stands above)")


def python_of(environment: Path) -> Path:
    """The interpreter of a virtual environment."""
    return environment / ("Scripts/python.exe" if os.name == "nt" else "bin/python")


def notices(site: Path, folder: Path) -> None:
    """Every licence text that the installed libraries carry, one folder a library, and Qt's own words."""
    version = "unknown"
    for info in sorted(site.glob("*.dist-info")):
        name = info.name.removesuffix(".dist-info")
        if name.lower().startswith("pyside6"):
            version = name.rpartition("-")[2]
        for text in sorted(path for path in info.rglob("*") if path.is_file()):
            if any(word in text.name.lower() for word in ("licen", "copying", "notice", "authors")):
                target = folder / name / text.relative_to(info).name
                target.parent.mkdir(parents=True, exist_ok=True)
                shutil.copy(text, target)
    (folder / "QT.txt").write_text(QT.format(version=version), encoding="utf-8")
    for licence in ("LGPL-3", "GPL-3"):
        if not (COMMON / licence).exists():
            sys.exit(f"build: {COMMON / licence} is missing; put the text of that licence there and start again")
        shutil.copy(COMMON / licence, folder / f"{licence}.txt")
    shutil.copy(ROOT / "resources/fonts/LICENCE.txt", folder / "fonts.txt")


def main() -> None:
    """Build into FOLDER (default: `dist` in the checkout)."""
    out = Path(sys.argv[1] if len(sys.argv) > 1 else ROOT / "dist").resolve()
    work = out / "work"
    environment = work / "venv"
    shutil.rmtree(work, ignore_errors=True)
    work.mkdir(parents=True)
    run(sys.executable, "-m", "venv", environment, folder=work)
    python = python_of(environment)
    run(python, "-m", "pip", "install", "-qq", f"{ROOT}[keyring,postgres]", "pyinstaller>=6.10", folder=work)
    run(
        python, "-m", "PyInstaller", "--noconfirm", "--log-level", "WARN",
        "--distpath", out, "--workpath", work / "build", HERE / "valvelab.spec", folder=work,
    )  # fmt: skip
    built = out / "valvelab"
    desktop = built / "desktop"
    desktop.mkdir()
    for name in ("valvelab.desktop", "valvelab.xml"):
        shutil.copy(HERE / name, desktop)
    drawn = (ROOT / "resources/icons/camshaft.svg").read_text(encoding="utf-8")
    (desktop / "valvelab.svg").write_text(drawn.replace("currentColor", "#3b74b9"), encoding="utf-8")
    shutil.copy(HERE / "install.sh", built)
    site = next(environment.rglob("site-packages"))
    notices(site, built / "notices")
    run(built / ("valvelab.exe" if os.name == "nt" else "valvelab"), "--version", folder=work)
    shutil.rmtree(work)
    sys.stdout.write(f"build: {built}\n")


if __name__ == "__main__":
    main()
