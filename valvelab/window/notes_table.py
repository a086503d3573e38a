"""Remarks, problems and notes: listed, never popped up."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtWidgets import QHeaderView, QWidget

from valvelab.language import marked
from valvelab.window.tables import TableColumn, TableView
from valvelab.workbench.document import Problem

_COLOURS = {"error": "reject", "warning": "undecided", "info": "quiet"}
_ORDER = {"error": 0, "warning": 1, "info": 2}


_COLUMNS = (
    TableColumn(
        "", lambda p: p.level, "How much it matters", number=False, value=lambda p: _ORDER[p.level],
        colour=lambda p: _COLOURS[p.level], icon=lambda p: (p.level, _COLOURS[p.level]),
    ),
    TableColumn("about", lambda p: p.about, "The file, lobe or characteristic", number=False),
    TableColumn("note", lambda p: p.text, "What was found", number=False),
)  # fmt: skip


class NotesTable(TableView):
    """The list of problems of files and the notes of the result in front."""

    def __init__(self, parent: QWidget | None = None) -> None:
        nothing = marked("Nothing to remark.")
        super().__init__("problems", _COLUMNS, parent, spoken="Remarks", empty=nothing)
        self.setWordWrap(True)
        self.horizontalHeader().setStretchLastSection(True)
        self.verticalHeader().setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)

    def show_problems(self, problems: Sequence[Problem]) -> None:
        """Show these, the worst first."""
        self.show_rows(sorted(problems, key=lambda problem: _ORDER[problem.level]))
        self.fit_columns()
