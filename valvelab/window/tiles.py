"""The bays as tiles of one size, in the order of work: two across with their names, or closer where text is large."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import TYPE_CHECKING

from PySide6.QtCore import QEvent, QRectF, QSize, Qt
from PySide6.QtGui import QAction, QPaintEvent, QPen
from PySide6.QtWidgets import QGridLayout, QSizePolicy, QToolButton, QWidget

from valvelab.language import say
from valvelab.tables.verdicts import SIGNS, WORDS
from valvelab.window.painting import CENTRE, LEFT, painting, write
from valvelab.window.theme import current_theme, scaled

if TYPE_CHECKING:
    from valvelab.records.result import Decision

_GAP = 4
_LEAST = 0.85
"""How small a long name may be written, of the usual."""
_SIGN_EMS = 0.95
"""Width that the sign of a decision takes beside the first line of a name."""
_SOFT_HYPHEN = "\u00ad"
_NARROW_EMS = 48
"""A window of fewer ems leaves the tiles no room for names."""


class BayTile(QToolButton):
    """A bay: its picture and its name, a word a line; filled and framed in front, a sign for what was decided there.

    A name is pale while nothing that the bay takes lies on the bench, a sign while it is of what lay there before.
    """

    def __init__(self, action: QAction, parent: QWidget) -> None:
        super().__init__(parent)
        self.setDefaultAction(action)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self._close = False
        self._laid = False
        self._decision: Decision | None = None
        self._past = False

    def fit(self, *, close: bool) -> None:
        """Show the picture alone, or the name as well."""
        if close != self._close:
            self._close = close
            self.updateGeometry()
            self.update()

    def tell(self, *, laid: bool, decision: Decision | None, past: bool = False) -> None:
        """Whether something lies on the bench for it, and the gravest decision; `past`: before the last edit."""
        if (laid, decision, past) != (self._laid, self._decision, self._past):
            self._laid, self._decision, self._past = laid, decision, past
            told = "" if decision is None else say(WORDS[decision])
            self.setAccessibleDescription(say("{told}, before the last change").format(told=told) if past else told)
            self.update()

    def sizeHint(self) -> QSize:
        """One size for every bay."""
        em = self.fontMetrics().height()
        wide, high = (2.6, 2.2) if self._close else (5.9, 2.6)
        return QSize(round(wide * em), round(high * em))

    def room(self) -> float:
        """Width that a line of the name has, in the type of buttons; none is written where the picture stands alone."""
        em = float(self.fontMetrics().height())
        return 10_000.0 if self._close else (self.width() - 2.45 * em) / 0.95

    def _share(self, lines: Sequence[str]) -> float:
        """Room for the name, of what it takes; the first of two lines ends before the sign of what was decided."""
        wide = [max(1, self.fontMetrics().horizontalAdvance(line)) for line in lines]
        beside = self.room() - (_SIGN_EMS * self.fontMetrics().height() if self._decision and len(lines) > 1 else 0.0)
        return min(self.room() / max(wide), beside / wide[0])

    def minimumSizeHint(self) -> QSize:
        """No less."""
        return self.sizeHint()

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Draw the tile."""
        theme, em, on = current_theme(), float(self.fontMetrics().height()), self.isChecked()
        side = round(1.5 * em)
        colour = "text" if on or self._laid else "quiet"
        with painting(self) as painter:
            painter.setPen(QPen(theme.colour("accent" if on or self.hasFocus() else "line"), 2.0 if on else 1.0))
            painter.setBrush(theme.colour("chosen" if on else "raised" if self.underMouse() else "panel"))
            painter.drawRoundedRect(QRectF(self.rect()).adjusted(1.0, 1.0, -1.0, -1.0), 0.35 * em, 0.35 * em)
            left = 0.5 * (self.width() - side) if self._close else 0.4 * em
            self.icon().paint(painter, round(left), (self.height() - side) // 2, side, side)
            if not self._close:
                lines = lines_of(self.text())
                box = QRectF(left + side + 0.4 * em, 0.5 * (self.height() - len(lines) * em), self.width(), em)
                font = scaled(self.font(), 0.95 * max(_LEAST, min(1.0, self._share(lines))))
                for number, line in enumerate(lines):
                    write(painter, box.translated(0.0, number * em), LEFT, line, colour, font)
            if self._decision is not None:
                corner = QRectF(self.width() - 1.15 * em, 0.1 * em, em, em)
                font = scaled(self.font(), 0.9, strong=True)
                colour = "quiet" if self._past else self._decision
                write(painter, corner, CENTRE, SIGNS[self._decision], colour, font)


def lines_of(name: str) -> list[str]:
    """A name as the two lines of a tile: a word a line, or one broken where a soft hyphen stands."""
    if " " in name:
        return name.split(" ", 1)
    first, hyphen, rest = name.partition(_SOFT_HYPHEN)
    return [f"{first}-", rest] if hyphen else [name]


class Tiles(QWidget):
    """All bays' tiles."""

    def __init__(self, actions: Mapping[str, QAction], parent: QWidget) -> None:
        super().__init__(parent)
        self.setAccessibleName(say("Bays"))
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Fixed)
        self.by_bay = {name: BayTile(action, self) for name, action in actions.items()}
        self._grid = QGridLayout(self)
        self._grid.setContentsMargins(6, 6, 6, 2)
        self._grid.setSpacing(_GAP)
        self._across = 0
        self.fit(parent.width())

    def fit(self, window_wide: int) -> bool:
        """Lay the tiles for a window of this width; whether they lie otherwise than before."""
        close = window_wide < _NARROW_EMS * self.fontMetrics().height()
        across = 3 if close else 2
        for tile in self.by_bay.values():
            tile.fit(close=close)
        if across == self._across:
            return False
        self._across = across
        for number, tile in enumerate(self.by_bay.values()):
            self._grid.addWidget(tile, *divmod(number, across))
        return True

    def event(self, event: QEvent) -> bool:
        """Another size of text leaves another room."""
        if event.type() == QEvent.Type.FontChange:
            self.fit(self.window().width())
        return super().event(event)

    def tell(self, laid: Sequence[str], decisions: Mapping[str, Decision], past: Collection[str]) -> None:
        """Names of the bays that something lies on the bench for, and the gravest decisions by name.

        past: those whose decision is of what lay there before, and awaits the next.
        """
        for name, tile in self.by_bay.items():
            decision = decisions.get(name)
            tile.tell(laid=name in laid, decision=decision, past=decision is not None and name in past)
