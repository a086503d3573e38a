"""Characteristics with their values, as lists that a table shows: of one lobe, of the whole shaft."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from valvelab.inspection.characteristics import all_characteristics, by_name, named

if TYPE_CHECKING:
    from valvelab.inspection.judging import Item
    from valvelab.inspection.lobes.inspect import LobesInspection


@dataclass(frozen=True, slots=True)
class Fact:
    """One characteristic of one item: value and standard uncertainty in `unit`, and what it means."""

    item: str
    name: str
    value: float | None
    standard_uncertainty: float | None
    unit: str
    meaning: str


def meaning_of(name: str, unit: str | None = None) -> str:
    """What a characteristic is, how it is found and where that comes from; `unit` tells two of one name apart."""
    row = next((row for row in named(name) if row.unit == unit), by_name(name))
    return "" if row is None else f"{row.meaning}\n{row.method}\nSource: {row.source}"


def _facts(items: Iterable[Item], subject: str) -> list[Fact]:
    rows = [row for row in all_characteristics() if row.subject == subject and row.needs_at is None]
    found = []
    for item in items:
        for row in rows:
            measured = item.look_up(row.name, None)
            if measured is not None:
                u = measured.u
                found.append(Fact(item.name, row.name, measured.value, u, row.unit, meaning_of(row.name)))
    return found


def lobe_facts(inspection: LobesInspection, lobe: str) -> list[Fact]:
    """Everything about one lobe that needs no checking lift, its ramps last."""
    from valvelab.inspection.lobes.characteristics import items

    facts = _facts((item for item in items(inspection.shaft, "lobe") if item.name == lobe), "lobe")
    ramps = next(row.ramps for row in inspection.result.lobes if row.lobe == lobe)
    for side, ramp in (("opening", ramps.opening), ("closing", ramps.closing)):
        if ramp is not None:
            about = f"where the {side} ramp meets the flank"
            facts.append(Fact(lobe, f"{side} ramp lift", ramp.lift_mm, None, "mm", f"lift {about}"))
            speed = ramp.velocity_mm_per_cam_deg
            facts.append(Fact(lobe, f"{side} ramp velocity", speed, None, "mm/cam deg", f"velocity {about}"))
    return facts


def shaft_facts(inspection: LobesInspection) -> list[Fact]:
    """Separations, spreads and index errors."""
    from valvelab.inspection.lobes.camshaft import index_errors
    from valvelab.inspection.lobes.characteristics import items

    facts = _facts(items(inspection.shaft, "camshaft"), "camshaft")
    for lobe, found in (inspection.shaft.once(index_errors)[0] or {}).items():
        facts.append(Fact(lobe, "index_error", found.value, found.u, "cam deg", meaning_of("index_error")))
    return facts
