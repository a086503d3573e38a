"""The lift check of a job: a sheet of readings at the retainer held against its own rule."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from valvelab.errors import BadFile
from valvelab.files.adopted_uncertainty import read_adopted_length
from valvelab.files.contents import Given
from valvelab.files.lift_check_sheet import read_lift_check_sheet
from valvelab.inspection.lift_check.inspect import CAUTION, Known, LiftCheckInspection, inspect_lift_check
from valvelab.job.use import Around, Told, Use
from valvelab.records.lift_check import EventRule, LiftCheckSheet
from valvelab.records.lift_check_result import LiftCheckResult
from valvelab.records.parts.liftcheck import LiftCheckPart
from valvelab.records.result import Source, warning
from valvelab.records.spec import LimitSpec
from valvelab.tables.lift_check import lift_check_tables
from valvelab.units import System

if TYPE_CHECKING:  # what draws paper is loaded where paper is asked for
    from valvelab.report.assembly import Part

Row = TypeVar("Row", LimitSpec, EventRule)
_OTHER = "the sheet names the instrument {!r}, the card is that of {!r}"


def inspect(part: LiftCheckPart, around: Around) -> LiftCheckInspection:
    """The inspection that a part asks for."""
    sheet, source = read_lift_check_sheet(part.file)
    sheet = _only(sheet, part)
    if not sheet.check:
        raise BadFile(str(part.file), "", "no [[check]]", "a valve that was read")
    known, files = known_instrument(sheet, part.file, part.instrument, part.gauge)
    spec, sources = around.specs.of(part.spec)
    return inspect_lift_check(sheet, known, (source, *files, *sources), str(part.file), spec, str(part.spec or ""))


def _only(sheet: LiftCheckSheet, part: LiftCheckPart) -> LiftCheckSheet:
    """The sheet with the cars that are wanted."""
    if not part.item:
        return sheet
    unknown = next((name for name in part.item if name not in sheet.items()), None)
    if unknown is not None:
        raise BadFile(str(part.file), "[[check]] item", f"no {unknown!r}", ", ".join(sheet.items()) or "a check")
    kept = tuple(row for row in sheet.check if row.item in part.item)
    elsewhere = {row.valve for row in sheet.check} - {row.valve for row in kept}
    limit = _without(sheet.limit, elsewhere, ("valves", "lobes"))
    rule = _without(sheet.rule, elsewhere, ("valves",))
    return sheet.model_copy(update={"check": kept, "limit": limit, "rule": rule})


def _without(rows: Iterable[Row], valves: Collection[str], keys: Iterable[str]) -> tuple[Row, ...]:
    """Rows of a rule without the valves that were read on other cars; those on no other valve are left out."""
    found = []
    for row in rows:
        named = {key: names for key in keys if not isinstance(names := getattr(row, key), str)}
        left = {key: tuple(name for name in names if name not in valves) for key, names in named.items()}
        if all(left.values()):
            found.append(row.model_copy(update=left))
    return tuple(found)


def known_instrument(
    sheet: LiftCheckSheet, path: Path, card: Given | None = None, gauge: Given | None = None
) -> tuple[Known, tuple[Source, ...]]:
    """What is known of the sheet's instrument, with the files that say so; the larger uncertainty counts.

    card, gauge: an instrument's card and an adopted uncertainty that win over those that the sheet names.
    """
    known, named, sources = Known.stated(sheet.instrument), sheet.beside(path), []
    if (adopted := gauge or named.get("adopted")) is not None:
        _, value, source = read_adopted_length(adopted)
        known = known.adopting(value, Path(source.file).name)
        sources.append(source)
    if (card := card or named.get("card")) is not None:
        from valvelab.files.instrument_card import read_instrument_card

        found, source = read_instrument_card(card)
        if found.dimension != "length":
            raise BadFile(source.file, "unit", f"{found.unit!r}, a card of forces", "one of lengths")
        name = sheet.instrument.name
        notes = () if name is None or found.is_of(name) else (warning("instrument", _OTHER.format(name, found.name)),)
        known = replace(known, notes=(*known.notes, *notes)).by_card(found, source.sha256, sheet.date)
        sources.append(source)
    return known, tuple(sources)


def named_files(part: LiftCheckPart) -> Iterable[Path]:
    """Files that the sheet names."""
    return read_lift_check_sheet(part.file)[0].beside(part.file).values()


def tables(inspection: LiftCheckInspection, system: System) -> Sequence[Told]:
    """Lift of every valve, and events."""
    return lift_check_tables(inspection.result, system)


def closing(_inspection: LiftCheckInspection, _system: System) -> Sequence[str]:
    """The caution."""
    return (CAUTION,)


def paper(inspection: LiftCheckInspection, system: System) -> Part:
    """The event's part of a certificate."""
    from valvelab.report.lift_check_certificate import lift_check_part

    return lift_check_part(inspection, system)


USE = Use(LiftCheckPart, LiftCheckResult, inspect, tables, paper, closing, named_files)
