"""The page of a cam card."""

from __future__ import annotations

from typing import TYPE_CHECKING

from valvelab.report.page_model import BuildSheet
from valvelab.tables.cam_card import card_table, card_told
from valvelab.units import System

if TYPE_CHECKING:
    from valvelab.inspection.lobes.cam_card import MeasuredCard
    from valvelab.inspection.lobes.inspect import LobesInspection

CAUTION = "Check the clearance of valves and pistons by hand before the engine turns on its starter."


def card_page(inspection: LobesInspection, card: MeasuredCard, system: System) -> BuildSheet:
    """What the page shows; what the readings warn of stands on it."""
    table, spec, result = inspection.table, inspection.spec, inspection.result
    words = (spec and spec.title, table.part, f"serial {table.serial}" if table.serial else None, table.date)
    warned = (f"{note.about}: {note.text}" for note in result.notes if note.level == "warning")
    line = " · ".join(dict.fromkeys(word for word in words if word)) or table.file
    return BuildSheet(
        "Cam card",
        line,
        card_table(card, system),
        (*card_told(card, system), *warned),
        result.source,
        signed="fitted by, date",
        caution=CAUTION,
    )
