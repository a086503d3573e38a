"""Repeated indicator readings at the retainers: typed at the bay, or stated in the train."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from valvelab.errors import BadFile
from valvelab.files.contents import read_contents
from valvelab.files.spec_file import parse_toml
from valvelab.files.toml_text import toml_table
from valvelab.records.train import ReadingSetAsideRecord, RuleReadingRecord, Train
from valvelab.workbench import edits
from valvelab.workbench.document import Document
from valvelab.workbench.motion_files import Motion, MotionState, TypedReadings, train_in_use
from valvelab.workbench.state import with_item


def rule_readings(document: Document, motion: Motion) -> tuple[RuleReadingRecord, ...]:
    """Readings at the retainer: those typed for a valve, else the train's."""
    stated, typed = motion.inspection.question.train.rule_reading, document.state(MotionState).readings
    names = [lobe.name for lobe in motion.inspection.question.lobes]
    kept = [row for row in stated if row.valve not in names]
    for name in names:
        own = typed.get(name)
        if own is None:
            kept += [row for row in stated if row.valve == name]
        elif own.values_mm:
            aside = tuple(ReadingSetAsideRecord(reading=place + 1, reason=reason) for place, reason in own.set_aside)
            row = RuleReadingRecord(valve=name, readings_mm=own.values_mm, uncertainty_mm=own.u_mm, set_aside=aside)
            kept.append(row)
    return tuple(kept)


def readings_of(document: Document, motion: Motion, valve: str) -> tuple[tuple[float, ...], float | None]:
    """One valve's readings and the indicator's standard uncertainty."""
    typed = document.state(MotionState).readings.get(valve)
    if typed is not None:
        return typed.values_mm, typed.u_mm
    rows = [row for row in rule_readings(document, motion) if row.valve == valve]
    u = next((row.uncertainty_mm for row in rows if row.uncertainty_mm), None)
    return tuple(value for row in rows for value in row.readings_mm), u


def set_aside_of(document: Document, motion: Motion, valve: str) -> dict[int, str]:
    """One valve's readings that don't count, by their place among all of its readings, from 0, with the reason."""
    found: dict[int, str] = {}
    start = 0
    for row in rule_readings(document, motion):
        if row.valve == valve:
            found |= {start + place: reason for place, reason in row.aside}
            start += len(row.readings_mm)
    return found


def with_readings(
    document: Document,
    valve: str,
    values: tuple[float, ...],
    u: float | None,
    set_aside: Mapping[int, str] | None = None,
) -> Document:
    """The document with a valve's readings at the retainer; `set_aside` by their place, from 0, with the reason."""
    aside = tuple((place, " ".join(reason.split())) for place, reason in sorted((set_aside or {}).items()))
    typed = with_item(document.state(MotionState).readings, valve, TypedReadings(values, u or None, aside))
    return edits.set_fields(document, MotionState, readings=typed)


def train_text(document: Document, motion: Motion) -> str:
    """The train's file with the readings at the retainer as they stand; BadFile where it can't be written so."""
    train = train_in_use(document)
    assert train is not None
    text = read_contents(train[0].given).data.decode("utf-8-sig")
    readings = rule_readings(document, motion)
    made = _without_readings(text).rstrip() + "\n" + "".join(_reading_block(row) for row in readings)
    expected = train[1].model_copy(update={"rule_reading": readings})
    if parse_toml(made.encode(), train[0].name, Train) != expected:
        raise BadFile(train[0].name, "[[rule_reading]]", "a form that can't be rewritten", "tables at the file's end")
    return made


def _without_readings(text: str) -> str:
    kept, inside = [], False
    for line in text.splitlines():
        start = line.strip()
        if start.startswith("["):
            inside = start.replace(" ", "").startswith(("[[rule_reading]]", "[[rule_reading.set_aside]]"))
        if not inside:
            kept.append(line)
    return "\n".join(kept)


def _reading_block(row: RuleReadingRecord) -> str:
    own = {name: getattr(row, name) for name in ("valve", "readings_mm", "uncertainty_mm")}
    tables = [("[[rule_reading]]", own), *(("[[rule_reading.set_aside]]", dict(aside)) for aside in row.set_aside)]
    return "\n" + "".join(f"{toml_table(head, values)}\n" for head, values in tables)


def saved_as(document: Document, motion: Motion, path: str) -> Document:
    """The document after the train was written to `path`: that file is read anew and in use."""
    readings = document.state(MotionState).readings
    for lobe in motion.inspection.question.lobes:
        readings = with_item(readings, lobe.name, None)
    cleared = edits.set_fields(document, MotionState, readings=readings)
    with_file = edits.add_files(edits.forget_file(cleared, path), [path])
    return replace(with_file, current={**with_file.current, "train": path})
