"""The camshaft station: a lift table, a spec, their nominal tables."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, cast

from valvelab.workbench.certificates import CertificateRequest, request_for
from valvelab.workbench.document import BenchFile, Document
from valvelab.workbench.questions import Question
from valvelab.workbench.spec_choice import files_of, inspected_to, spec_for, stamps
from valvelab.workbench.stations import Intake, Station, front_item

if TYPE_CHECKING:
    from valvelab.inspection.lobes.inspect import LobesInspection
    from valvelab.records.measurement import LiftTable
    from valvelab.records.result import Result
    from valvelab.records.spec import Spec

NAME = "lobes"
DEFAULT_CHECKING_LIFT_MM = 1.27


def chosen_lobe(document: Document, inspection: LobesInspection) -> str:
    """The lobe in front: the one chosen while the shaft has it, else the first rejected, else the first."""
    names = [lobe.lobe for lobe in inspection.result.lobes]
    return front_item(inspection.result, names, document.choice(NAME, "lobe", ""))


def checking_lift_mm(document: Document) -> float:
    """The lift durations are read at."""
    return document.choice(NAME, "checking_lift_mm", DEFAULT_CHECKING_LIFT_MM)


def spec_in_use(document: Document) -> tuple[BenchFile, Spec] | None:
    """The spec that verdicts are reached by, with its file.

    The one chosen by hand; else one that speaks of lobes, before all the one that bears the table's own name.
    """
    table = table_in_use(document)
    return spec_for(
        document, ("lobe", "camshaft"), lambda spec: bool(spec.envelope), None if table is None else table.path
    )


def nominal_paths(spec_path: str, spec: Spec) -> dict[str, Path]:
    """Nominal tables that the envelopes name, by that name; BadSpec where one is not there."""
    from valvelab.files.spec_file import nominal_path

    return {row.nominal: nominal_path(spec_path, row, number) for number, row in enumerate(spec.envelope, start=1)}


def table_in_use(document: Document) -> BenchFile | None:
    """The lift table that is inspected: never one that the spec uses as a nominal, unless chosen by hand."""
    chosen = document.current.get("lift table")
    nominals = set()
    for spec_file in document.of_kind("spec"):
        content = document.content(spec_file)
        spec = cast("Spec", content.value) if content is not None else None
        folder = Path(spec_file.path).parent
        nominals |= set() if spec is None else {str(folder / envelope.nominal) for envelope in spec.envelope}
    candidates = [file for file in document.of_kind("lift table") if file.path == chosen or file.path not in nominals]
    return next((file for file in candidates if file.path == chosen), candidates[0] if candidates else None)


def uses(document: Document) -> tuple[BenchFile, ...]:
    """The lift table and the spec of the question."""
    return files_of(table_in_use(document), spec_in_use(document))


def question(document: Document) -> Question | None:
    """Inspect the lift table in use against the spec in use."""
    file = table_in_use(document)
    content = None if file is None else document.content(file)
    if file is None or content is None or content.value is None:
        return None
    table = cast("LiftTable", content.value)
    found = spec_in_use(document)

    def work() -> object:
        from valvelab.inspection.lobes.inspect import inspect_lobes

        if found is None:
            return inspect_lobes(table)
        return inspected_to(lambda: _inspect_to_spec(table, *found), lambda: inspect_lobes(table))

    return Question(stamps(document, *files_of(file, found)), f"Inspecting {file.name}", work)


def _inspect_to_spec(table: LiftTable, file: BenchFile, spec: Spec) -> LobesInspection:
    from valvelab.files.contents import read_contents
    from valvelab.files.lift_table import read_lift_table
    from valvelab.inspection.lobes.inspect import inspect_lobes

    nominals = {name: read_lift_table(path) for name, path in nominal_paths(file.path, spec).items()}
    sources = (read_contents(file.path).source, *(nominal.source for nominal in nominals.values()))
    return inspect_lobes(table, spec, nominals, spec_file=file.path, sources=sources)


def result(value: object) -> Result:
    """The result document of an inspection."""
    return cast("LobesInspection", value).result


def certificate(document: Document, value: object) -> CertificateRequest:
    """The camshaft's part of a certificate."""
    inspection = cast("LobesInspection", value)
    file = table_in_use(document)
    assert file is not None
    found = spec_in_use(document) if inspection.spec is not None else None
    return request_for(inspection.result, NAME, file, found)


STATION = Station(
    name=NAME,
    title="Camshaft",
    icon="camshaft",
    intakes=(
        Intake(
            "lift table", "lift table", "valvelab.files.lift_table:read_lift_table", columns=True,
            fields={
                "angle": ("cam deg", "crank deg"), "lift": ("mm", "um", "in", "thou", "m"), "lobe": (), "sweep": (),
            },
        ),
        Intake("spec", "spec", "valvelab.files.spec_file:read_spec"),
    ),
    empty="Drop a lift table here: one column an angle, one a lobe, or lobe, angle and lift in rows.",
    question=question,
    result=result,
    certificate=certificate,
    uses=uses,
)  # fmt: skip
