"""Which cell of the worksheet comes next, and which are in doubt."""

from __future__ import annotations

from dataclasses import dataclass

from valvelab.language import say
from valvelab.phasing.degreeing import Degreeing, Sheet, same_lift
from valvelab.phasing.next_reading import NextReading
from valvelab.phasing.plausibility import findings
from valvelab.workbench.worksheet import Cell, Part, add_event, add_pair, value_of


def doubts(sheet: Sheet, worked: Degreeing) -> dict[Cell, str]:
    """Cells whose readings are in doubt, with the first sentence that says why; a lobe's own cell stands for all."""
    found: dict[Cell, str] = {}
    for finding in findings(sheet, worked):
        cells = [cell for cell in _cells_about(sheet, finding.about) if value_of(sheet, cell) in finding.readings]
        if not cells and finding.about == "stop":
            cells = [Cell("stop", row) for row in range(len(sheet.stop_deg))]
        if not cells:
            part: Part = "wheel" if finding.about == "wheel" else "lobe"
            cells = [Cell(part, name="sense" if part == "wheel" else finding.about)]
        for cell in cells:
            found.setdefault(cell, say(finding.sentence))
    return found


def _cells_about(sheet: Sheet, about: str) -> list[Cell]:
    cells = []
    for n, pair in enumerate(sheet.pairs):
        if about in {pair.lobe, f"{pair.lobe} near peak"}:
            cells += [Cell("pair", n, name) for name in ("rising", "falling")]
    for n, event in enumerate(sheet.events):
        if about in {event.lobe, f"{event.lobe} at {event.lift_mm:g} mm"}:
            cells += [Cell("event", n, name) for name in ("opening", "closing")]
    return cells


@dataclass(frozen=True, slots=True)
class Target:
    """Where the next reading goes: the cell, on the sheet with a row for it. `again`: it replaces a doubtful one."""

    sheet: Sheet
    cell: Cell
    again: bool = False


def target(sheet: Sheet, step: NextReading, doubtful: dict[Cell, str]) -> Target | None:
    """The cell that the next reading fills; None when all is read, or the doubt is of no single reading."""
    if step.what == "done":
        return None
    if step.what in {"rising", "falling"} and step.lobe is not None:
        return _pair_target(sheet, step.lobe, step.what, step.lift_mm)
    if step.what in {"opening", "closing"} and step.lobe is not None and step.lift_mm is not None:
        return _event_target(sheet, step.lobe, step.what, step.lift_mm)
    if step.what == "repeat" and doubtful:
        cell = next((cell for cell in doubtful if cell.part in {"stop", "pair", "event"}), None)
        return None if cell is None else Target(sheet, cell, again=True)
    return Target(sheet, Cell("stop", len(sheet.stop_deg)))


def _pair_target(sheet: Sheet, lobe: str, what: str, drop_mm: float | None) -> Target:
    for n, pair in enumerate(sheet.pairs):
        if pair.lobe == lobe and (pair.rising_deg is None or pair.falling_deg is None):
            return Target(sheet, Cell("pair", n, what))
    return Target(add_pair(sheet, lobe, drop_mm), Cell("pair", len(sheet.pairs), what))


def _event_target(sheet: Sheet, lobe: str, what: str, lift_mm: float) -> Target:
    for n, event in enumerate(sheet.events):
        if event.lobe == lobe and same_lift(event.lift_mm, lift_mm):
            return Target(sheet, Cell("event", n, what))
    return Target(add_event(sheet, lobe, lift_mm), Cell("event", len(sheet.events), what))
