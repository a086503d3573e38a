"""Pictures of the real program for README and gallery: python tests/make_screenshots.py

Written to resources/pictures; made offscreen, so no display is needed.
"""

from __future__ import annotations

import io
import os
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from PySide6.QtWidgets import QWidget

    from valvelab.window.main_window import MainWindow
    from valvelab.window.theme import Scheme

ROOT = Path(__file__).parents[1]
PICTURES = ROOT / "resources" / "pictures"
SAMPLES = ROOT / "sample_profiles"
LARGE, SMALL = (1440, 900), (1280, 720)
COLOURS = 256


@dataclass(frozen=True, slots=True)
class Shot:
    """A picture: what lies on the bench, and what is done before it is taken; that gives the widget to be shown."""

    name: str
    scheme: Scheme
    bay: str
    files: tuple[str, ...] = ()
    inch: bool = False
    size: tuple[int, int] = SMALL
    then: Callable[[MainWindow], QWidget] = lambda window: window


def fitted(window: MainWindow) -> QWidget:
    """The spring bay with the fit in front, once it is planned."""
    from waiting import wait_for

    from valvelab.window.bays.springs_view import SpringsView
    from valvelab.workbench.sets import SpringsState

    window.bench.set(SpringsState, page="shims")
    view = window.pages.front()
    assert isinstance(view, SpringsView)
    wait_for(lambda: not view.shims_pane.run.running)
    return window


def explained(window: MainWindow) -> QWidget:
    """The guide, at the characteristic that is chosen."""
    window.verdicts.sheet.select_where(lambda verdict: verdict.characteristic == "envelope")
    window.do("characteristics")
    return window.guide


SHOTS = (
    Shot(
        "camshaft_light", "light", "lobes", ("quillmere_four_camshaft.csv", "quillmere_four_camshaft.toml"), size=LARGE
    ),
    Shot("camshaft_dark", "dark", "lobes", ("lake_v8_camshaft.csv", "lake_v8_camshaft.toml"), inch=True, size=LARGE),
    Shot("springs_light", "light", "springs"),
    Shot("fit_dark", "dark", "springs", then=fitted),
    Shot("shaft_light", "light", "shaft"),
    Shot("phasing_dark", "dark", "phasing"),
    Shot("motion_light", "light", "motion"),
    Shot("liftcheck_dark", "dark", "liftcheck"),
    Shot("lash_light", "light", "lash"),
    Shot("meaning_dark", "dark", "lobes", then=explained),
)


def main() -> int:
    """Draw every picture."""
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
    from PySide6.QtCore import qInstallMessageHandler
    from PySide6.QtWidgets import QApplication

    from valvelab.window import theme

    qInstallMessageHandler(hear)
    application = QApplication(["pictures"])
    theme.dress(application)
    application.setFont(theme.text_font(10.0))
    PICTURES.mkdir(parents=True, exist_ok=True)
    for shot in SHOTS:
        (PICTURES / f"{shot.name}.png").write_bytes(taken(shot, application.processEvents))
    return 0


def taken(shot: Shot, settle: Callable[[], object]) -> bytes:
    """One picture as PNG, of few colours and so of few bytes."""
    from valvelab.window import theme
    from valvelab.window.bench import Bench
    from valvelab.window.main_window import MainWindow
    from valvelab.workbench import bays

    theme.set_scheme(shot.scheme)
    with tempfile.TemporaryDirectory() as place:
        window = MainWindow(Bench(Path(place), background=False))
        window.resize(*shot.size)
        window.restyle()
        window.show()
        if shot.inch:
            window.bench.toggle_units()
        window.bench.go_to_bay(shot.bay)
        bay = bays.by_name(shot.bay)
        window.bench.add_files([str(SAMPLES / name) for name in shot.files or (() if bay is None else bay.sample)])
        settle()
        shown = shot.then(window)
        settle()
        picture = shown.grab().toImage()
        window.deleteLater()
        return small_png(picture)


def small_png(picture: object) -> bytes:
    """A picture of the toolkit as PNG of COLOURS colours."""
    from PIL import Image
    from PySide6.QtCore import QBuffer, QIODevice
    from PySide6.QtGui import QImage

    assert isinstance(picture, QImage)
    buffer = QBuffer()
    buffer.open(QIODevice.OpenModeFlag.WriteOnly)
    picture.save(buffer, "PNG")  # type: ignore[call-overload]
    target = io.BytesIO()
    with Image.open(io.BytesIO(bytes(buffer.data().data()))) as read:
        few = read.convert("RGB").quantize(COLOURS, Image.Quantize.MAXCOVERAGE, kmeans=3, dither=Image.Dither.NONE)
        few.save(target, "PNG", optimize=True)
    return target.getvalue()


def hear(_kind: object, _context: object, text: str) -> None:
    """Pass on what the toolkit says, but for what it always says offscreen."""
    if "propagateSizeHints" not in text and "raise()" not in text:
        sys.stderr.write(text + "\n")


if __name__ == "__main__":
    sys.exit(main())
