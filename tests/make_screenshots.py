"""Pictures of the real program for the README: python tests/make_screenshots.py

Written to resources/pictures; made offscreen, so no display is needed.
"""

from __future__ import annotations

import os
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[1]
PICTURES = ROOT / "resources" / "pictures"
SAMPLES = ROOT / "sample_profiles"
SIZE = (1440, 900)


def main() -> int:
    """Draw every picture."""
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
    from PySide6.QtCore import qInstallMessageHandler
    from PySide6.QtWidgets import QApplication

    from valvelab.window import theme
    from valvelab.window.bench import Bench
    from valvelab.window.main_window import MainWindow

    qInstallMessageHandler(hear)
    application = QApplication(["pictures"])
    theme.dress(application)
    application.setFont(theme.text_font(10.0))
    PICTURES.mkdir(parents=True, exist_ok=True)
    jobs = (("camshaft_light", "light", "quillmere_four_camshaft"), ("camshaft_dark", "dark", "lake_v8_camshaft"))
    for name, scheme, sample in jobs:
        with tempfile.TemporaryDirectory() as place:
            theme.set_scheme("dark" if scheme == "dark" else "light")
            window = MainWindow(Bench(Path(place), background=False))
            window.resize(*SIZE)
            window.restyle()
            window.show()
            if scheme == "dark":
                window.bench.toggle_units()
            window.bench.add_files([str(SAMPLES / f"{sample}.{ending}") for ending in ("csv", "toml")])
            application.processEvents()
            target = PICTURES / f"{name}.png"
            if not window.grab().save(str(target)):
                sys.stderr.write(f"can't write {target}\n")
                return 1
            window.close()
    return 0


def hear(_kind: object, _context: object, text: str) -> None:
    """Pass on what the toolkit says, but for the one thing it always says offscreen."""
    if "propagateSizeHints" not in text:
        sys.stderr.write(text + "\n")


if __name__ == "__main__":
    sys.exit(main())
