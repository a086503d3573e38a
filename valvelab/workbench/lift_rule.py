"""Rule and instrument of a lift-check sheet as cells: what each shows, and the sheet with another text in it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from pydantic import ValidationError

from valvelab.errors import BadQuantity, BadSpec
from valvelab.inspection.lift_check.inspect import check_limits
from valvelab.phasing.timing import typed_event
from valvelab.phrase import Phrase
from valvelab.quantities import day
from valvelab.records.lift_check import EventRule, LiftCheckSheet
from valvelab.records.spec import DecisionRule, LimitSpec, Quantity, Selection
from valvelab.tables.lift_check import as_read
from valvelab.units import System, display_unit, parse_quantity, split_quantity
from valvelab.workbench.lift_desk import planned

Part = Literal["sheet", "instrument", "wheel", "decision", "limit", "rule"]
Read = Callable[[str, System], Any]
Show = Callable[[Any, System], str]


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell: the part of the sheet, its field, and for a row of a table its number from 0."""

    part: Part
    name: str
    row: int = 0


@dataclass(frozen=True, slots=True)
class Asked:
    """How a cell is asked for: its name, how its text is read and shown, an example, and one in inches."""

    label: str
    read: Read
    show: Show
    example: str = ""
    in_inches: str = ""

    def example_in(self, units: System) -> str:
        """The example in the units shown."""
        return self.in_inches or self.example if units == "inch" else self.example


def _text(text: str, _units: System) -> str:
    return text


def _as_text(value: Any, _units: System) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)


def _length(text: str, units: System) -> float:
    return parse_quantity(_with_unit(text, units), "length", "")


def _with_unit(text: str, units: System) -> str:
    """A typed length with the unit that is meant: without one that which is shown."""
    number, stated = split_quantity(text, "")
    return text if stated or number == 0.0 else f"{text.strip()} {display_unit('mm', units).label}"


def _small(text: str, units: System) -> float:
    """An uncertainty or a division; without a unit that which is shown."""
    found = _length(text, units)
    if found <= 0.0:
        raise BadQuantity("", repr(text), "a length above 0")
    return found


def _shown_length(value: float, units: System) -> str:
    return f"{as_read(value, units)} {display_unit('mm', units).label}"


def _number(text: str, _units: System) -> float:
    return parse_quantity(text, "number", "")


def _temperature(text: str, _units: System) -> float:
    return parse_quantity(text, "temperature", "")


def _share(text: str, _units: System) -> float:
    found = parse_quantity(text, "percent", "")
    return found / 100.0 if found > 1.0 else found


def _end(text: str, units: System) -> str:
    _length(text, units)
    return _with_unit(text, units)


def _selection(text: str, _units: System) -> Selection:
    word = text.strip().lower()
    if word in {"all", "every", "intake", "exhaust"}:
        return "all" if word in {"all", "every"} else "intake" if word == "intake" else "exhaust"
    return planned(text)


def _shown_selection(value: Selection, _units: System) -> str:
    return value if isinstance(value, str) else " ".join(value)


def _event_end(which: Literal["opening", "closing"]) -> Read:
    def read(text: str, _units: System) -> Quantity:
        typed_event(text, which, "")
        return text

    return read


def _day(text: str, _units: System) -> str:
    return day(text)


_U, _U_INCHES = "4 um", "0.00015 in"
ASKED: Mapping[tuple[Part, str], Asked] = {
    ("sheet", "event"): Asked("Event", _text, _as_text, Phrase("spring meeting")),
    ("sheet", "date"): Asked("Date", _day, _as_text, "2026-05-02"),
    ("sheet", "inspector"): Asked("Inspector", _text, _as_text),
    ("sheet", "temperature"): Asked("Engine's temperature, °C", _temperature, _as_text, "20"),
    ("instrument", "name"): Asked("Instrument", _text, _as_text, Phrase("dial 3")),
    ("instrument", "serial"): Asked("Serial number", _text, _as_text),
    ("instrument", "uncertainty_mm"): Asked("Standard uncertainty", _small, _shown_length, _U, _U_INCHES),
    ("instrument", "resolution_mm"): Asked("Division", _small, _shown_length, "0.01 mm", "0.0005 in"),
    ("instrument", "repeatability_mm"): Asked("Scatter of one reading", _small, _shown_length, "5 um", "0.0002 in"),
    ("instrument", "calibrated"): Asked("Calibrated", _day, _as_text, "2026-02-10"),
    ("instrument", "due"): Asked("Due", _day, _as_text, "2027-02-10"),
    ("wheel", "uncertainty_deg"): Asked("Wheel's uncertainty, deg", _number, _as_text, "0.25"),
    ("wheel", "tdc_uncertainty_deg"): Asked("Dead centre's, deg", _number, _as_text, "0.2"),
    ("decision", "rule"): Asked("Rule", _text, _as_text, "guarded"),
    ("decision", "confidence"): Asked("Confidence", _share, lambda value, _units: f"{100.0 * value:g} %", "95 %"),
    ("limit", "valves"): Asked("valves", _selection, _shown_selection, "all"),
    ("limit", "min"): Asked("at least", _end, _as_text),
    ("limit", "max"): Asked("at most", _end, _as_text, "10.40 mm", "0.410 in"),
    ("limit", "clause"): Asked("clause", _text, _as_text, Phrase("rules 5.2")),
    ("rule", "lift_mm"): Asked("at lift", _small, _shown_length, "1.27 mm", "0.050 in"),
    ("rule", "valves"): Asked("valves", _selection, _shown_selection, "all"),
    ("rule", "opens_min"): Asked("opens from", _event_end("opening"), _as_text),
    ("rule", "opens_max"): Asked("to", _event_end("opening"), _as_text, "14 BTDC"),
    ("rule", "closes_min"): Asked("closes from", _event_end("closing"), _as_text),
    ("rule", "closes_max"): Asked("to", _event_end("closing"), _as_text, "48 ABDC"),
    ("rule", "clause"): Asked("clause", _text, _as_text, Phrase("rules 5.3")),
}


def columns_of(part: Part) -> tuple[str, ...]:
    """Names of a part's cells in their order."""
    return tuple(name for of, name in ASKED if of == part)


def rows_of(sheet: LiftCheckSheet, part: Literal["limit", "rule"]) -> int:
    """Rows of a table of the rule, an empty one for the next among them."""
    return len(sheet.limit if part == "limit" else sheet.rule) + 1


def asked(cell: Cell) -> Asked:
    """How a cell is asked for."""
    return ASKED[cell.part, cell.name]


def shown(sheet: LiftCheckSheet, cell: Cell, units: System) -> str:
    """What a cell shows; empty where nothing is stated."""
    value = _value(sheet, cell)
    return "" if value is None else asked(cell).show(value, units)


def _value(sheet: LiftCheckSheet, cell: Cell) -> Any:
    match cell.part:
        case "limit" | "rule":
            rows = sheet.limit if cell.part == "limit" else sheet.rule
            if cell.row >= len(rows):
                return None
            row = rows[cell.row]
            if isinstance(row, LimitSpec) and cell.name == "valves":
                return row.lobes if row.valves == "all" else row.valves
            return getattr(row, cell.name)
        case "sheet":
            return getattr(sheet, cell.name)
        case _:
            return getattr(getattr(sheet, cell.part), cell.name)


def with_text(sheet: LiftCheckSheet, cell: Cell, text: str, units: System) -> LiftCheckSheet:
    """The sheet with another text in a cell; an empty one states nothing. Raises BadQuantity with one sentence."""
    label = asked(cell).label
    try:
        value = asked(cell).read(text, units) if text.strip() else None
        return _checked(_with_value(sheet, cell, value))
    except BadQuantity as error:
        raise BadQuantity(error.field or label, error.found, error.expected) from None
    except BadSpec as error:
        raise BadQuantity(error.place, error.found, error.expected) from None
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        raise BadQuantity(label, repr(text), _lower(first["msg"].removeprefix("Value error, "))) from None


def _checked(sheet: LiftCheckSheet) -> LiftCheckSheet:
    check_limits(sheet, "the rule")
    return sheet


def _with_value(sheet: LiftCheckSheet, cell: Cell, value: Any) -> LiftCheckSheet:
    if cell.part == "sheet":
        return _made(sheet, {cell.name: value})
    if cell.part == "limit":
        return _made(sheet, {"limit": _with_limit(sheet.limit, cell, value)})
    if cell.part == "rule":
        return _made(sheet, {"rule": _with_rule(sheet.rule, cell, value)})
    known = getattr(sheet, cell.part)
    kept = {**dict(known), cell.name: value}
    if value is None and isinstance(known, DecisionRule):
        kept.pop(cell.name)
    return _made(sheet, {cell.part: type(known)(**kept)})


def _made(sheet: LiftCheckSheet, fields: Mapping[str, Any]) -> LiftCheckSheet:
    return LiftCheckSheet(**{**dict(sheet), **fields})


def _with_limit(rows: tuple[LimitSpec, ...], cell: Cell, value: Any) -> tuple[LimitSpec, ...]:
    here = dict(rows[cell.row]) if cell.row < len(rows) else {"of": "rule_lift"}
    if cell.name == "valves":
        here |= {"lobes": "all", "valves": value or "all"}
    else:
        here[cell.name] = value
    if all(here.get(name) is None for name in ("min", "max", "nominal")):
        if cell.row < len(rows):
            return (*rows[: cell.row], *rows[cell.row + 1 :])
        raise BadQuantity("", "a row without an end", "at least or at most first")
    return (*rows[: cell.row], LimitSpec(**here), *rows[cell.row + 1 :])


def _with_rule(rows: tuple[EventRule, ...], cell: Cell, value: Any) -> tuple[EventRule, ...]:
    here: dict[str, Any] = dict(rows[cell.row]) if cell.row < len(rows) else {"lift_mm": 1.27}
    here[cell.name] = (value or "all") if cell.name == "valves" else value
    ends = ("opens_min", "opens_max", "closes_min", "closes_max")
    if here["lift_mm"] is None or (cell.row < len(rows) and all(here.get(name) is None for name in ends)):
        return (*rows[: cell.row], *rows[cell.row + 1 :])
    if all(here.get(name) is None for name in ends):
        raise BadQuantity("", "a row without an end", "when the valve may open or close first")
    return (*rows[: cell.row], EventRule(**here), *rows[cell.row + 1 :])


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]
