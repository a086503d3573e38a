"""From stage to stage: what each spring lost since it was new, how it goes on, and when it is due."""

from __future__ import annotations

from typing import TypeGuard

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QLabel, QWidget

from valvelab.figures.history_figures import due_first, history_figure
from valvelab.inspection.springs.inspect import SpringsInspection
from valvelab.language import marked, say, say_many
from valvelab.records.springs_result import Due
from valvelab.tables.description import reached_by
from valvelab.tables.springs import FollowedRow, due_columns, due_ends, followed_rows, spring_column
from valvelab.units import System
from valvelab.window.chips import Heading
from valvelab.window.drawing import FigureView
from valvelab.window.layouts import stacked
from valvelab.window.panes import splitter
from valvelab.window.tables import TableView, of

_ONE_STAGE = marked(
    "These readings hold one stage of each spring. A column of stages, such as new, "
    "run-in and after a meeting, with dates, shows here what each spring lost and when it "
    "is due."
)
_FOLLOWED = "seat_force"
_LEAST = {"moves by": 4.0, "limit": 5.0, "remark": 3.0}
"""Lines' heights to which columns of words are cut where the table is narrow; figures stand first in them."""
_ASIDE = {"stages": 2, "earliest": 1, "latest": 1}
"""Columns that are left out where the table is narrower still: the plot below shows them too."""


class HistoryPane(QWidget):
    """A row each limit on the seat force that a spring moves towards, due first on top; the plot of the chosen one."""

    spring_chosen = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.first = Heading("", 1.05, self)
        self.first.setTextFormat(Qt.TextFormat.PlainText)
        self.first.setContentsMargins(8, 4, 6, 4)
        self.first.setWordWrap(True)
        self.first.setAccessibleName(say("First spring that is due"))
        self.sheet = TableView(
            "from stage to stage", (), self, sortable=False, spoken="Springs from stage to stage, due first"
        )
        self.sheet.chosen.connect(lambda row: self.spring_chosen.emit(row[0].spring))
        self.plot = FigureView("Seat force from stage to stage", self)
        self.nothing = QLabel(say(_ONE_STAGE), self, wordWrap=True, alignment=Qt.AlignmentFlag.AlignCenter)
        self.nothing.setMargin(2 * self.fontMetrics().height())
        self._rows = splitter(self, Qt.Orientation.Vertical, (self.sheet, 1), (self.plot, 1))
        stacked(self, self.first, (self._rows, 1), (self.nothing, 1))

    def show_history(self, inspection: SpringsInspection, units: System) -> None:
        """Show the springs that were read in several stages."""
        history = sorted(inspection.result.history, key=due_first)
        rows = [row for one in history for row in sorted(followed_rows([one]), key=_when) if _is_followed(row)]
        self.first.setText(_told(rows) if rows else "")
        for part in (self.first, self._rows):
            part.setVisible(bool(rows))
        self.nothing.setVisible(not rows)
        last = {row.spring: row for row in inspection.result.springs}
        lost = reached_by(spring_column(f"{_FOLLOWED}_drop"), lambda row: last[row[0].spring])
        name, *others = (column for column in due_columns(units) if column.head != "trend of")
        columns = (
            of(c, units, rows, least=_LEAST.get(c.head, 0.0), aside=_ASIDE.get(c.head, 0))
            for c in (name, lost, *others)
        )
        self.sheet.show_rows(rows, [*columns])

    def show_spring(self, inspection: SpringsInspection, spring: str, units: System) -> None:
        """Bring a spring to the front."""
        figure = history_figure(inspection.result, spring)
        self.plot.setVisible(figure is not None)
        if figure is not None:
            self.plot.show_figure(figure, units)
        self.sheet.select_where(lambda row: row[0].spring == spring)


def _is_followed(row: FollowedRow) -> bool:
    return row[1].characteristic == _FOLLOWED


def _when(row: FollowedRow) -> tuple[bool, str, float]:
    """Sorts the limits of a spring by when they are reached, those that are not known to be last."""
    due = row[2]
    return (False, due.due_date or "", due.due_stage or 0.0) if _comes(due) else (True, "", 0.0)


def _comes(due: Due | None) -> TypeGuard[Due]:
    """Whether it is known when a limit is reached."""
    return due is not None and (due.due_date is not None or due.due_stage is not None)


def _told(rows: list[FollowedRow]) -> str:
    """Which spring is due first, and when."""
    history, _, due = rows[0]
    if not _comes(due):
        many = say_many("{count} spring", "{count} springs", len({row[0].spring for row in rows}))
        return say("{many} from stage to stage: none is known to come due").format(many=many)
    when, earliest, latest = due_ends(due)
    return say("Due first: {spring}, {when} (earliest {earliest}, latest {latest})").format(
        spring=history.spring, when=when, earliest=earliest, latest=latest
    )
