"""Pictures for paper as dialogs take and show them."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtGui import QPixmap

from valvelab.files.contents import read_contents
from valvelab.report.pictures import small_png

PICTURES = "Pictures (*.png *.jpg *.jpeg)"
"""The kinds that paper can bear, as file dialogs name them."""


def pixmap(path: Path) -> QPixmap:
    """A picture as it stands on paper. Raises BadFile for one that paper can't bear."""
    made = QPixmap()
    made.loadFromData(small_png(read_contents(path).data, path.name))
    return made
