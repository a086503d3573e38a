"""A worked degree-wheel sheet as items that limits apply to."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace
from typing import Literal

from valvelab.inspection.characteristics import Subject
from valvelab.inspection.engine.phasing_doubts import Doubts
from valvelab.inspection.judging import Item
from valvelab.measured import Measured
from valvelab.phasing.degreeing import Degreeing, Estimate, LobeEvents, LobePhasing
from valvelab.phasing.timing import lobe_kind, trade_number

LACKS_WHEEL = "the wheel's uncertainty is not stated"
ANSWERED: Mapping[Subject, Collection[str]] = {"camshaft": {"lobe_separation"}, "lobe": {"duration"}}
"""What a degree wheel can answer of a camshaft's characteristics."""
_PAIRS = "a complete equal-lift pair or both events"
_ENGINE: dict[str, tuple[str, tuple[str, ...], bool]] = {
    "tdc_offset": ("needs piston-stop readings from both sides", (), True),
    "intake_centreline": (f"needs {_PAIRS} of an intake, and dead centre", ("intake",), True),
    "exhaust_centreline": (f"needs {_PAIRS} of an exhaust, and dead centre", ("exhaust",), True),
    "advance": (f"needs {_PAIRS} of an intake and of an exhaust, and dead centre", ("intake", "exhaust"), True),
    "lobe_separation": (f"needs {_PAIRS} of an intake and of an exhaust", ("intake", "exhaust"), False),
    "correction": ("needs a measured centreline and the card's", ("intake", "exhaust"), True),
    "overlap": ("an intake's opening and an exhaust's closing are not both read there", ("intake", "exhaust"), False),
}
"""Of each of the engine's values: why it is missing, whose readings it rests on, whether it counts from dead centre."""


def phasing_items(worked: Degreeing, doubts: Doubts, *, wheel_known: bool) -> dict[Subject, list[Item]]:
    """The engine, each lobe, and each lobe's events; every value says what is doubtful or unknown about it."""
    engine = _engine(worked, doubts)
    items: dict[Subject, list[Item]] = {
        "phasing": [engine],
        "camshaft": [engine],
        "lobe": [_lobe(lobe, doubts) for lobe in worked.lobes],
        "event": [_events(lobe, doubts) for lobe in worked.lobes],
    }
    return items if wheel_known else {subject: [_marked(item) for item in rows] for subject, rows in items.items()}


def _marked(item: Item) -> Item:
    """The same item, each value saying that its uncertainty lacks the wheel's."""

    def look_up(name: str, at_mm: float | None) -> Measured | None:
        found = item.look_up(name, at_mm)
        return None if found is None else replace(found, lacks=LACKS_WHEEL)

    return replace(item, look_up=look_up)


def _engine(worked: Degreeing, doubts: Doubts) -> Item:
    centre = worked.dead_centre
    estimates = {
        "tdc_offset": None if centre is None else Estimate(centre.reading_deg, centre.standard_uncertainty_deg),
        "intake_centreline": worked.intake_centreline,
        "exhaust_centreline": worked.exhaust_centreline,
        "advance": worked.advance,
        "lobe_separation": worked.lobe_separation,
        "correction": worked.correction,
    }

    def look_up(name: str, at_mm: float | None) -> Measured | None:
        if name not in _ENGINE:
            return None
        missing, kinds, from_dead_centre = _ENGINE[name]
        lobes = [lobe.lobe for lobe in worked.lobes if lobe.kind in kinds]
        estimate = estimates.get(name)
        if name == "overlap":
            estimate = next((span for lift, span in worked.overlaps if _same(lift, at_mm)), None)
        return _measured(estimate, missing, doubts.of(lobes, from_dead_centre=from_dead_centre))

    return Item("engine", None, look_up)


def _lobe(lobe: LobePhasing, doubts: Doubts) -> Item:
    def look_up(_name: str, at_mm: float | None) -> Measured | None:
        row = _row_at(lobe, at_mm)
        if row is None:
            return Measured(None, None, "the sheet has no reading at that lift")
        doubt = doubts.of([lobe.lobe], from_dead_centre=False)
        return _measured(row.duration, "opening and closing are not both read there", doubt)

    return Item(lobe.lobe, lobe_kind(lobe.lobe), look_up)


def _events(lobe: LobePhasing, doubts: Doubts) -> Item:
    """Opening and closing as the trade counts them."""

    def look_up(name: str, at_mm: float | None) -> Measured | None:
        row = _row_at(lobe, at_mm)
        if lobe.kind is None:
            return Measured(None, None, "its name says neither intake nor exhaust")
        if row is None:
            return Measured(None, None, "the sheet has no reading at that lift")
        which: Literal["opening", "closing"] = "opening" if name == "opening" else "closing"
        crank = row.opening_crank_deg if which == "opening" else row.closing_crank_deg
        event = None if crank is None else trade_number(lobe.kind, which, crank)
        estimate = None if event is None else Estimate(event, row.event_uncertainty_deg)
        doubt = doubts.of([lobe.lobe], from_dead_centre=True)
        return _measured(estimate, f"its {which} is not read there, or dead centre is not known", doubt)

    return Item(lobe.lobe, lobe.kind, look_up)


def _row_at(lobe: LobePhasing, at_mm: float | None) -> LobeEvents | None:
    return next((row for row in lobe.events if _same(row.at_mm, at_mm)), None)


def _same(lift_mm: float, other_mm: float | None) -> bool:
    return other_mm is not None and abs(lift_mm - other_mm) < 5e-4


def _measured(estimate: Estimate | None, missing: str, doubt: str) -> Measured:
    if estimate is None:
        return Measured(None, None, missing)
    return Measured(estimate.value, estimate.standard_uncertainty, doubt=doubt)
