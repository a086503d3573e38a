"""The valve-motion bay: a lift table behind a train, with the springs that are on the bench, and trials beside it.

Verdicts, notes and certificates are those of the train as its file states it, with readings at the retainer that were
typed here. A trial (lash, ratio, phasing, seat force, a measured spring) is only looked at: see `motion_trials`.
"""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from pathlib import Path

from valvelab.errors import BadSpec, CannotEvaluate, Reason, ValvelabError
from valvelab.inspection.engine.motion import inspect_motion, judged
from valvelab.inspection.engine.sides import motion_question
from valvelab.inspection.lobes.inspect import measured_shaft
from valvelab.inspection.springs.inspect import inspect_springs
from valvelab.language import say
from valvelab.phrase import Phrase
from valvelab.records.job import Shown
from valvelab.records.parts.part import JobPart
from valvelab.records.result import Result
from valvelab.records.spec import Spec
from valvelab.records.spring_readings import SpringTable
from valvelab.records.train import RuleReadingRecord
from valvelab.workbench import lobes_bay, springs_bay
from valvelab.workbench.background import Question
from valvelab.workbench.bay import Work
from valvelab.workbench.contents import with_text
from valvelab.workbench.document import BenchFile, Document
from valvelab.workbench.held_spec import HeldSpec, held
from valvelab.workbench.motion_files import TRAIN, Motion, MotionState, Springs, spec_in_use, train_in_use, uses
from valvelab.workbench.motion_readings import rule_readings, train_text
from valvelab.workbench.papers import part_of
from valvelab.workbench.spec_choice import files_of, noted, stamps

_SWEPT = "dynamic_separation"


def question(document: Document) -> Question[Motion] | None:
    """The lift table in use behind the train in use, not judged yet."""
    file, found = lobes_bay.table_in_use(document), train_in_use(document)
    table = None if file is None else document.value_of(file, lobes_bay.TABLE)
    if file is None or table is None or found is None:
        return None
    spec, springs = spec_in_use(document), springs_bay.table_in_use(document)
    swept = spec is not None and any(limit.of == _SWEPT for limit in spec[1].limit)
    spring_spec, spring_cards = springs_bay.spec_in_use(document), springs_bay.cards_in_use(document)
    card = lobes_bay.card_in_use(document)

    def work() -> Motion:
        measured, sources = lobes_bay.measured_table(table, card)
        asked = motion_question(measured_shaft(measured)[0], found[1], dynamics=swept)
        if not asked.lobes:
            raise CannotEvaluate(
                Reason.MISSING_INPUT, Phrase("{name}: no lobe of it could be fitted, so no valve moves", name=file.name)
            )
        try:
            inspection = inspect_motion(asked, source=(table.source, found[2], *sources), notes=measured.notes)
        except CannotEvaluate as refusal:
            raise CannotEvaluate(
                refusal.reason,
                Phrase(
                    "{name} with {other_name}: {refusal}", name=file.name, other_name=found[0].name, refusal=refusal
                ),
            ) from refusal
        tray = None if springs is None else _measured_springs(springs[1], spring_spec, spring_cards)
        return Motion(inspection, measured, tray)

    key = (swept, *stamps(document, file, found[0], card, *files_of(springs, spring_spec), *spring_cards))
    return Question(
        key, say("Inspecting {name} behind {other_name}").format(name=file.name, other_name=found[0].name), work
    )


def _measured_springs(
    table: SpringTable, spec: tuple[BenchFile, Spec] | None, cards: tuple[BenchFile, ...]
) -> Springs | None:
    try:
        inspection = inspect_springs(springs_bay.springs_question(table, spec, cards))
    except ValvelabError:  # the spring bay says what is wrong with them
        return None
    rows = springs_bay.rows_of(inspection)
    usable = tuple(row for row in rows if row.seat_force_n is not None and row.rate_n_per_mm is not None)
    return Springs(usable, inspection.fit.installed_height_mm)


def at_once(document: Document, motion: Motion | None) -> Motion | None:
    """The inspection judged, with the readings that were typed."""
    if motion is None:
        return None
    return _judged(motion, rule_readings(document, motion), held(document, spec_in_use(document)))


@lru_cache(maxsize=8)
def _judged(motion: Motion, readings: tuple[RuleReadingRecord, ...], spec_held: HeldSpec) -> Motion:
    if spec_held.found is None:
        return replace(motion, inspection=judged(motion.inspection, rule_readings=readings))
    file, spec = spec_held.found
    try:
        return replace(motion, inspection=judged(motion.inspection, spec, file.path, readings))
    except BadSpec as refusal:
        plain = judged(motion.inspection, rule_readings=readings)
        return replace(motion, inspection=replace(plain, result=noted(plain.result, refusal)))


def result(motion: Motion) -> Result:
    """The result document of the train as stated."""
    return motion.inspection.result


def parts(document: Document) -> tuple[JobPart, ...]:
    """The lift table behind the train as its file states it, the dynamic model with it."""
    file, train, card = lobes_bay.table_in_use(document), train_in_use(document), lobes_bay.card_in_use(document)
    if file is None or train is None:
        return ()
    instrument = None if card is None else Path(card.path)
    return (part_of("motion", file, spec_in_use(document), train=Path(train[0].path), instrument=instrument),)


def written(document: Document, motion: Motion) -> Document:
    """The document whose train has the readings at the retainer as they stand."""
    train = train_in_use(document)
    if train is None or rule_readings(document, motion) == train[1].rule_reading:
        return document
    return with_text(document, train[0].path, TRAIN, train_text(document, motion))


def certificate(document: Document, motion: Motion) -> Shown:
    """The valve motion's part of a certificate."""
    return Shown(motion.inspection.result, *parts(document))


WORK = Work(
    MotionState,
    question,
    result,
    parts,
    certificate,
    uses,
    at_once,
    written,
    spec=spec_in_use,
    judges=("valve", "event"),
)
