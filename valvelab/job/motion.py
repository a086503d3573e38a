"""The valve motion of a job: what the valve does behind its train."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from valvelab.errors import CannotEvaluate
from valvelab.files.train_file import read_train
from valvelab.inspection.engine.motion import CAUTION, MotionInspection, inspect_motion
from valvelab.inspection.engine.sides import motion_question
from valvelab.inspection.lobes.inspect import measured_shaft
from valvelab.job.lift import lift_table_of
from valvelab.job.typed import checking_lifts
from valvelab.job.use import Around, Asked, Told, Use
from valvelab.phrase import Phrase
from valvelab.records.measurement import LiftTable
from valvelab.records.motion_result import MotionResult
from valvelab.records.parts.motion import MotionPart
from valvelab.tables.engine import (
    clearance_tables,
    contact_tables,
    control_tables,
    event_table,
    lift_table,
    reading_tables,
)
from valvelab.units import System

if TYPE_CHECKING:  # what draws paper is loaded where paper is asked for
    from valvelab.report.assembly import Part

Motion = Asked[LiftTable, MotionInspection]


def inspect(part: MotionPart, around: Around) -> Motion:
    """The inspection that a part asks for."""
    lifts = checking_lifts(part.at)
    train, train_source = read_train(part.train)
    spec, sources = around.specs.of(part.spec)
    table, cards = lift_table_of(part)
    read = (table.source, train_source, *sources, *cards)
    try:
        question = motion_question(measured_shaft(table)[0], train, lifts, not part.no_dynamics)
        return Asked(table, inspect_motion(question, spec, read, str(part.spec or ""), table.notes))
    except CannotEvaluate as error:
        raise CannotEvaluate(
            error.reason, Phrase("{file} with {train}: {error}", file=part.file, train=part.train, error=error)
        ) from error


def tables(asked: Motion, system: System) -> Sequence[Told]:
    """Lift, readings at the retainer, events, clearance, control, contact."""
    result = asked.inspection.result
    return [
        lift_table(result, system),
        *reading_tables(result, system),
        event_table(result, system),
        *clearance_tables(result, system),
        *control_tables(result, system),
        *contact_tables(result, system),
    ]


def paper(asked: Motion, system: System) -> Part:
    """The valve motion's part of a certificate."""
    from valvelab.report.engine_certificate import motion_part
    from valvelab.report.lobes_certificate import identity

    table = asked.question
    return motion_part(asked.inspection, system, identity(table, system), table.serial)


USE = Use(MotionPart, MotionResult, inspect, tables, paper, lambda _asked, _system: (CAUTION,))
