"""The answer of `valvelab compare`: what changed from one measurement of a part to a later one."""

from __future__ import annotations

from typing import ClassVar, Literal

from valvelab.records.result import Record, Result

ComparedKind = Literal["lobes", "springs"]
READ_BY: dict[str, ComparedKind] = {
    "lobes": "lobes", "motion": "lobes", "springs": "springs", "sets": "springs", "shims": "springs",
}  # fmt: skip
"""What the file of a use holds that can be compared."""


class DifferenceCurve(Record):
    """After − before over cam angle from the earlier lobe's centre, best-fit shift and zero taken out."""

    angle_cam_deg: tuple[float, ...]
    difference_um: tuple[float, ...]


class LobeChange(Record):
    """One lobe, later less earlier; a positive shift is later, wear is the greatest loss of lift."""

    lobe: str
    shift_cam_deg: float | None
    zero_um: float | None
    rms_um: float | None
    worst_um: float | None
    worst_angle_cam_deg: float | None
    max_lift_change_mm: float | None
    wear_um: float | None
    uncertainty: dict[str, float | None]
    curve: DifferenceCurve


class SpringChange(Record):
    """One spring, later less earlier."""

    spring: str
    seat_force_change_n: float | None
    open_force_change_n: float | None
    rate_change_n_per_mm: float | None
    free_length_change_mm: float | None
    seat_force_change_pct: float | None
    uncertainty: dict[str, float | None]


class CompareResult(Result):
    """The document of `valvelab compare`; the items that only one of the two holds are named."""

    ITEMS: ClassVar[tuple[str, ...]] = ("lobes", "springs")
    command: Literal["compare"] = "compare"
    kind: ComparedKind
    lobes: tuple[LobeChange, ...] = ()
    springs: tuple[SpringChange, ...] = ()
    only_before: tuple[str, ...] = ()
    only_after: tuple[str, ...] = ()
