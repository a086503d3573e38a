"""The answer of `valvelab shims`."""

from __future__ import annotations

from typing import ClassVar, Literal

from valvelab.records.result import Record, Result
from valvelab.records.spring_readings import PartKind
from valvelab.records.springs_result import ExcludedSpring, TakenSpring

BY_HAND = "by hand"
"""What notes are about that say what was decided so."""


class ShimPosition(Record):
    """What goes where: the spring, its shims (thickest first) and other parts, and what that gives.

    packer_mm: None without one. keeper_mm, retainer_mm: what they raise the spring's top by; None where the heights
    speak of none. uncertainty: standard uncertainties under the keys of their figures, None where nothing is known.
    """

    position: str
    spring: str
    shims_mm: tuple[float, ...]
    packer_mm: float | None
    keeper_mm: float | None
    retainer_mm: float | None
    installed_height_mm: float
    seat_force_n: float
    open_force_n: float | None
    coil_bind_margin_mm: float | None
    retainer_to_seal_margin_mm: float | None
    uncertainty: dict[str, float | None]


class PartMove(Record):
    """A part that changes its place: out of one position or from the shelf (None), into another or onto the shelf."""

    part: PartKind | Literal["spring"]
    spring: str | None = None
    size_mm: float | None = None
    out_of: str | None
    into: str | None


class Purchase(Record):
    """Parts of one size beyond what is in stock and in the head."""

    part: PartKind
    size_mm: float
    count: int


class ShimsResult(Result):
    """The document of `valvelab shims`.

    rms_from_target_n: root mean square of seat force less target; least_rms_from_target_n, least_spread_seat_force_n:
    the least there can be, where work and purchases count for nothing. moves: None where the heights don't say what is
    fitted now. least_work_proven: whether no plan as good asks for less; None where work was not asked about.
    """

    ITEMS: ClassVar[tuple[str, ...]] = ("positions",)
    command: Literal["shims"] = "shims"
    positions: tuple[ShimPosition, ...]
    spread_seat_force_n: float
    target_seat_force_n: float | None
    rms_from_target_n: float | None
    least_spread_seat_force_n: float | None
    least_rms_from_target_n: float | None
    left_over: tuple[str, ...]
    excluded: tuple[ExcludedSpring, ...] = ()
    taken_in: tuple[TakenSpring, ...] = ()
    moves: tuple[PartMove, ...] | None
    purchases: tuple[Purchase, ...]
    least_work_proven: bool | None
