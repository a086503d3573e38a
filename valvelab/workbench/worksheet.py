"""The degree-wheel worksheet as cells: what each holds, how a person types it, which one comes next, which are in doubt.

Every function returns a new sheet; the sheet itself is `phasing.degreeing.Sheet`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal, TypeVar

from valvelab.units import System, display_unit, show

if TYPE_CHECKING:
    from valvelab.phasing.degreeing import CardDuration, Degreeing, EventReading, NosePair, Sheet
    from valvelab.phasing.next_reading import NextReading

Part = Literal["stop", "pair", "event", "duration", "card", "wheel", "steps", "word", "lobe"]
Value = float | str | None
STOP_CELLS = 4
USUAL_LIFT_MM = 1.27
SAME_LIFT_MM = 5e-4
Row = TypeVar("Row")


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell: its part, the row there (of stops, pairs, events; a duration's row is its event's), its name."""

    part: Part
    row: int = 0
    name: str = ""


def blank_sheet() -> Sheet:
    """A new sheet: cylinder 1, one pair and one checking lift a lobe, nothing read."""
    from valvelab.phasing.degreeing import EventReading, NosePair, Sheet

    lobes = ("1I", "1E")
    return Sheet(
        pairs=tuple(NosePair(lobe, USUAL_LIFT_MM) for lobe in lobes),
        events=tuple(EventReading(lobe, USUAL_LIFT_MM) for lobe in lobes),
    )


def lobes_of(sheet: Sheet) -> tuple[str, ...]:
    """Lobes with rows, intakes first."""
    from valvelab.phasing.timing import lobe_kind

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


def value_of(sheet: Sheet, cell: Cell) -> Value:
    """What a cell holds; None while it is empty."""
    match cell.part:
        case "stop":
            return sheet.stop_deg[cell.row] if cell.row < len(sheet.stop_deg) else None
        case "pair":
            pair = sheet.pairs[cell.row]
            return {"drop": pair.below_peak_mm, "rising": pair.rising_deg, "falling": pair.falling_deg}[cell.name]
        case "event":
            event = sheet.events[cell.row]
            return {"lift": event.lift_mm, "opening": event.opening_deg, "closing": event.closing_deg}[cell.name]
        case "duration":
            row = _card_row(sheet, sheet.events[cell.row])
            return None if row is None else row.value_crank_deg
        case "card":
            card = sheet.card
            return card.intake_centreline_deg if cell.name == "intake" else card.exhaust_centreline_deg
        case "wheel":
            return sheet.sense if cell.name == "sense" else sheet.wheel_uncertainty_deg
        case "steps":
            return " ".join(f"{step:g}" for step in sheet.steps_deg) or None
        case "word":
            word = getattr(sheet, cell.name)
            return None if word is None else str(word)
        case _:
            return None


def with_value(sheet: Sheet, cell: Cell, value: Value) -> Sheet:
    """The sheet with another value in a cell; None empties it (a lift can't be emptied)."""
    number = value if isinstance(value, float) else None
    match cell.part:
        case "stop":
            return replace(sheet, stop_deg=_with_stop(sheet.stop_deg, cell.row, number))
        case "pair":
            return replace(sheet, pairs=_replaced(sheet.pairs, cell.row, _pair_with(sheet.pairs[cell.row], cell, number)))
        case "event":
            return _with_event(sheet, cell, number)
        case "duration":
            return _with_duration(sheet, sheet.events[cell.row], number)
        case "card" if cell.name == "intake":
            return replace(sheet, card=replace(sheet.card, intake_centreline_deg=number))
        case "card":
            return replace(sheet, card=replace(sheet.card, exhaust_centreline_deg=number))
        case "wheel" if cell.name == "sense":
            return replace(sheet, sense="reverse" if value == "reverse" else "forward")
        case "wheel":
            return replace(sheet, wheel_uncertainty_deg=number)
        case "steps":
            return replace(sheet, steps_deg=tuple(float(word) for word in str(value or "").split()))
        case "word":
            return replace(sheet, **{cell.name: None if value is None else str(value)})
        case _:
            return sheet


def _replaced(rows: tuple[Row, ...], at: int, row: Row) -> tuple[Row, ...]:
    return (*rows[:at], row, *rows[at + 1 :])


def _with_stop(stops: tuple[float, ...], row: int, value: float | None) -> tuple[float, ...]:
    if row >= len(stops):
        return stops if value is None else (*stops, value)
    return (*stops[:row], *(() if value is None else (value,)), *stops[row + 1 :])


def _pair_with(pair: NosePair, cell: Cell, value: float | None) -> NosePair:
    if cell.name == "rising":
        return replace(pair, rising_deg=value)
    if cell.name == "falling":
        return replace(pair, falling_deg=value)
    return pair if value is None else replace(pair, below_peak_mm=value)


def _with_event(sheet: Sheet, cell: Cell, value: float | None) -> Sheet:
    event = sheet.events[cell.row]
    if cell.name == "opening":
        return replace(sheet, events=_replaced(sheet.events, cell.row, replace(event, opening_deg=value)))
    if cell.name == "closing":
        return replace(sheet, events=_replaced(sheet.events, cell.row, replace(event, closing_deg=value)))
    if value is None:
        return sheet
    # the card's duration goes with the lift that it was stated for
    row = _card_row(sheet, event)
    rows = tuple(replace(one, at_mm=value) if one is row else one for one in sheet.card.durations)
    moved = replace(sheet, card=replace(sheet.card, durations=rows))
    return replace(moved, events=_replaced(sheet.events, cell.row, replace(event, lift_mm=value)))


def _card_row(sheet: Sheet, event: EventReading) -> CardDuration | None:
    for row in sheet.card.durations:
        if row.lobe == event.lobe and abs(row.at_mm - event.lift_mm) < SAME_LIFT_MM:
            return row
    return None


def _with_duration(sheet: Sheet, event: EventReading, value: float | None) -> Sheet:
    from valvelab.phasing.degreeing import CardDuration

    known = _card_row(sheet, event)
    kept = tuple(row for row in sheet.card.durations if row is not known)
    if value is not None:
        kept = (*kept, CardDuration(event.lobe, event.lift_mm, value))
    return replace(sheet, card=replace(sheet.card, durations=kept))


def add_pair(sheet: Sheet, lobe: str, drop_mm: float | None = None) -> Sheet:
    """One more pair; half the largest drop of the lobe so far where none is given."""
    from valvelab.phasing.degreeing import NosePair

    drops = [pair.below_peak_mm for pair in sheet.pairs if pair.lobe == lobe]
    drop = drop_mm or (round(0.5 * max(drops), 3) if drops else USUAL_LIFT_MM)
    return replace(sheet, pairs=(*sheet.pairs, NosePair(lobe, drop)))


def add_event(sheet: Sheet, lobe: str, lift_mm: float | None = None) -> Sheet:
    """Events at one more lift; four times the largest so far where none is given."""
    from valvelab.phasing.degreeing import EventReading

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
    emptied = _with_duration(sheet, sheet.events[cell.row], None)
    return replace(emptied, events=(*sheet.events[: cell.row], *sheet.events[cell.row + 1 :]))


# -- as a person types and reads it -----------------------------------------------------------------------------------


def read(cell: Cell, text: str, units: System) -> Value:
    """A typed text as the cell's value, None for an empty one; raises BadQuantity with what was expected."""
    from valvelab.files.phasing_sheet import reading_lift, wheel_reading, wheel_uncertainty
    from valvelab.units import parse_angle

    words = text.strip()
    if not words or words == "–":
        return None
    if cell.part == "word":
        return words
    if cell.part == "steps":
        parts = words.replace(";", " ").replace(", ", " ").split()
        return " ".join(f"{parse_angle(part.replace(',', '.'), 'crank', 'adjuster step'):g}" for part in parts)
    if cell.name in {"drop", "lift"}:
        return reading_lift(_with_unit(words, units), spoken(cell))
    if cell.part == "wheel":
        return wheel_uncertainty(words)
    if cell.part in {"card", "duration"}:
        return parse_angle(words, "crank", spoken(cell))
    return wheel_reading(words, spoken(cell))


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


def spoken(cell: Cell, sheet: Sheet | None = None) -> str:
    """What a cell is, in words."""
    lobe = ""
    if sheet is not None and cell.part == "pair":
        lobe = f"{sheet.pairs[cell.row].lobe} "
    elif sheet is not None and cell.part in {"event", "duration"}:
        lobe = f"{sheet.events[cell.row].lobe} "
    match cell.part:
        case "stop":
            way = "backward" if cell.row % 2 else "forward"
            return f"piston stop, touch {cell.row + 1}, turning {way}"
        case "pair":
            words = {"drop": "lift below the peak", "rising": "rising to the nose", "falling": "falling from the nose"}
            return lobe + words[cell.name]
        case "event":
            return lobe + {"lift": "checking lift", "opening": "opening", "closing": "closing"}[cell.name]
        case "duration":
            return f"{lobe}duration on the card"
        case "card":
            side = "ATDC" if cell.name == "intake" else "BTDC"
            return f"{cell.name} centreline on the card, crank deg {side}"
        case "wheel":
            return "sense of the wheel" if cell.name == "sense" else "standard uncertainty of one wheel reading"
        case "steps":
            return "adjuster steps on the shelf, crank deg"
        case _:
            return cell.name


# -- the guide --------------------------------------------------------------------------------------------------------


def doubts(sheet: Sheet, worked: Degreeing) -> dict[Cell, str]:
    """Cells whose readings are in doubt, with the first sentence that says why; a lobe's own cell stands for all."""
    from valvelab.phasing.plausibility import findings

    found: dict[Cell, str] = {}
    for finding in findings(sheet, worked):
        cells = [cell for cell in _cells_about(sheet, finding.about) if value_of(sheet, cell) in finding.readings]
        if not cells and finding.about == "stop":
            cells = [Cell("stop", row) for row in range(len(sheet.stop_deg))]
        if not cells:
            part: Part = "wheel" if finding.about == "wheel" else "lobe"
            cells = [Cell(part, name="sense" if part == "wheel" else finding.about)]
        for cell in cells:
            found.setdefault(cell, finding.sentence)
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
        if event.lobe == lobe and abs(event.lift_mm - lift_mm) < SAME_LIFT_MM:
            return Target(sheet, Cell("event", n, what))
    return Target(add_event(sheet, lobe, lift_mm), Cell("event", len(sheet.events), what))
