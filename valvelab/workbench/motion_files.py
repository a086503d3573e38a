"""What the valve-motion station finds on the bench, and what it works on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, cast

from valvelab.workbench import lobes_station
from valvelab.workbench.document import BenchFile, Document
from valvelab.workbench.spec_choice import spec_for

if TYPE_CHECKING:
    from valvelab.inspection.engine.motion import MotionInspection
    from valvelab.inspection.engine.train import TrainSetting
    from valvelab.records.measurement import LiftTable
    from valvelab.records.result import Source
    from valvelab.records.spec import Spec
    from valvelab.records.spring_readings import SpringTable
    from valvelab.records.springs_result import SpringResult

NAME = "motion"
UNSET = -1e9


@dataclass(frozen=True, slots=True, eq=False)
class Springs:
    """Measured springs, and the height they were measured for."""

    rows: tuple[SpringResult, ...]
    installed_height_mm: float | None


@dataclass(frozen=True, slots=True, eq=False)
class Motion:
    """What the station works on: the inspection of the train as stated, its table, the springs beside it."""

    inspection: MotionInspection
    table: LiftTable
    springs: Springs | None


def train_in_use(document: Document) -> tuple[BenchFile, TrainSetting, Source] | None:
    """The train, its file and the file's identity."""
    file = document.in_use("train")
    content = None if file is None else document.content(file)
    if file is None or content is None or content.value is None:
        return None
    train, source = cast("tuple[TrainSetting, Source]", content.value)
    return file, train, source


def springs_in_use(document: Document) -> tuple[BenchFile, SpringTable] | None:
    """Spring readings, and their file."""
    file = document.in_use("spring readings")
    content = None if file is None else document.content(file)
    return (
        None if file is None or content is None or content.value is None else (file, cast("SpringTable", content.value))
    )


def spec_in_use(document: Document) -> tuple[BenchFile, Spec] | None:
    """The spec that verdicts are reached by."""
    return spec_for(document, {"valve"}) or spec_for(document, {"event"})


def uses(document: Document) -> tuple[BenchFile, ...]:
    """Lift table, train, spec, springs."""
    train, found, springs = train_in_use(document), spec_in_use(document), springs_in_use(document)
    spring_spec = spec_for(document, {"spring"}) if springs else None
    pairs = (found, springs, spring_spec)
    files = (lobes_station.table_in_use(document), train and train[0], *(pair and pair[0] for pair in pairs))
    return tuple(file for file in files if file)


def chosen_valve(document: Document, motion: Motion) -> str:
    """The valve in front: the one chosen while the shaft has it, else the first rejected, else the first."""
    names = [valve.lobe for valve in motion.inspection.result.valves]
    chosen = document.choice(NAME, "valve", "")
    if chosen in names:
        return chosen
    rejected = (str(verdict.item) for verdict in motion.inspection.result.verdicts if verdict.decision == "reject")
    return next((item for item in rejected if item in names), names[0])


def pair_of(motion: Motion, valve: str) -> tuple[str, ...]:
    """The valve in front, and the first of the other kind on its cylinder where there is one."""
    from valvelab.phasing.timing import lobe_cylinder

    lobes = {lobe.name: lobe for lobe in motion.inspection.question.lobes}
    own = lobes[valve]
    for name, lobe in lobes.items():
        same = lobe_cylinder(name) == lobe_cylinder(valve)
        if same and lobe.kind is not None and own.kind is not None and lobe.kind != own.kind:
            return valve, name
    return (valve,)
