"""The gauge bay: a study of parts, appraisers and trials; its tolerance; plan sheets; the result adopted."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from valvelab.errors import BadFile
from valvelab.files.adopted_uncertainty import write_adopted
from valvelab.files.gauge_study_file import LEAST_PLAN, can_be_planned, plan_rows, plan_text
from valvelab.inspection.form.gauge import GaugeInspection, GaugeQuestion, adopt, inspect_gauge
from valvelab.language import say
from valvelab.records.form_measurement import GaugeReadings
from valvelab.records.job import Shown
from valvelab.records.parts.part import JobPart
from valvelab.records.result import Result
from valvelab.records.spec import Spec
from valvelab.units import CANONICAL, Dimension
from valvelab.workbench.background import Partly, Question
from valvelab.workbench.bay import Work
from valvelab.workbench.document import BenchFile, Document, Kind
from valvelab.workbench.papers import part_of
from valvelab.workbench.spec_choice import files_of, inspected_to, sources_of, spec_for, stamps
from valvelab.workbench.state import BayState, entered
from valvelab.writing import write_whole

NAME = "gauge"
JUDGES = ("gauge",)
STUDY: Kind[GaugeReadings] = Kind("gauge study")


def _planned(usual: int, what: str, least: int, most: int, text: str) -> Any:
    spoken = f"{what[:1].upper()}{what[1:]}"
    return entered(usual, spoken, text=text, edit="plan the study", least=least, most=most, merges=True)


@dataclass(frozen=True, slots=True)
class GaugeState(BayState):
    """What is looked at; the tolerance width typed, in the study's unit, None for the study's own; the plan.

    `seed` draws the order of reading; the same seed gives the same order.
    """

    bay = NAME
    page: str = "figures"
    tolerance: float | None = entered(
        None, "Tolerance width, 0 for the study's own", text="tolerance", edit="change the tolerance", step=0.005,
        decimals=(4, 5), least=1e-9, optional=True,
    )  # fmt: skip
    parts: int = _planned(10, "parts in the plan", 2, 200, "parts")
    appraisers: int = _planned(3, "appraisers in the plan", 1, 20, "appraisers")
    trials: int = _planned(3, "trials in the plan", 2, 20, "trials")
    seed: int = _planned(1, "number that the order of reading is drawn from", 1, 9999, "order")

    @property
    def planned(self) -> int:
        """Readings that the plan asks for."""
        return self.parts * self.appraisers * self.trials


def spec_in_use(document: Document) -> tuple[BenchFile, Spec] | None:
    """The spec in use among those with limits on gauge studies."""
    return spec_for(document, JUDGES)


def uses(document: Document) -> tuple[BenchFile, ...]:
    """Study and spec of the question."""
    return files_of(document.in_use(STUDY), spec_in_use(document))


def question(document: Document) -> Question[GaugeInspection] | None:
    """Evaluate the study in use by both methods."""
    study = document.value_in_use(STUDY)
    if study is None:
        return None
    readings, width = study[1], document.state(GaugeState).tolerance
    found = spec_in_use(document)

    def work() -> GaugeInspection | Partly[GaugeInspection]:
        plain = GaugeQuestion(readings, width)
        if found is None:
            return inspect_gauge(plain)
        judged = replace(plain, spec=found[1], spec_file=found[0].path, other_sources=sources_of(found))
        return inspected_to(lambda: inspect_gauge(judged), lambda: inspect_gauge(plain))

    return Question(
        (*stamps(document, *files_of(study, found)), width), say("Inspecting {name}").format(name=study[0].name), work
    )


def result(inspection: GaugeInspection) -> Result:
    """The result document of an inspection."""
    return inspection.result


def dimension_of(unit: str) -> Dimension:
    """What the study measures, by its canonical unit."""
    return next((name for name, canonical in CANONICAL.items() if canonical == unit), "number")


def write_plan(plan: GaugeState, path: Path) -> str:
    """Write the sheet as PDF to print, or as a table to fill in and drop on the bench; a closing sentence.

    Refuses fewer than 2 parts, 1 appraiser or 2 trials, and more readings than anyone takes.
    """
    if not can_be_planned(plan.parts, plan.appraisers, plan.trials):
        found = f"{plan.parts} parts, {plan.appraisers} appraisers, {plan.trials} trials"
        raise BadFile(path.name, "", found, LEAST_PLAN)
    rows = plan_rows(plan.parts, plan.appraisers, plan.trials, plan.seed)
    if path.suffix.lower() == ".pdf":
        from valvelab.report.plan_sheet import plan_sheet

        write_whole(path, plan_sheet(rows, plan.seed))
    else:
        write_whole(path, plan_text(rows, plan.seed))
    return say("Plan sheet written: {path}, {planned} readings").format(path=path, planned=plan.planned)


def adopt_as(inspection: GaugeInspection, kind: str, path: Path) -> str:
    """Keep the study's result as the uncertainty of a kind of reading; a closing sentence."""
    adopted = adopt(inspection.result, kind)
    write_adopted(path, adopted)
    return say("Adopted for {kind}: standard uncertainty {standard_uncertainty}, in {path}").format(
        kind=kind, standard_uncertainty=adopted.standard_uncertainty, path=path
    )


def parts(document: Document) -> tuple[JobPart, ...]:
    """The study in use, with the spec in use and the tolerance typed."""
    study, width = document.value_in_use(STUDY), document.state(GaugeState).tolerance
    if study is None:
        return ()
    typed = None if width is None else f"{width!r} {study[1].unit}".rstrip()
    return (part_of(NAME, study[0], spec_in_use(document), tolerance=typed),)


def certificate(document: Document, inspection: GaugeInspection) -> Shown:
    """The study's part of a certificate."""
    return Shown(inspection.result, *parts(document))


WORK = Work(GaugeState, question, result, parts, certificate, uses, spec=spec_in_use, judges=JUDGES)
