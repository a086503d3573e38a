"""The degree-wheel worksheet as cells: what each holds, and the rows they stand in.

Every function returns a new sheet; the sheet itself is `phasing.degreeing.Sheet`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal, TypeVar

from valvelab.phasing.degreeing import CardDuration, EventReading, NosePair, Sheet, same_lift
from valvelab.phasing.timing import lobe_kind

Part = Literal["stop", "pair", "event", "duration", "card", "wheel", "steps", "word", "lobe"]
Value = float | str | None
STOP_CELLS = 4
USUAL_LIFT_MM = 1.27
Row = TypeVar("Row")


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell: its part, the row there (of stops, pairs, events; a duration's row is its event's), its name."""

    part: Part
    row: int = 0
    name: str = ""


def blank_sheet() -> Sheet:
    """A new sheet: cylinder 1, one pair and one checking lift a lobe, nothing read."""
    lobes = ("1I", "1E")
    return Sheet(
        pairs=tuple(NosePair(lobe, USUAL_LIFT_MM) for lobe in lobes),
        events=tuple(EventReading(lobe, USUAL_LIFT_MM) for lobe in lobes),
    )


def lobes_of(sheet: Sheet) -> tuple[str, ...]:
    """Lobes with rows, intakes first."""
    names = dict.fromkeys([*(pair.lobe for pair in sheet.pairs), *(event.lobe for event in sheet.events)])
    order = {"intake": 0, "exhaust": 1}
    return tuple(sorted(names, key=lambda lobe: order.get(lobe_kind(lobe) or "", 2)))


def stop_cells(sheet: Sheet) -> tuple[Cell, ...]:
    """Touches, as many as are usual, and always room for two more than there are."""
    count = max(STOP_CELLS, 2 * ((len(sheet.stop_deg) + 1) // 2))
    return tuple(Cell("stop", row) for row in range(count))


def lobe_rows(sheet: Sheet, lobe: str) -> tuple[tuple[Cell, ...], ...]:
    """The rows of a lobe, pairs before events: lift, first reading, second reading, and a card's duration."""
    pairs = tuple(
        (Cell("pair", n, "drop"), Cell("pair", n, "rising"), Cell("pair", n, "falling"))
        for n, pair in enumerate(sheet.pairs)
        if pair.lobe == lobe
    )
    events = tuple(
        (Cell("event", n, "lift"), Cell("event", n, "opening"), Cell("event", n, "closing"), Cell("duration", n))
        for n, event in enumerate(sheet.events)
        if event.lobe == lobe
    )
    return (*pairs, *events)


def reading_cells(sheet: Sheet) -> tuple[Cell, ...]:
    """Every cell of the sheet's rows that a reading of the wheel goes into."""
    pairs = (Cell("pair", n, name) for n in range(len(sheet.pairs)) for name in ("rising", "falling"))
    events = (Cell("event", n, name) for n in range(len(sheet.events)) for name in ("opening", "closing"))
    return (*stop_cells(sheet), *pairs, *events)


def value_of(sheet: Sheet, cell: Cell) -> Value:
    """What a cell holds; None while it is empty."""
    return _GETTERS[cell.part](sheet, cell)


def with_value(sheet: Sheet, cell: Cell, value: Value) -> Sheet:
    """The sheet with another value in a cell; None empties it (a lift can't be emptied)."""
    return _SETTERS[cell.part](sheet, cell, value)


def _number(value: Value) -> float | None:
    return value if isinstance(value, float) else None


def _stop(sheet: Sheet, cell: Cell) -> Value:
    return sheet.stop_deg[cell.row] if cell.row < len(sheet.stop_deg) else None


def _with_stop(sheet: Sheet, cell: Cell, value: Value) -> Sheet:
    stops, number = sheet.stop_deg, _number(value)
    new = () if number is None else (number,)
    return replace(sheet, stop_deg=(*stops[: cell.row], *new, *stops[cell.row + 1 :]))


def _pair(sheet: Sheet, cell: Cell) -> Value:
    pair = sheet.pairs[cell.row]
    return {"drop": pair.below_peak_mm, "rising": pair.rising_deg, "falling": pair.falling_deg}[cell.name]


def _with_pair(sheet: Sheet, cell: Cell, value: Value) -> Sheet:
    pair, number = sheet.pairs[cell.row], _number(value)
    if cell.name == "rising":
        pair = replace(pair, rising_deg=number)
    elif cell.name == "falling":
        pair = replace(pair, falling_deg=number)
    elif number is not None:
        pair = replace(pair, below_peak_mm=number)
    return replace(sheet, pairs=_replaced(sheet.pairs, cell.row, pair))


def _event(sheet: Sheet, cell: Cell) -> Value:
    event = sheet.events[cell.row]
    return {"lift": event.lift_mm, "opening": event.opening_deg, "closing": event.closing_deg}[cell.name]


def _with_event(sheet: Sheet, cell: Cell, value: Value) -> Sheet:
    event, number = sheet.events[cell.row], _number(value)
    if cell.name == "opening":
        event = replace(event, opening_deg=number)
    elif cell.name == "closing":
        event = replace(event, closing_deg=number)
    elif number is not None:
        # the card's duration goes with the lift that it was stated for
        row = _card_row(sheet, event)
        rows = tuple(replace(one, at_mm=number) if one is row else one for one in sheet.card.duration)
        sheet = replace(sheet, card=replace(sheet.card, duration=rows))
        event = replace(event, lift_mm=number)
    return replace(sheet, events=_replaced(sheet.events, cell.row, event))


def _duration(sheet: Sheet, cell: Cell) -> Value:
    row = _card_row(sheet, sheet.events[cell.row])
    return None if row is None else row.value_crank_deg


def _with_duration(sheet: Sheet, cell: Cell, value: Value) -> Sheet:
    event, number = sheet.events[cell.row], _number(value)
    kept = tuple(row for row in sheet.card.duration if not _same_lift(row, event))
    if number is not None:
        kept = (*kept, CardDuration(event.lobe, event.lift_mm, number))
    return replace(sheet, card=replace(sheet.card, duration=kept))


def _card_row(sheet: Sheet, event: EventReading) -> CardDuration | None:
    return next((row for row in sheet.card.duration if _same_lift(row, event)), None)


def _same_lift(row: CardDuration, event: EventReading) -> bool:
    return row.lobe == event.lobe and same_lift(row.at_mm, event.lift_mm)


def _card(sheet: Sheet, cell: Cell) -> Value:
    return sheet.card.intake_centreline_deg if cell.name == "intake" else sheet.card.exhaust_centreline_deg


def _with_card(sheet: Sheet, cell: Cell, value: Value) -> Sheet:
    if cell.name == "intake":
        return replace(sheet, card=replace(sheet.card, intake_centreline_deg=_number(value)))
    return replace(sheet, card=replace(sheet.card, exhaust_centreline_deg=_number(value)))


def _wheel(sheet: Sheet, cell: Cell) -> Value:
    return sheet.sense if cell.name == "sense" else sheet.wheel_uncertainty_deg


def _with_wheel(sheet: Sheet, cell: Cell, value: Value) -> Sheet:
    if cell.name == "sense":
        return replace(sheet, sense="reverse" if value == "reverse" else "forward")
    return replace(sheet, wheel_uncertainty_deg=_number(value))


def _steps(sheet: Sheet, _cell: Cell) -> Value:
    return " ".join(f"{step:g}" for step in sheet.steps_deg) or None


def _with_steps(sheet: Sheet, _cell: Cell, value: Value) -> Sheet:
    return replace(sheet, steps_deg=tuple(float(word) for word in str(value or "").split()))


def _word(sheet: Sheet, cell: Cell) -> Value:
    return {"part": sheet.part, "serial": sheet.serial, "operator": sheet.operator, "date": sheet.date}[cell.name]


def _with_word(sheet: Sheet, cell: Cell, value: Value) -> Sheet:
    word = None if value is None else str(value)
    match cell.name:
        case "part":
            return replace(sheet, part=word)
        case "serial":
            return replace(sheet, serial=word)
        case "operator":
            return replace(sheet, operator=word)
        case _:
            return replace(sheet, date=word)


_GETTERS: dict[Part, Callable[[Sheet, Cell], Value]] = {
    "stop": _stop, "pair": _pair, "event": _event, "duration": _duration, "card": _card, "wheel": _wheel,
    "steps": _steps, "word": _word, "lobe": lambda _sheet, cell: cell.name,
}  # fmt: skip
_SETTERS: dict[Part, Callable[[Sheet, Cell, Value], Sheet]] = {
    "stop": _with_stop, "pair": _with_pair, "event": _with_event, "duration": _with_duration, "card": _with_card,
    "wheel": _with_wheel, "steps": _with_steps, "word": _with_word, "lobe": lambda sheet, _cell, _value: sheet,
}  # fmt: skip


def _replaced(rows: tuple[Row, ...], at: int, row: Row) -> tuple[Row, ...]:
    return (*rows[:at], row, *rows[at + 1 :])


def add_pair(sheet: Sheet, lobe: str, drop_mm: float | None = None) -> Sheet:
    """One more pair; half the largest drop of the lobe so far where none is given."""
    drops = [pair.below_peak_mm for pair in sheet.pairs if pair.lobe == lobe]
    drop = drop_mm or (round(0.5 * max(drops), 3) if drops else USUAL_LIFT_MM)
    return replace(sheet, pairs=(*sheet.pairs, NosePair(lobe, drop)))


def add_event(sheet: Sheet, lobe: str, lift_mm: float | None = None) -> Sheet:
    """Events at one more lift; four times the largest so far where none is given."""
    lifts = [event.lift_mm for event in sheet.events if event.lobe == lobe]
    lift = lift_mm or (round(4.0 * max(lifts), 3) if lifts else USUAL_LIFT_MM)
    return replace(sheet, events=(*sheet.events, EventReading(lobe, lift)))


def add_lobe(sheet: Sheet, lobe: str) -> Sheet:
    """A pair and events of another lobe; the sheet as it is where the lobe has rows already."""
    name = lobe.strip()
    if not name or name in lobes_of(sheet):
        return sheet
    return add_event(add_pair(sheet, name), name)


def without_row(sheet: Sheet, cell: Cell) -> Sheet:
    """The sheet without the row of a cell."""
    if cell.part == "pair":
        return replace(sheet, pairs=(*sheet.pairs[: cell.row], *sheet.pairs[cell.row + 1 :]))
    emptied = _with_duration(sheet, cell, None)
    return replace(emptied, events=(*sheet.events[: cell.row], *sheet.events[cell.row + 1 :]))
