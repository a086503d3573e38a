"""Pictures for paper as dialogs take and show them."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtGui import QImage, QPixmap

from valvelab.files.contents import read_contents
from valvelab.language import marked
from valvelab.report.pictures import upright

PICTURES = marked("Pictures (*.png *.jpg *.jpeg)")
"""The kinds that paper can bear, as file dialogs name them."""


def pixmap(path: Path) -> QPixmap:
    """A picture as it stands on paper. Raises BadFile for one that paper can't bear."""
    small = upright(read_contents(path).data, path.name).convert("RGBA")
    wide, high = small.size
    return QPixmap.fromImage(QImage(small.tobytes(), wide, high, 4 * wide, QImage.Format.Format_RGBA8888))
