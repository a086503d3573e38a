"""What a lot is against its limits: one row a limit."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from valvelab.decimals import decimals_of, limit, percent
from valvelab.records.batch_result import LotCharacteristic, LotIndex
from valvelab.tables.description import Column, Table, table_of
from valvelab.tables.verdicts import judged
from valvelab.units import System, display_unit, show

INDEX_DECIMALS = 2
SHOWN_ITEMS = 3
_SPREAD_WIDTHS = (16, 16, 9, 8.5, 8.5, 8, 8.5, 8.5, 10, 6.5, 7, 7.5)
_INDEX_WIDTHS = (15, 16, 17, 18, 8, 9, 25)
_NORMAL = {True: "yes", False: "no", None: "–"}


def lot_tables(lot: Sequence[LotCharacteristic], system: System) -> list[Table]:
    """Spread and limits; indices and drift."""
    if not lot:
        return []
    return [
        replace(table_of(lot, _spread(system), system, "The lot against its limits"), widths=_SPREAD_WIDTHS),
        replace(table_of(lot, _indices(system), system, "Indices, drift"), widths=_INDEX_WIDTHS),
    ]


def of_items(row: LotCharacteristic) -> str:
    """The items that it was held against, the first few by name."""
    return ", ".join(row.items[:SHOWN_ITEMS]) + (", …" if row.more_items or len(row.items) > SHOWN_ITEMS else "")


def interval(index: LotIndex | None) -> str:
    """An index with its interval."""
    if index is None:
        return "–"
    value, least, most = (
        show(number, "", "metric", INDEX_DECIMALS) for number in (index.value, index.least, index.most)
    )
    return f"{value} ({least} to {most})"


def drift_told(row: LotCharacteristic, system: System) -> str:
    """The change over the lot with its standard uncertainty, and whether it is more than chance."""
    drift = row.drift
    if drift is None:
        return "–"
    decimals = decimals_of((drift.change_standard_uncertainty,), row.unit, system)
    change, u = (
        show(number, row.unit, system, decimals) for number in (drift.change, drift.change_standard_uncertainty)
    )
    sure = "" if drift.significant else ", may be chance"
    return f"{change} (u {u}) over {'the dates' if drift.over == 'date' else 'the order of files'}{sure}"


def _decimals(row: LotCharacteristic, system: System) -> int:
    """Two significant digits of the spread, as of an uncertainty."""
    return decimals_of((row.standard_deviation,), row.unit, system)


def _names(system: System) -> list[Column[LotCharacteristic]]:
    return [
        Column("characteristic", words=lambda row: judged(row, system)),
        Column("items", words=of_items),
    ]


def _spread(system: System) -> list[Column[LotCharacteristic]]:
    def number(
        head: str, read: Callable[[LotCharacteristic], float | None], *, stated: bool = False
    ) -> Column[LotCharacteristic]:
        def words(row: LotCharacteristic) -> str:
            value, count = read(row), _decimals(row, system)
            return limit(value, count, row.unit, system) if stated else show(value, row.unit, system, count)

        return Column(head, value=read, words=words)

    return [
        *_names(system),
        number("lower", lambda row: row.lower, stated=True),
        number("upper", lambda row: row.upper, stated=True),
        number("mean", lambda row: row.mean),
        number("s", lambda row: row.standard_deviation),
        number("least", lambda row: row.least),
        number("greatest", lambda row: row.greatest),
        Column("unit", words=lambda row: display_unit(row.unit, system).label),
        Column("n", value=lambda row: row.count, words=lambda row: str(row.count)),
        Column("outside", value=lambda row: row.below + row.above, words=lambda row: str(row.below + row.above)),
        Column("missing", value=lambda row: row.missing, words=lambda row: str(row.missing)),
    ]


def _indices(system: System) -> list[Column[LotCharacteristic]]:
    return [
        *_names(system),
        Column("Pp (95 %)", words=lambda row: interval(row.pp)),
        Column("Ppk (95 %)", words=lambda row: row.reason or interval(row.ppk)),
        Column("normal", words=lambda row: _NORMAL[row.normal]),
        Column("share of u", words=lambda row: percent(row.measurement_share)),
        Column("drift over the lot", words=lambda row: drift_told(row, system)),
    ]
