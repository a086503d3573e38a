"""Columns of the spring station's tables, and the frame around its parts."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from PySide6.QtWidgets import QHBoxLayout, QLabel, QVBoxLayout, QWidget

from valvelab.tables.decimals import decimals_for, pretty_unit
from valvelab.units import System, display_unit, show
from valvelab.window.chips import Heading
from valvelab.window.tables import TableColumn
from valvelab.window.theme import WORDS
from valvelab.window.verdict_table import words_for
from valvelab.workbench.facts import Fact, meaning_of

_RANK = {"reject": 0, "undecided": 1, "accept": 2}
_METRIC = {"N": 1, "N/mm": 2, "mm": 2}
_INCH = {"N": 1, "N/mm": 1, "mm": 3}
_SHOWN = (
    ("seat_force", "seat_force_n", "N"), ("open_force", "open_force_n", "N"), ("rate", "rate_n_per_mm", "N/mm"),
    ("coil_bind_margin", "coil_bind_margin_mm", "mm"), ("solid_height", "solid_height_mm", "mm"),
    ("free_length", "free_length_mm", "mm"), ("hysteresis", "hysteresis_n", "N"), ("set_loss", "set_loss_n", "N"),
)  # fmt: skip
_TITLES = {
    "seat_force": "seat",
    "open_force": "open",
    "coil_bind_margin": "margin",
    "solid_height": "solid",
    "free_length": "free",
}


def spring_columns(units: System, set_of: Mapping[str, int], worst: Mapping[str, str]) -> list[TableColumn]:
    """One row a spring: name, stage, set, and what it is matched and judged by."""

    def number(name: str, key: str, unit: str) -> TableColumn:
        places = (_INCH if units == "inch" else _METRIC)[unit]
        title = f"{_TITLES.get(name, name.replace('_', ' '))}, {display_unit(unit, units).label}"
        return TableColumn(
            title, lambda row: show(getattr(row, key), unit, units, places), meaning_of(name),
            value=lambda row: getattr(row, key),
        )  # fmt: skip

    def decision(row: Any) -> str:
        return worst.get(row.spring, "")

    def icon(row: Any) -> tuple[str, str] | None:
        return (decision(row), decision(row)) if decision(row) else None

    return [
        TableColumn("spring", lambda row: row.spring if row.stage is None else f"{row.spring} {row.stage}",
                    "Name of the spring, and its stage where several were read", number=False, icon=icon,
                    cell_tip=lambda row: WORDS.get(decision(row), "not judged")),
        TableColumn("set", lambda row: str(set_of.get(row.spring, "–")), "The set it is in",
                    value=lambda row: set_of.get(row.spring)),
        *(number(*column) for column in _SHOWN),
    ]  # fmt: skip


def fact_columns(units: System) -> list[TableColumn]:
    """Characteristic, value and standard uncertainty of one spring."""

    def cell(read: Callable[[Fact], float | None]) -> Callable[[Fact], str]:
        return lambda fact: show(
            read(fact), fact.unit, units, decimals_for(fact.value, fact.standard_uncertainty, fact.unit, units)
        )

    def named(fact: Fact) -> str:
        unit = pretty_unit(fact.unit, units)
        return words_for(fact.name) + (f", {unit}" if unit else "")

    return [
        TableColumn("characteristic", named, "Point at one to read what it means", number=False,
                    cell_tip=lambda fact: fact.meaning),
        TableColumn("value", cell(lambda fact: fact.value), "From the readings", value=lambda fact: fact.value),
        TableColumn("u", cell(lambda fact: fact.standard_uncertainty), "Standard uncertainty",
                    value=lambda fact: fact.standard_uncertainty),
    ]  # fmt: skip


def titled(parent: QWidget, title: str | QLabel, tool: QWidget | None, content: QWidget) -> QWidget:
    """Content under a heading with a tool beside it."""
    box = QWidget(parent)
    head = QHBoxLayout()
    head.setContentsMargins(8, 4, 6, 4)
    if title:
        head.addWidget(Heading(title, 1.05, box) if isinstance(title, str) else title)
        head.addStretch(1)
    if tool is not None:
        head.addWidget(tool)
    if not title:
        head.addStretch(1)
    head.addStrut(round(1.5 * parent.fontMetrics().height()))
    layout = QVBoxLayout(box)
    layout.setContentsMargins(0, 0, 0, 0)
    layout.setSpacing(0)
    layout.addLayout(head)
    layout.addWidget(content, 1)
    return box
