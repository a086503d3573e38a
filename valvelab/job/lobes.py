"""The lobes of a job: a lift table, its spec with nominal tables; lobe and camshaft characteristics."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from valvelab.errors import BadFile, BadQuantity, CannotEvaluate, WrongUsage
from valvelab.files.lift_table import read_lift_table
from valvelab.files.spec_file import nominal_path
from valvelab.follower.shapes import parse_shape
from valvelab.inspection.lobes.characteristics import result_model
from valvelab.inspection.lobes.inspect import LobesInspection, LobesQuestion, inspect_lobes
from valvelab.job.lift import lift_table_of
from valvelab.job.typed import checking_lifts
from valvelab.job.use import Around, Told, Use
from valvelab.phrase import Phrase
from valvelab.records.parts.lobes import LobesPart
from valvelab.tables.lobes import lobe_tables
from valvelab.units import System

if TYPE_CHECKING:  # what draws paper is loaded where paper is asked for
    from valvelab.report.assembly import Part


def inspect(part: LobesPart, around: Around) -> LobesInspection:
    """The inspection that a part asks for."""
    question = _question(part)
    lift_table, cards = lift_table_of(part)
    spec, sources = around.specs.of(part.spec)
    nominals = {}
    if spec is not None and part.spec is not None:
        nominals = {
            envelope.nominal: read_lift_table(nominal_path(part.spec, envelope, number))
            for number, envelope in enumerate(spec.envelope, start=1)
        }
    sources = (*sources, *cards, *{nominal.source.sha256: nominal.source for nominal in nominals.values()}.values())
    try:
        return inspect_lobes(lift_table, spec, nominals, question, str(part.spec or ""), sources)
    except CannotEvaluate as error:  # it knows no file, and is told which one was being inspected
        raise CannotEvaluate(error.reason, Phrase("{file}: {error}", file=part.file, error=error)) from error


def _question(part: LobesPart) -> LobesQuestion:
    lifts = checking_lifts(part.at)
    try:
        shape = None if part.convert is None else parse_shape(part.convert, "--convert")
    except BadQuantity as error:
        raise WrongUsage(str(error)) from None
    return LobesQuestion(
        added_lifts_mm=lifts,
        take_out_eccentricity=not part.keep_eccentricity,
        keep_zero=part.table_zero,
        convert_to=shape,
    )


def tables(inspection: LobesInspection, system: System) -> Sequence[Told]:
    """Lobes, durations, contour, camshaft."""
    return [lobe_tables(inspection, system)]


def card(inspection: LobesInspection, ending: str, system: System) -> bytes | str:
    """The cam card of the shaft, as a page (.pdf) or as a spec (.toml); refused where its lifts may be others."""
    from valvelab.inspection.lobes.cam_card import measured_card

    spec, table = inspection.spec, inspection.table
    if table.lift_at == "valve":
        raise BadFile(table.file, "lift at", "valve", "follower: a cam card states lifts and events there")
    if doubtful := next((note.text for note in inspection.result.notes if note.about == "unit"), None):
        raise BadFile(table.file, "unit", doubtful, "columns with their units, before a cam card is written")
    found = measured_card(inspection.result, None if spec is None else spec.card)
    if ending == ".toml":
        from valvelab.files.cam_card_file import cam_card_toml

        return cam_card_toml(found.record, table.part if spec is None or spec.title is None else spec.title)
    from valvelab.report.build_sheet import build_sheet
    from valvelab.report.cam_card_page import card_page

    return build_sheet(card_page(inspection, found, system), system)


def paper(inspection: LobesInspection, system: System) -> Part:
    """The camshaft's part of a certificate."""
    from valvelab.report.lobes_certificate import lobes_part

    return lobes_part(inspection, system)


USE = Use(LobesPart, result_model, inspect, tables, paper, card=card)
