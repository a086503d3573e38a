"""Reading a degree-wheel sheet (TOML) into canonical readings."""

from __future__ import annotations

from pathlib import Path

from valvelab.errors import BadFile, BadQuantity
from valvelab.files.spec_file import read_toml_with_source
from valvelab.phasing.degreeing import Card, CardDuration, EventReading, NosePair, Sheet
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
                _reading(value, f"[stop] readings {n}") for n, value in enumerate(record.stop.readings, start=1)
            ),
            events=tuple(
                EventReading(
                    row.lobe,
                    _lift(row.lift, f"[[reading]] {n} lift"),
                    _maybe(row.opening, f"[[reading]] {n} opening"),
                    _maybe(row.closing, f"[[reading]] {n} closing"),
                )
                for n, row in enumerate(record.reading, start=1)
            ),
            pairs=tuple(
                NosePair(
                    row.lobe,
                    _lift(row.below_peak, f"[[near_peak]] {n} below_peak"),
                    _maybe(row.rising, f"[[near_peak]] {n} rising"),
                    _maybe(row.falling, f"[[near_peak]] {n} falling"),
                )
                for n, row in enumerate(record.near_peak, start=1)
            ),
            wheel_uncertainty_deg=_uncertainty(record.wheel.uncertainty),
            sense=record.wheel.sense,
            card=_card(record.card),
            steps_deg=tuple(
                parse_angle(value, "crank", f"[adjuster] steps {n}")
                for n, value in enumerate(record.adjuster.steps, start=1)
            ),
            part=record.part,
            serial=record.serial,
            operator=record.operator,
            date=record.date,
        )
    except BadQuantity as error:
        raise BadFile(file, error.field, error.found, error.expected) from None


def _reading(value: Quantity, field: str) -> float:
    angle = parse_angle(value, "crank", field)
    if not -360.0 <= angle <= 720.0:
        raise BadQuantity(field, f"{value!r}", "a wheel reading of -360 to 720 deg")
    return angle


def _maybe(value: Quantity | None, field: str) -> float | None:
    return None if value is None else _reading(value, field)


def _uncertainty(value: Quantity | None) -> float | None:
    if value is None:
        return None
    angle = parse_angle(value, "crank", "[wheel] uncertainty")
    if not 0.0 < angle <= 10.0:
        raise BadQuantity("[wheel] uncertainty", f"{value!r}", "a standard uncertainty above 0 and up to 10 deg")
    return angle


def _lift(value: Quantity, field: str) -> float:
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
                _lift(row.at, f"[[card.duration]] {n} at"),
                parse_angle(row.value, "crank", f"[[card.duration]] {n} value"),
            )
            for n, row in enumerate(record.duration, start=1)
        ),
    )
