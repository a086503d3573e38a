"""Reading a degree-wheel sheet (TOML) into canonical readings."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

from valvelab.errors import BadFile, BadQuantity
from valvelab.files.spec_file import read_toml_with_source
from valvelab.phasing.degreeing import Card, CardDuration, EventReading, NosePair, SetAside, Sheet
from valvelab.records.phasing_sheet import CardRecord, PhasingSheet
from valvelab.records.result import Source
from valvelab.records.spec import Quantity
from valvelab.units import parse_angle, parse_quantity


def read_phasing_sheet(path: Path) -> tuple[Sheet, Source]:
    """The sheet's readings, canonical, and the file's identity; raises BadFile with the key of what can't be used."""
    record, source = read_toml_with_source(path, PhasingSheet)
    return to_sheet(record, str(path)), source


def to_sheet(record: PhasingSheet, file: str = "sheet") -> Sheet:
    """A typed sheet with its quantities in mm and deg; raises BadFile for a wrong unit or a lift out of range."""
    try:
        return Sheet(
            stop_deg=tuple(
                wheel_reading(value, f"[stop] readings {n}") for n, value in enumerate(record.stop.readings, start=1)
            ),
            events=tuple(
                EventReading(
                    row.lobe,
                    reading_lift(row.lift, f"[[reading]] {n} lift"),
                    _maybe(row.opening, f"[[reading]] {n} opening"),
                    _maybe(row.closing, f"[[reading]] {n} closing"),
                )
                for n, row in enumerate(record.reading, start=1)
            ),
            pairs=tuple(
                NosePair(
                    row.lobe,
                    reading_lift(row.below_peak, f"[[near_peak]] {n} below_peak"),
                    _maybe(row.rising, f"[[near_peak]] {n} rising"),
                    _maybe(row.falling, f"[[near_peak]] {n} falling"),
                )
                for n, row in enumerate(record.near_peak, start=1)
            ),
            wheel_uncertainty_deg=wheel_uncertainty(record.wheel.uncertainty),
            sense=record.wheel.sense,
            card=_card(record.card),
            steps_deg=tuple(
                parse_angle(value, "crank", f"[adjuster] steps {n}")
                for n, value in enumerate(record.adjuster.steps, start=1)
            ),
            set_aside=tuple(
                SetAside(row.of, wheel_reading(row.reading, f"[[set_aside]] {n} reading"), row.reason)
                for n, row in enumerate(record.set_aside, start=1)
            ),
            part=record.part,
            serial=record.serial,
            operator=record.operator,
            date=record.date,
        )
    except BadQuantity as error:
        raise BadFile(file, error.field, error.found, error.expected) from None


def wheel_reading(value: Quantity, field: str) -> float:
    """A wheel angle, deg; raises BadQuantity outside −360 to 720."""
    angle = parse_angle(value, "crank", field)
    if not -360.0 <= angle <= 720.0:
        raise BadQuantity(field, f"{value!r}", "a wheel reading of -360 to 720 deg")
    return angle


def _maybe(value: Quantity | None, field: str) -> float | None:
    return None if value is None else wheel_reading(value, field)


def wheel_uncertainty(value: Quantity | None) -> float | None:
    """The standard uncertainty of one reading, deg; raises BadQuantity outside 0 to 10."""
    if value is None:
        return None
    angle = parse_angle(value, "crank", "[wheel] uncertainty")
    if not 0.0 < angle <= 10.0:
        raise BadQuantity("[wheel] uncertainty", f"{value!r}", "a standard uncertainty above 0 and up to 10 deg")
    return angle


def reading_lift(value: Quantity, field: str) -> float:
    """A lift at the follower, mm; raises BadQuantity outside 0 to 50 mm."""
    # rounded to the nanometre, so that "0.050 in" and "1.27 mm" are one lift
    lift = round(parse_quantity(value, "length", field), 6)
    if not 0.0 < lift < 50.0:
        raise BadQuantity(field, f"{value!r}", "a lift above 0 and below 50 mm")
    return lift


def _card(record: CardRecord) -> Card:
    def angle(value: Quantity | None, name: str) -> float | None:
        return None if value is None else parse_angle(value, "crank", f"[card] {name}")

    return Card(
        intake_centreline_deg=angle(record.intake_centreline, "intake_centreline"),
        exhaust_centreline_deg=angle(record.exhaust_centreline, "exhaust_centreline"),
        durations=tuple(
            CardDuration(
                row.lobe,
                reading_lift(row.at, f"[[card.duration]] {n} at"),
                parse_angle(row.value, "crank", f"[[card.duration]] {n} value"),
            )
            for n, row in enumerate(record.duration, start=1)
        ),
    )


def sheet_toml(sheet: Sheet) -> str:
    """The sheet as TOML that reads back to the same sheet."""
    words = [f"{name} = {_text(value)}" for name in ("part", "serial", "operator", "date")
             if (value := getattr(sheet, name)) is not None]  # fmt: skip
    blocks = ["\n".join(words)] if words else []
    wheel = [("uncertainty", _number(sheet.wheel_uncertainty_deg)), ("sense", _text(sheet.sense))]
    blocks.append(_block("[wheel]", wheel))
    blocks.append(_block("[stop]", [("readings", _list(sheet.stop_deg))]))
    for pair in sheet.pairs:
        rows = [("lobe", _text(pair.lobe)), ("below_peak", _text(f"{pair.below_peak_mm!r} mm")),
                ("rising", _number(pair.rising_deg)), ("falling", _number(pair.falling_deg))]  # fmt: skip
        blocks.append(_block("[[near_peak]]", rows))
    for event in sheet.events:
        rows = [("lobe", _text(event.lobe)), ("lift", _text(f"{event.lift_mm!r} mm")),
                ("opening", _number(event.opening_deg)), ("closing", _number(event.closing_deg))]  # fmt: skip
        blocks.append(_block("[[reading]]", rows))
    card = sheet.card
    centrelines = [("intake_centreline", _number(card.intake_centreline_deg)),
                   ("exhaust_centreline", _number(card.exhaust_centreline_deg))]  # fmt: skip
    blocks.append(_block("[card]", centrelines))
    for row in card.durations:
        rows = [("lobe", _text(row.lobe)), ("at", _text(f"{row.at_mm!r} mm")), ("value", _number(row.value_crank_deg))]
        blocks.append(_block("[[card.duration]]", rows))
    blocks.append(_block("[adjuster]", [("steps", _list(sheet.steps_deg))]))
    for aside in sheet.set_aside:
        rows = [("of", _text(aside.of)), ("reading", _number(aside.reading_deg)), ("reason", _text(aside.reason))]
        blocks.append(_block("[[set_aside]]", rows))
    return "\n\n".join(blocks) + "\n"


def parse_sheet_toml(text: str, file: str = "sheet") -> Sheet:
    """The sheet that `sheet_toml` wrote."""
    return to_sheet(PhasingSheet.model_validate(tomllib.loads(text)), file)


def _text(words: str) -> str:
    # the escapes of a JSON string are those of a basic TOML string
    return json.dumps(words, ensure_ascii=False).replace("\x7f", "\\u007f")


def _number(value: float | None) -> str | None:
    return None if value is None else repr(float(value))


def _list(values: tuple[float, ...]) -> str:
    return f"[{', '.join(repr(float(value)) for value in values)}]"


def _block(head: str, rows: list[tuple[str, str | None]]) -> str:
    return "\n".join([head, *(f"{key} = {value}" for key, value in rows if value is not None)])
