"""Writes the locks anew: `python3 .packaging/lock.py`, after a change of dependencies in pyproject.toml.

The newest versions that pyproject.toml allows, for every Python and system it names, with the hash of every file; no
address stands in them. `python3 .packaging/lock.py --audit` asks the published advisories about what is locked.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parent
#: what builds the project itself for `.venv`
BUILD = "hatchling>=1.26\neditables>=0.5\n"
LOCKS = {"locked.txt": (), "locked-test.txt": ("test",)}


def tool(folder: Path, name: str) -> Path:
    """A tool from the registry in an environment of its own."""
    subprocess.run([sys.executable, "-m", "venv", folder], check=True)
    subprocess.run([folder / "bin/python", "-m", "pip", "install", "-qq", name], check=True)
    return folder / "bin" / name


def main() -> None:
    """Write or audit the locks."""
    with tempfile.TemporaryDirectory() as away:
        if "--audit" in sys.argv[1:]:
            audit = tool(Path(away) / "venv", "pip-audit")
            for name in LOCKS:
                sys.stdout.write(f"{name}: ")
                sys.stdout.flush()
                subprocess.run([audit, "--require-hashes", "--disable-pip", "-r", HERE / name], check=True)
            return
        compile_lock = tool(Path(away) / "venv", "uv")
        build = Path(away) / "build.in"
        build.write_text(BUILD, encoding="utf-8")
        for name, extras in LOCKS.items():
            subprocess.run(
                [
                    compile_lock, "pip", "compile", "--quiet", "--universal", "--python-version", "3.11",
                    "--generate-hashes", "--no-header", "--no-annotate", "--no-emit-index-url", "--upgrade",
                    *(f"--extra={extra}" for extra in extras), "-o", HERE / name, ROOT / "pyproject.toml", build,
                ],
                check=True,
            )  # fmt: skip


if __name__ == "__main__":
    main()
