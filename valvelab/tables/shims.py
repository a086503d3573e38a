"""Tables of shim plans: what goes where, what changes its place, what has to be bought."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial

from valvelab.decimals import figure, told, with_sign
from valvelab.language import word
from valvelab.records.shims_result import PartMove, Purchase, ShimPosition, ShimsResult
from valvelab.records.spring_readings import HeightsTable, PartKind
from valvelab.tables.description import BOX, Column, Table, table_of, u_of
from valvelab.units import System, display_unit, show

SHELF, TRAY = "shelf", "tray"
WITHOUT = "without a shim"


def shims_told(shims_mm: Sequence[float], system: System) -> str:
    """The shims of a stack, thickest first."""
    return " + ".join(figure(shim, None, "mm", system) for shim in shims_mm) or word("none")


def offset_told(offset_mm: float | None, system: System) -> str:
    """What keepers or a retainer raise the spring's top by, with its sign; an en dash where there are none."""
    text = figure(offset_mm, None, "mm", system)
    return with_sign(text) if offset_mm else text


def _without(row: ShimPosition) -> float:
    return row.installed_height_mm + sum(row.shims_mm) + (row.packer_mm or 0.0)


def _packer(row: ShimPosition, *, system: System) -> str:
    return "none" if row.packer_mm is None else figure(row.packer_mm, None, "mm", system)


def _figure(head: str, unit: str, key: str, tip: str) -> Column[ShimPosition]:
    """A figure of a row with its standard uncertainty."""
    value: Callable[[ShimPosition], float | None] = partial(_value, key=key)
    return Column(head, unit, value, u_of(key), with_u=key != "installed_height_mm", tip=tip)


def _value(row: ShimPosition, *, key: str) -> float | None:
    value: float | None = getattr(row, key)
    return value


def shim_columns(rows: Sequence[ShimPosition], system: System) -> list[Column[ShimPosition]]:
    """What a row of a shim plan says; parts that no row has are left out."""
    packed = Column("packer", "mm", words=partial(_packer, system=system), tip="Packer below the shims")
    keepers: Column[ShimPosition] = Column(
        "keepers",
        "mm",
        words=lambda row: offset_told(row.keeper_mm, system),
        tip="What the keepers raise the retainer by",
    )
    retainers: Column[ShimPosition] = Column(
        "retainer",
        "mm",
        words=lambda row: offset_told(row.retainer_mm, system),
        tip="What the retainer raises the spring's top by",
    )
    columns = [
        Column("valve", words=lambda row: row.position, tip="The valve's position"),
        Column("spring", words=lambda row: row.spring, tip="The spring that goes there"),
        Column("shims", "mm", words=lambda row: shims_told(row.shims_mm, system), tip="Shims below it, thickest first"),
        *([packed] if any(row.packer_mm is not None for row in rows) else []),
        *([keepers] if any(row.keeper_mm is not None for row in rows) else []),
        *([retainers] if any(row.retainer_mm is not None for row in rows) else []),
        Column(WITHOUT, "mm", _without, tip="Seat to retainer, without shims and packer"),
        _figure("installed height", "mm", "installed_height_mm", "Installed height with these parts"),
        _figure("seat force", "N", "seat_force_n", "Seat force at that height"),
        _figure("open force", "N", "open_force_n", "Force with the valve open"),
        _figure("coil bind margin", "mm", "coil_bind_margin_mm", "Coil-bind margin at that height"),
        _figure("retainer to seal", "mm", "retainer_to_seal_margin_mm", "What is left to the seal, valve open"),
    ]  # fmt: skip
    return [column for column in columns if column.filled(rows)]


def shim_table(result: ShimsResult, system: System) -> Table:
    """The plan, a row a valve."""
    return table_of(result.positions, shim_columns(result.positions, system), system)


def build_table(result: ShimsResult, system: System) -> Table:
    """The plan as it is read at the bench: what goes to each valve and what that gives, without uncertainties."""
    plain = [replace(column, with_u=False) for column in shim_columns(result.positions, system)]
    columns = [column for column in plain if column.head != WITHOUT]
    box: Column[ShimPosition] = Column("done", words=lambda _row: BOX)
    return table_of(result.positions, [*columns, box], system)


def stock_told(heights: HeightsTable, kind: PartKind, system: System) -> str | None:
    """The sizes of a part in stock, with how many there are where that is counted; None without any."""
    fine = 3 if system == "inch" else 2
    told = []
    for one in heights.stock.get(kind, ()):
        size = show(one.size_mm, "mm", system, fine)
        signed = with_sign(size) if kind in {"keeper", "retainer"} and one.size_mm else size
        told.append(signed if one.count is None else f"{signed} × {one.count}")
    return f"{', '.join(told)} {display_unit('mm', system).label}" if told else None


def moves_table(result: ShimsResult, system: System) -> Table:
    """A row for each part that changes its place."""
    return table_of(result.moves or (), move_columns(system), system, "What changes its place")


def move_columns(system: System) -> list[Column[PartMove]]:
    """What a row says of a part that changes its place."""
    return [
        Column("part", words=lambda row: row.part),
        Column("which", words=lambda row: _which(row, system)),
        Column("out of", words=lambda row: row.out_of or _store(row)),
        Column("into", words=lambda row: row.into or _store(row)),
    ]


def _which(row: PartMove, system: System) -> str:
    if row.part in {"keeper", "retainer"}:
        return offset_told(row.size_mm, system)
    return row.spring or figure(row.size_mm, None, "mm", system)


def _store(row: PartMove) -> str:
    return TRAY if row.part == "spring" else SHELF


def purchases_table(result: ShimsResult, system: System) -> Table:
    """A row for each size that has to be bought."""
    return table_of(result.purchases, purchase_columns(), system, "To buy")


def purchase_columns() -> list[Column[Purchase]]:
    """What a row says of a size that has to be bought."""
    return [
        Column("part", words=lambda row: row.part),
        Column("size", "mm", lambda row: row.size_mm),
        Column("count", value=lambda row: float(row.count), usual=(0, 0)),
    ]


def stays_told(result: ShimsResult) -> str:
    """The valves at which nothing is touched; nothing where the heights don't say what is fitted now."""
    if result.moves is None:
        return ""
    touched = {place for row in result.moves for place in (row.out_of, row.into)}
    stays = [row.position for row in result.positions if row.position not in touched]
    return f"Stays as it is: {', '.join(stays)}." if stays else "No valve stays as it is."


def spread_told(result: ShimsResult, system: System) -> str:
    """How far apart the seat forces of a plan lie, and the target where there is one."""
    spread = told(result.spread_seat_force_n, "N", system)
    if result.target_seat_force_n is None:
        return word("Seat forces lie within {spread}.").format(spread=spread)
    aimed = word("Seat forces lie within {spread}, target {target}.")
    return aimed.format(spread=spread, target=told(result.target_seat_force_n, "N", system))
