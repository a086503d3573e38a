"""Tables of lash set by shims: what goes into each valve, what has to be bought, what is left."""

from __future__ import annotations

from valvelab.decimals import figure, percent
from valvelab.records.lash import LashPurchase, LashResult, LashValve
from valvelab.tables.description import BOX, Column, Table, table_of, u_of
from valvelab.units import System, display_unit

_FROM = {"stays": "stays", "shelf": "shelf", "bought": "to buy"}


def from_told(row: LashValve) -> str:
    """Where a shim comes from."""
    return f"out of {row.from_valve}" if row.origin == "head" else _FROM[row.origin]


def lash_columns(*, bench: bool = False) -> list[Column[LashValve]]:
    """What a row says; bench: what is read while the shims go in."""
    shim: list[Column[LashValve]] = [
        Column("valve", words=lambda row: row.valve, tip="The valve"),
        Column("fitted shim", "mm", lambda row: row.fitted_shim_mm, tip="The shim that was in it"),
        Column("clearance", "mm", lambda row: row.clearance_mm, tip="Clearance as measured"),
        Column("new shim", "mm", lambda row: row.shim_mm, tip="The shim that goes in"),
        Column("from", words=from_told, tip="Where it comes from"),
        Column("lash", "mm", lambda row: row.lash_mm, u_of("lash_mm"), with_u=not bench, tip="Lash with that shim"),
    ]
    if bench:
        return [*shim, Column("done", words=lambda _row: BOX)]
    return [
        *shim[:3],
        Column("wanted shim", "mm", lambda row: row.wanted_shim_mm, tip="The shim that gives the lash wanted"),
        *shim[3:],
        Column("at least", "mm", lambda row: row.lower_mm, tip="Lower end of the band"),
        Column("at most", "mm", lambda row: row.upper_mm, tip="Upper end of the band"),
        Column("in the band", words=_chance, tip="Chance that the lash is in its band"),
    ]


def _chance(row: LashValve) -> str:
    if row.chance_in_band is not None:
        return percent(row.chance_in_band) + ("" if row.in_band else ", out")
    return "yes" if row.in_band else "no"


def lash_table(result: LashResult, system: System) -> Table:
    """A row a valve."""
    return table_of(result.valves, lash_columns(), system)


def bench_table(result: LashResult, system: System) -> Table:
    """The same as it is read at the bench."""
    return table_of(result.valves, lash_columns(bench=True), system)


def purchases_table(result: LashResult, system: System) -> Table:
    """A row for each size to buy."""
    columns: list[Column[LashPurchase]] = [
        Column("size", "mm", lambda row: row.size_mm),
        Column("count", value=lambda row: float(row.count), usual=(0, 0)),
    ]
    return table_of(result.purchases, columns, system, "To buy")


def lash_told(result: LashResult, system: System) -> str:
    """How many valves come into their band, and with what."""
    held = sum(row.in_band for row in result.valves)
    text = f"{held} of {len(result.valves)} valves in their band; "
    counts = [(sum(row.origin == origin for row in result.valves), word) for origin, word in _COUNTED]
    text += ", ".join(f"{count} {word}" for count, word in counts if count) + "."
    if result.spare_mm:
        spare = ", ".join(figure(size, None, "mm", system) for size in result.spare_mm)
        text += f" Onto the shelf: {spare} {display_unit('mm', system).label}."
    return text


_COUNTED = (
    ("stays", "stay as they are"), ("head", "take a shim out of another"), ("shelf", "take one from the shelf"),
    ("bought", "need one that is to be bought"),
)  # fmt: skip
