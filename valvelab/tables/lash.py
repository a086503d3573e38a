"""Tables of lash set by shims: what goes into each valve, what has to be bought, what is left."""

from __future__ import annotations

from collections import Counter

from valvelab.decimals import figure, percent
from valvelab.inspection.engine.lash import LashShim
from valvelab.language import word, word_many
from valvelab.records.lash import LashPurchase, LashResult, LashValve
from valvelab.tables.description import BOX, Column, Table, table_of, u_of
from valvelab.units import System, display_unit

_SLACK_MM = 1e-9
_FROM = {"stays": "stays", "shelf": "shelf", "bought": "to buy"}


def from_told(row: LashValve | LashShim) -> str:
    """Where a shim comes from."""
    return word("out of {valve}").format(valve=row.from_valve) if row.origin == "head" else word(_FROM[row.origin])


def shim_columns() -> list[Column[LashShim]]:
    """A shim that a valve could have."""
    return [
        Column("shim", "mm", lambda row: row.size_mm, tip="A size that is at hand or sold"),
        Column("from", words=from_told, tip="Where it is nearest at hand"),
        Column("lash", "mm", lambda row: row.lash_mm, tip="Lash with that shim"),
    ]


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
        Column("in the band", words=_chance, tip="Chance that the lash is in its band"),
        Column("at least", "mm", lambda row: row.lower_mm, tip="Lower end of the band"),
        Column("at most", "mm", lambda row: row.upper_mm, tip="Upper end of the band"),
    ]


def _chance(row: LashValve) -> str:
    if row.chance_in_band is not None:
        return percent(row.chance_in_band) + ("" if row.in_band else word(", out"))
    return word("yes") if row.in_band else word("no")


def lash_table(result: LashResult, system: System) -> Table:
    """A row a valve."""
    return table_of(result.valves, lash_columns(), system)


def bench_table(result: LashResult, system: System) -> Table:
    """The same as it is read at the bench."""
    return table_of(result.valves, lash_columns(bench=True), system)


def purchase_columns() -> list[Column[LashPurchase]]:
    """A size to buy and how many of it."""
    return [
        Column("size", "mm", lambda row: row.size_mm),
        Column("count", value=lambda row: float(row.count), usual=(0, 0)),
    ]


def purchases_table(result: LashResult, system: System) -> Table:
    """A row for each size to buy."""
    return table_of(result.purchases, purchase_columns(), system, "To buy")


def plan_told(result: LashResult) -> str:
    """The plan in a line: `6 valves out of the band: 4 moved between valves, buy 2 shims`."""
    out = sum(not row.lower_mm - _SLACK_MM <= row.clearance_mm <= row.upper_mm + _SLACK_MM for row in result.valves)
    origins = Counter(row.origin for row in result.valves)
    work = [
        word("{count} moved between valves").format(count=origins["head"]) if origins["head"] else "",
        word("{count} from the shelf").format(count=origins["shelf"]) if origins["shelf"] else "",
        word_many("buy {count} shim", "buy {count} shims", origins["bought"]) if origins["bought"] else "",
    ]
    left = sum(not row.in_band for row in result.valves)
    some = word_many("{count} valve out of the band", "{count} valves out of the band", out)
    found = some if out else word("No valve out of the band")
    text = f"{found}: {', '.join(filter(None, work)) or word('nothing to do')}"
    return word("{text}; {count} can't be helped").format(text=text, count=left) if left else text


def lash_headline(result: LashResult) -> str:
    """The plan in a line, and that it brings every valve into its band where it does."""
    moved = any(row.origin != "stays" for row in result.valves)
    helped = moved and all(row.in_band for row in result.valves)
    plan = plan_told(result)
    return word("{plan}; then all {count} are in it").format(plan=plan, count=len(result.valves)) if helped else plan


def lash_told(result: LashResult, system: System) -> str:
    """The plan in a line, how many valves come into their band by it, and what is left over."""
    held = sum(row.in_band for row in result.valves)
    then = word("{plan}. Then {held} of {count} valves are in their band.")
    text = then.format(plan=plan_told(result), held=held, count=len(result.valves))
    return " ".join(filter(None, (text, spare_told(result, system))))


def spare_told(result: LashResult, system: System) -> str:
    """What is left over, or nothing, such as `Onto the shelf: 2.550, 2.720 mm`."""
    if not result.spare_mm:
        return ""
    sizes = Counter(figure(size, None, "mm", system) for size in result.spare_mm)
    spare = ", ".join(size if many == 1 else f"{many} × {size}" for size, many in sizes.items())
    return word("Onto the shelf: {sizes} {unit}.").format(sizes=spare, unit=display_unit("mm", system).label)
