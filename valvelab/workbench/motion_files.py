"""What the valve-motion bay finds on the bench, and what it works on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from valvelab.inspection.engine.motion import MotionInspection
from valvelab.phasing.timing import lobe_cylinder
from valvelab.records.measurement import LiftTable
from valvelab.records.result import Source
from valvelab.records.spec import Spec
from valvelab.records.springs_result import SpringResult
from valvelab.records.train import Train
from valvelab.workbench import lobes_bay, springs_bay
from valvelab.workbench.bay import front_item
from valvelab.workbench.document import BenchFile, Document, Kind
from valvelab.workbench.spec_choice import files_of, spec_for
from valvelab.workbench.state import BayState, entered, keyed

NAME = "motion"
TRAIN: Kind[tuple[Train, Source]] = Kind("train")


@dataclass(frozen=True, slots=True)
class TypedReadings:
    """Readings at one retainer as typed over the train's: lift, the indicator's u, what does not count and why.

    `set_aside` counts readings from 0.
    """

    values_mm: tuple[float, ...]
    u_mm: float | None = None
    set_aside: tuple[tuple[int, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Trial:
    """What is tried instead of what the train states; None leaves it. `spring` "" is the train's own."""

    lash_mm: float | None = entered(
        None, "Lash at the valve", text="Lash", edit="try another lash", dimension="length", unit="mm", step=0.01,
        decimals=(2, 4), least=0.0, most=5.0,
    )  # fmt: skip
    ratio: float | None = entered(
        None, "Ratio of the rocker", text="Rocker ratio", edit="try another ratio", step=0.005, decimals=(3, 3),
        least=0.2, most=5.0,
    )  # fmt: skip
    advance_deg: float = entered(
        0.0, "Camshaft advanced, crank degrees", text="Advance", edit="try another advance", dimension="angle",
        unit="deg", step=0.5, decimals=(1, 1), least=-60.0, most=60.0,
    )  # fmt: skip
    seat_force_n: float | None = entered(
        None, "Seat force of the spring", text="Seat force", edit="try another seat", dimension="force", unit="N",
        step=5.0, decimals=(0, 1), least=1.0, most=1e5,
    )  # fmt: skip
    spring: str = ""

    @property
    def differs(self) -> bool:
        """Whether anything is tried."""
        return self != Trial()


@dataclass(frozen=True, slots=True)
class MotionState(BayState):
    """What is looked at, what is tried, and readings at the retainer that stand in no file, by valve."""

    bay = NAME
    page: str = "lift"
    valve: str = ""
    dynamic: bool = False
    trial: Trial = Trial()
    readings: Mapping[str, TypedReadings] = keyed()

    @property
    def unsaved(self) -> bool:
        """Whether readings at a retainer were typed that no file holds."""
        return bool(self.readings)


@dataclass(frozen=True, slots=True, eq=False)
class Springs:
    """Measured springs, and the height they were measured for."""

    rows: tuple[SpringResult, ...]
    installed_height_mm: float | None


@dataclass(frozen=True, slots=True, eq=False)
class Motion:
    """What the bay works on: the inspection of the train as stated, its table, the springs beside it."""

    inspection: MotionInspection
    table: LiftTable
    springs: Springs | None


def train_in_use(document: Document) -> tuple[BenchFile, Train, Source] | None:
    """The train, its file and the file's identity."""
    found = document.value_in_use(TRAIN)
    return None if found is None else (found[0], *found[1])


def spec_in_use(document: Document) -> tuple[BenchFile, Spec] | None:
    """The spec that verdicts are reached by."""
    return spec_for(document, {"valve"}) or spec_for(document, {"event"})


def uses(document: Document) -> tuple[BenchFile, ...]:
    """Lift table, train, spec, springs, the instruments' cards."""
    springs = springs_bay.table_in_use(document)
    spring_spec = springs_bay.spec_in_use(document) if springs else None
    table, train = lobes_bay.table_in_use(document), document.in_use(TRAIN)
    cards = (lobes_bay.card_in_use(document), *springs_bay.cards_in_use(document))
    return files_of(table, train, spec_in_use(document), springs, spring_spec, *cards)


def chosen_valve(document: Document, motion: Motion) -> str:
    """The valve in front: the one chosen while the shaft has it, else the first rejected, else the first."""
    result = motion.inspection.result
    return front_item(result, [valve.lobe for valve in result.valves], document.state(MotionState).valve)


def pair_of(motion: Motion, valve: str) -> tuple[str, ...]:
    """The valve in front, and the first of the other kind on its cylinder where there is one."""
    lobes = {lobe.name: lobe for lobe in motion.inspection.question.lobes}
    own = lobes[valve]
    for name, lobe in lobes.items():
        same = lobe_cylinder(name) == lobe_cylinder(valve)
        if same and lobe.kind is not None and own.kind is not None and lobe.kind != own.kind:
            return valve, name
    return (valve,)
