"""The camshaft station: a lift table, a spec, their nominal tables."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, cast

from valvelab.workbench.document import BenchFile, Document
from valvelab.workbench.questions import Question
from valvelab.workbench.stations import Intake, Station

if TYPE_CHECKING:
    from valvelab.inspection.inspect_lobes import LobesInspection
    from valvelab.records.measurement import LiftTable
    from valvelab.records.result import Result
    from valvelab.records.spec import Spec

NAME = "lobes"
DEFAULT_CHECKING_LIFT_MM = 1.27


def chosen_lobe(document: Document, inspection: LobesInspection) -> str:
    """The lobe in front: the one chosen while the shaft has it, else the first rejected, else the first."""
    names = [lobe.lobe for lobe in inspection.result.lobes]
    chosen = document.choice(NAME, "lobe", "")
    if chosen in names:
        return chosen
    rejected = (str(verdict.item) for verdict in inspection.result.verdicts if verdict.decision == "reject")
    return next((item for item in rejected if item in names), names[0])


def checking_lift_mm(document: Document) -> float:
    """The lift durations are read at."""
    return document.choice(NAME, "checking_lift_mm", DEFAULT_CHECKING_LIFT_MM)


def spec_in_use(document: Document) -> tuple[BenchFile, Spec] | None:
    """The spec that verdicts are reached by, with its file."""
    file = document.in_use("spec")
    content = None if file is None else document.content(file)
    return None if file is None or content is None else (file, cast("Spec", content.value))


def nominal_paths(spec_path: str, spec: Spec) -> dict[str, str]:
    """Nominal tables an envelope names, by that name: their path relative to the spec's own folder."""
    folder = Path(spec_path).parent
    return {envelope.nominal: str(folder / envelope.nominal) for envelope in spec.envelope}


def table_in_use(document: Document) -> BenchFile | None:
    """The lift table that is inspected: never one that the spec uses as a nominal, unless chosen by hand."""
    chosen = document.current.get("lift table")
    found = spec_in_use(document)
    nominals = set() if found is None else set(nominal_paths(found[0].path, found[1]).values())
    candidates = [file for file in document.of_kind("lift table") if file.path == chosen or file.path not in nominals]
    return next((file for file in candidates if file.path == chosen), candidates[0] if candidates else None)


def question(document: Document) -> Question | None:
    """Inspect the lift table in use against the spec in use."""
    file = table_in_use(document)
    content = None if file is None else document.content(file)
    if file is None or content is None or content.value is None:
        return None
    table = cast("LiftTable", content.value)
    found = spec_in_use(document)
    stamps = tuple(c.stamp for f in (file, found[0] if found else None) if f and (c := document.content(f)))

    def work() -> object:
        from valvelab.files.lift_table import read_lift_table
        from valvelab.inspection.inspect_lobes import inspect_lobes

        spec_file, spec = found or (None, None)
        nominals = {}
        if spec_file is not None and spec is not None:
            nominals = {name: read_lift_table(Path(path)) for name, path in nominal_paths(spec_file.path, spec).items()}
        return inspect_lobes(table, spec, nominals)

    return Question(stamps, f"Inspecting {file.name}", work)


def result(value: object) -> Result:
    """The result document of an inspection."""
    return cast("LobesInspection", value).result


def certificate(value: object, path: Path) -> None:
    """Write the certificate."""
    from valvelab.report.lobes_certificate import write_lobes_certificate

    write_lobes_certificate(path, cast("LobesInspection", value))


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
)  # fmt: skip
