"""The worksheet's cells as a person types, reads and hears them."""

from __future__ import annotations

from valvelab.errors import BadQuantity
from valvelab.language import marked, say
from valvelab.phasing.degreeing import WHEEL_READING, WHEEL_UNCERTAINTY, Sheet
from valvelab.quantities import CARD_ANGLE, READING_LIFT
from valvelab.units import System, display_unit, show
from valvelab.workbench.worksheet import Cell, Value, value_of


def read(cell: Cell, text: str, units: System) -> Value:
    """A typed text as the cell's value, None for an empty one; raises BadQuantity with what was expected."""
    words = text.strip()
    if not words or words == "–":
        return None
    if cell.part == "word":
        return words
    try:
        return _read(cell, words, units)
    except BadQuantity as error:
        raise BadQuantity(spoken(cell), error.found, error.expected) from None


def _read(cell: Cell, words: str, units: System) -> Value:
    if cell.part == "steps":
        parts = words.replace(";", " ").replace(", ", " ").split()
        return " ".join(f"{CARD_ANGLE.read(part.replace(',', '.')):g}" for part in parts)
    if cell.name in {"drop", "lift"}:
        return READING_LIFT.read(_with_unit(words, units))
    if cell.part == "wheel":
        return WHEEL_UNCERTAINTY.read(words)
    return (CARD_ANGLE if cell.part in {"card", "duration"} else WHEEL_READING).read(words)


def _with_unit(words: str, units: System) -> str:
    try:
        float(words.replace(",", ".").replace("−", "-"))
    except ValueError:
        return words
    return f"{words} {display_unit('mm', units).label}"


def text_of(sheet: Sheet, cell: Cell, units: System) -> str:
    """A cell's value as it stands in its field; empty while there is none."""
    value = value_of(sheet, cell)
    if value is None:
        return ""
    if isinstance(value, str):
        return value.replace("-", "−") if cell.part == "steps" else value
    if cell.name in {"drop", "lift"}:
        return trimmed(show(value, "mm", units, 4 if units == "inch" else 3), 3 if units == "inch" else 2)
    return trimmed(show(value, "deg", "metric", 3), 0)


def trimmed(text: str, least: int) -> str:
    """A number without zeros at its end beyond `least` decimals."""
    whole, point, decimals = text.partition(".")
    kept = decimals[:least] + decimals[least:].rstrip("0")
    return f"{whole}{point if kept else ''}{kept}"


_SPOKEN = {
    ("pair", "drop"): marked("lift below the peak"),
    ("pair", "rising"): marked("rising to the nose"),
    ("pair", "falling"): marked("falling from the nose"),
    ("event", "lift"): marked("checking lift"),
    ("event", "opening"): marked("opening"),
    ("event", "closing"): marked("closing"),
    ("duration", ""): marked("duration on the card"),
    ("card", "intake"): marked("intake centreline on the card, crank deg ATDC"),
    ("card", "exhaust"): marked("exhaust centreline on the card, crank deg BTDC"),
    ("wheel", "sense"): marked("sense of the wheel"),
    ("wheel", "uncertainty"): marked("standard uncertainty of one wheel reading"),
    ("steps", ""): marked("adjuster steps on the shelf, crank deg"),
}


def spoken(cell: Cell, sheet: Sheet | None = None) -> str:
    """What a cell is, in words; with its lobe where the sheet is given."""
    if cell.part == "stop":
        back = say("piston stop, touch {touch}, turning backward")
        return (back if cell.row % 2 else say("piston stop, touch {touch}, turning forward")).format(touch=cell.row + 1)
    words = say(_SPOKEN.get((cell.part, cell.name), cell.name))
    if sheet is None or cell.part not in {"pair", "event", "duration"}:
        return words
    lobe = sheet.pairs[cell.row].lobe if cell.part == "pair" else sheet.events[cell.row].lobe
    return f"{lobe} {words}"
