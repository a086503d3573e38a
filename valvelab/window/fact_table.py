"""Columns of a list of characteristics: name and unit, value, standard uncertainty."""

from __future__ import annotations

from valvelab.inspection.characteristics import printed
from valvelab.tables.decimals import Usual, figure
from valvelab.units import System, display_unit
from valvelab.window.tables import TableColumn
from valvelab.workbench.facts import Fact


def fact_columns(units: System, *, item: bool = False, usual: dict[str, Usual] | None = None) -> list[TableColumn]:
    """The columns; with `item` one in front says of what. usual: decimals by unit where no uncertainty is known."""
    known = usual or {}

    def named(fact: Fact) -> str:
        unit = display_unit(fact.unit, units).label
        return printed(fact.name, fact.unit) + (f", {unit}" if unit else "")

    def text(fact: Fact, value: float | None) -> str:
        return figure(value, fact.standard_uncertainty, fact.unit, units, known.get(fact.unit))

    first = [TableColumn("item", lambda fact: fact.item, "Cylinder, kind or lobe", number=False)] if item else []
    return [
        *first,
        TableColumn("characteristic", named, "Point at one to read what it means", number=False,
                    cell_tip=lambda fact: fact.meaning),
        TableColumn("value", lambda fact: text(fact, fact.value), "From the readings",
                    value=lambda fact: fact.value, cell_tip=lambda fact: fact.meaning),
        TableColumn("u", lambda fact: text(fact, fact.standard_uncertainty), "Standard uncertainty",
                    value=lambda fact: fact.standard_uncertainty),
    ]  # fmt: skip
