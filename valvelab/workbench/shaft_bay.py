"""The shaft bay: readings round each journal, a spec, an uncertainty adopted from a gauge study."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from valvelab.camshaft.journal import JournalForm
from valvelab.files.adopted_uncertainty import with_adopted_probe
from valvelab.inspection.form.measured import at_place
from valvelab.inspection.form.shaft import ShaftInspection, ShaftQuestion, inspect_shaft
from valvelab.language import say
from valvelab.records.form_measurement import ShaftReadings
from valvelab.records.gauge_result import AdoptedUncertainty
from valvelab.records.job import Shown
from valvelab.records.parts.part import JobPart
from valvelab.records.result import Result
from valvelab.records.spec import Spec
from valvelab.workbench.background import Partly, Question
from valvelab.workbench.bay import Work, front_item
from valvelab.workbench.document import BenchFile, Document, Kind
from valvelab.workbench.papers import part_of
from valvelab.workbench.spec_choice import files_of, inspected_to, sources_of, spec_for, stamps
from valvelab.workbench.state import BayState, entered

NAME = "shaft"
JUDGES = ("station", "shaft")
READINGS: Kind[ShaftReadings] = Kind("shaft readings")
ADOPTED: Kind[AdoptedUncertainty] = Kind("adopted uncertainty")
FILTERS = (("", "As read"), ("50", "50"), ("15", "15"))
"""Undulations per turn that the form is limited to: the usual cutoffs of ISO 12181-2 that journals are judged at."""


@dataclass(frozen=True, slots=True)
class ShaftState(BayState):
    """What is looked at, and the filter chosen of `FILTERS`."""

    bay = NAME
    journal: str = ""
    undulations: str = entered("", "Filter", text="filter", edit="filter the form")
    page: str = "journals"


def spec_in_use(document: Document) -> tuple[BenchFile, Spec] | None:
    """The spec in use among those with limits on journals or the shaft."""
    return spec_for(document, JUDGES)


def uses(document: Document) -> tuple[BenchFile, ...]:
    """Readings, spec and adopted uncertainty of the question."""
    return files_of(document.in_use(READINGS), spec_in_use(document), document.in_use(ADOPTED))


def undulations(document: Document) -> int | None:
    """The filter chosen, None for the form as read."""
    chosen = document.state(ShaftState).undulations
    return int(chosen) if chosen.isdecimal() else None


def question(document: Document) -> Question[ShaftInspection] | None:
    """Evaluate the readings in use against the spec in use."""
    read = document.value_in_use(READINGS)
    if read is None:
        return None
    readings = read[1]
    found, adopted, cut = spec_in_use(document), document.in_use(ADOPTED), undulations(document)

    def work() -> ShaftInspection | Partly[ShaftInspection]:
        plain = ShaftQuestion(readings, cut)
        if adopted is not None:
            measured, source = with_adopted_probe(readings, adopted.given)
            plain = ShaftQuestion(measured, cut, other_sources=(source,))
        if found is None:
            return inspect_shaft(plain)
        sources = (*sources_of(found), *plain.other_sources)
        judged = replace(plain, spec=found[1], spec_file=found[0].path, other_sources=sources)
        return inspected_to(lambda: inspect_shaft(judged), lambda: inspect_shaft(plain))

    return Question(
        (*stamps(document, *files_of(read, found, adopted)), cut),
        say("Inspecting {name}").format(name=read[0].name),
        work,
    )


def result(inspection: ShaftInspection) -> Result:
    """The result document of an inspection."""
    return inspection.result


def name_of(inspection: ShaftInspection, station: str, position_mm: float | None) -> str:
    """A track's name as verdicts use it: with its position in mm where the station was read in several tracks."""
    several = sum(row.station == station for row in inspection.result.stations) > 1
    return at_place(station, position_mm) if several else station


def journals(inspection: ShaftInspection) -> dict[str, JournalForm]:
    """The evaluated journals by the names that verdicts use."""
    return {name_of(inspection, form.trace.name, form.trace.position_mm): form for form in inspection.journals}


def chosen_journal(document: Document, inspection: ShaftInspection) -> str:
    """The journal in front: the one chosen, else the first rejected, else the one farthest off the axis."""
    chosen, worst = document.state(ShaftState).journal, inspection.result.straightness.worst_station or ""
    return front_item(inspection.result, list(journals(inspection)), chosen, worst)


def parts(document: Document) -> tuple[JobPart, ...]:
    """The readings in use, with the spec, the filter and the adopted uncertainty in use."""
    file, adopted = document.in_use(READINGS), document.in_use(ADOPTED)
    if file is None:
        return ()
    gauge = None if adopted is None else Path(adopted.path)
    return (part_of(NAME, file, spec_in_use(document), undulations=undulations(document), gauge=gauge),)


def certificate(document: Document, inspection: ShaftInspection) -> Shown:
    """The shaft's part of a certificate."""
    return Shown(inspection.result, *parts(document))


def adopted_kind(document: Document) -> str:
    """What the adopted uncertainty in use is of; empty without one."""
    adopted = document.value_in_use(ADOPTED)
    return "" if adopted is None else adopted[1].kind


WORK = Work(ShaftState, question, result, parts, certificate, uses, spec=spec_in_use, judges=JUDGES)
