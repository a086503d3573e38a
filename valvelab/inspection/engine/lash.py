"""Lash set by shims: which shim goes into which valve, and what any choice of them gives."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import field

import numpy as np

from valvelab.conformity.decision import probability_conforming
from valvelab.errors import CannotEvaluate, Reason
from valvelab.frozen import frozen
from valvelab.phrase import Phrase
from valvelab.records.lash import LashPurchase, LashReading, LashResult, LashTable, LashValve, Origin
from valvelab.records.result import Note, info, warning
from valvelab.valve_motion.lash import (
    BOUGHT,
    HEAD,
    SHELF,
    ShimPool,
    choose_lash_shims,
    lash_uncertainty,
    wanted_shim,
)

SAME_MM = 1e-6
HALVINGS = 50


@frozen
class LashInspection:
    """The sheet, by which any other choice of shims can be evaluated; the shim of each valve; the result."""

    table: LashTable
    shims_mm: tuple[float, ...]
    result: LashResult


@frozen
class LashEvaluation:
    """What a choice of shims gives: a row a valve, what has to be bought, what is left, and what can't be had."""

    valves: tuple[LashValve, ...]
    purchases: tuple[LashPurchase, ...]
    spare_mm: tuple[float, ...]
    refusals: tuple[str, ...] = field(default=())


def inspect_lash(
    table: LashTable, fixed: Mapping[str, float] | None = None, further: tuple[Note, ...] = ()
) -> LashInspection:
    """The shim of each valve; `fixed` are chosen already, by valve, `further` is what else is to be said."""
    shims = solve_lash(table, fixed)
    found = evaluate_lash(table, shims)
    if found.refusals:
        raise CannotEvaluate(Reason.NOT_FEASIBLE, Phrase("{file}: {error}", file=table.file, error=found.refusals[0]))
    result = LashResult(
        source=(table.source,),
        notes=(*table.notes, *further, *_notes(table, found)),
        valves=found.valves,
        purchases=found.purchases,
        spare_mm=found.spare_mm,
    )
    return LashInspection(table, shims, result)


def solve_lash(table: LashTable, fixed: Mapping[str, float] | None = None) -> tuple[float, ...]:
    """The shim of each valve, in mm: the most valves in their band, then the fewest bought, from the shelf, touched.

    fixed: shims that are chosen already, by valve; CannotEvaluate for one that can't be had, or a valve there is not.
    """
    fixed = fixed or {}
    names = [one.valve for one in table.valves]
    for valve in fixed:
        if valve not in names:
            raise CannotEvaluate(
                Reason.NOT_FEASIBLE,
                Phrase(
                    "{file}: a shim fixed to {valve}, a valve it does not have", file=table.file, valve=f"{valve!r}"
                ),
            )
    pool = _pool(table)
    wanted = np.array([_wanted(one) for one in table.valves])
    taken: dict[int, int] = {}
    for number, name in enumerate(names):
        if name in fixed:
            taken[number] = _had(table, pool, fixed[name], number, set(taken.values()))
    free = [number for number in range(len(names)) if number not in taken]
    left = np.array([place for place in range(pool.size_mm.size) if place not in set(taken.values())], dtype=np.int64)
    shims = {number: float(pool.size_mm[place]) for number, place in taken.items()}
    if free:
        room = tuple(
            np.array([_room(table, table.valves[number], stays=stays) for number in free]) for stays in (True, False)
        )
        at = np.full(len(names), -1, dtype=np.int64)
        at[free] = np.arange(len(free))
        owner = pool.valve[left]
        rest = ShimPool(pool.size_mm[left], pool.origin[left], np.where(owner >= 0, at[owner], -1))
        chosen = choose_lash_shims(wanted[free], (room[0], room[1]), rest)
        shims |= {number: float(rest.size_mm[place]) for number, place in zip(free, chosen, strict=True)}
    return tuple(shims[number] for number in range(len(names)))


def _wanted(one: LashReading) -> float:
    return wanted_shim(one.clearance_mm, one.shim_mm, one.wanted.wanted_mm)


def _pool(table: LashTable) -> ShimPool:
    """Every shim that may go in: those of the head, those on the shelf, and of each size sold one for every valve.

    A size on the shelf that nobody counted is there for every valve.
    """
    many = len(table.valves)
    sizes = [one.shim_mm for one in table.valves]
    origin, valve = [HEAD] * many, list(range(many))
    shelf = [(one.size_mm, SHELF, many if one.count is None else min(one.count, many)) for one in table.shelf]
    for size, where, count in [*shelf, *((size, BOUGHT, many) for size in table.sold_mm)]:
        sizes += [size] * count
        origin += [where] * count
        valve += [-1] * count
    return ShimPool(np.array(sizes), np.array(origin), np.array(valve))


def _had(table: LashTable, pool: ShimPool, size_mm: float, valve: int, gone: set[int]) -> int:
    """The nearest at hand of the free shims of a size: the valve's own, the head's, the shelf's, bought."""
    fits = [place for place in np.flatnonzero(np.abs(pool.size_mm - size_mm) < SAME_MM).tolist() if place not in gone]
    if not fits:
        name = table.valves[valve].valve
        raise CannotEvaluate(
            Reason.NOT_FEASIBLE,
            Phrase(
                "{file}: {size} mm fixed to {name}, a shim not to be had",
                file=table.file,
                size=f"{size_mm:g}",
                name=f"{name!r}",
            ),
        )
    return min(fits, key=lambda place: (pool.valve[place] != valve, pool.origin[place], place))


@frozen
class LashShim:
    """A shim that one valve could have: its size in mm, where it comes from, whose it was, and the lash it gives."""

    size_mm: float
    origin: Origin
    from_valve: str | None
    lash_mm: float


def shims_for(table: LashTable, valve: str) -> tuple[LashShim, ...]:
    """Every size that leaves a valve no lash below 0, each from where it is nearest at hand; the best lash first."""
    pool = _pool(table)
    number = next(at for at, one in enumerate(table.valves) if one.valve == valve)
    one = table.valves[number]
    found = []
    for size in np.unique(np.round(pool.size_mm, 6)).tolist():
        place = _had(table, pool, size, number, set())
        origin, whose = _whence(table, pool, place, number)
        lash = one.clearance_mm + one.shim_mm - size
        if lash >= 0.0:
            found.append(LashShim(size, origin, whose, lash))
    return tuple(sorted(found, key=lambda shim: abs(shim.lash_mm - one.wanted.wanted_mm)))


def _whence(table: LashTable, pool: ShimPool, place: int, valve: int) -> tuple[Origin, str | None]:
    """Where a shim of the pool comes from for one valve, and out of which other valve."""
    owner = int(pool.valve[place])
    origin: Origin = "stays" if owner == valve else _ORIGINS[int(pool.origin[place])]
    return origin, table.valves[owner].valve if origin == "head" else None


def _room(table: LashTable, one: LashReading, *, stays: bool) -> float:
    """How far a lash may be from the one wanted and still count as in its band, in mm; below 0: never."""
    band, least = one.wanted.band_mm, table.least_chance
    u = lash_uncertainty(table.feeler_u_mm, table.micrometer_u_mm, stays=stays)
    if least is None or u is None:
        return band
    if probability_conforming(0.0, u, -band, band) < least:
        return -1.0
    low, high = 0.0, band
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if probability_conforming(middle, u, -band, band) >= least else (low, middle)
    return low


def evaluate_lash(table: LashTable, shims_mm: tuple[float, ...]) -> LashEvaluation:
    """What any choice of shims gives, one a valve in the order of the sheet, mm; nothing is searched for.

    A shim that stays comes first, then those out of other valves, the shelf, and the shop.
    """
    pool = _pool(table)
    origins, gone, refusals = _origins(table, pool, shims_mm)
    rows = []
    for number, (one, size) in enumerate(zip(table.valves, shims_mm, strict=True)):
        place = origins[number]
        origin, whose = ("bought", None) if place is None else _whence(table, pool, place, number)
        u = lash_uncertainty(table.feeler_u_mm, table.micrometer_u_mm, stays=origin == "stays")
        lash, band, wanted = one.clearance_mm + one.shim_mm - size, one.wanted.band_mm, one.wanted.wanted_mm
        lower, upper = wanted - band, wanted + band
        rows.append(
            LashValve(
                valve=one.valve,
                kind=one.kind,
                clearance_mm=one.clearance_mm,
                fitted_shim_mm=one.shim_mm,
                wanted_lash_mm=wanted,
                lower_mm=lower,
                upper_mm=upper,
                wanted_shim_mm=_wanted(one),
                shim_mm=size,
                origin=origin,
                from_valve=whose,
                lash_mm=lash,
                in_band=bool(abs(lash - wanted) <= _room(table, one, stays=origin == "stays") + SAME_MM),
                chance_in_band=None if u is None else probability_conforming(lash, u, lower, upper),
                uncertainty={"lash_mm": u},
            )
        )
    bought = Counter(round(row.shim_mm, 6) for row in rows if row.origin == "bought")
    spare = (one.shim_mm for number, one in enumerate(table.valves) if number not in gone)
    purchases = tuple(LashPurchase(size_mm=size, count=count) for size, count in sorted(bought.items()))
    return LashEvaluation(tuple(rows), purchases, tuple(sorted(spare)), refusals)


_ORIGINS: tuple[Origin, ...] = ("head", "shelf", "bought")


def _origins(
    table: LashTable, pool: ShimPool, shims_mm: tuple[float, ...]
) -> tuple[list[int | None], set[int], tuple[str, ...]]:
    """The shim of the pool that each valve gets, None for one that can't be had; those taken; why some can't."""
    found: list[int | None] = [None] * len(shims_mm)
    gone: set[int] = set()
    refusals = []
    staying = [number for number, size in enumerate(shims_mm) if abs(size - pool.size_mm[number]) < SAME_MM]
    order = [*staying, *(number for number in range(len(shims_mm)) if number not in set(staying))]
    for number in order:
        try:
            place = _had(table, pool, shims_mm[number], number, gone)
        except CannotEvaluate as error:
            refusals.append(str(error).removeprefix(f"{table.file}: "))
            continue
        found[number] = place
        gone.add(place)
    return found, gone, tuple(refusals)


def _notes(table: LashTable, found: LashEvaluation) -> Iterator[Note]:
    """What is out of its band, what is not known, and what the answer rests on."""
    out = [row.valve for row in found.valves if not row.in_band]
    if out:
        least = (
            ""
            if table.least_chance is None
            else Phrase(" with a chance of {least_chance} %", least_chance=f"{100.0 * table.least_chance:g}")
        )
        text = Phrase(
            "no shim at hand or sold brings them into their band{least}: {names}", least=least, names=", ".join(out)
        )
        yield warning("lash", text)
    if table.feeler_u_mm is None:
        yield warning(
            "feeler uncertainty", Phrase("neither it nor the feeler's step is stated: no chance of being in the band")
        )
    elif table.micrometer_u_mm is None:
        yield warning("micrometer uncertainty", Phrase("not stated: the chances leave the shims' thickness out"))
    if not table.sold_mm:
        yield info("shims sold", Phrase("no sizes are stated: nothing was bought"))
