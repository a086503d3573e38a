"""A shaft's lobes as fitted, and the table they were read from: what every row of the table of characteristics asks."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import field
from functools import cached_property
from typing import TypeVar, cast

from valvelab.angles import fold_scalar
from valvelab.camshaft.indexing import LobeName, parse_name
from valvelab.follower.shapes import Shape
from valvelab.frozen import frozen
from valvelab.inspection.lobes.envelopes import LobeEnvelope
from valvelab.inspection.lobes.repeatability import LobeGroup, Question
from valvelab.measured import Measured, Once, missing
from valvelab.records.measurement import COMPARISON_LIFT_MM, LiftTable
from valvelab.records.result import Kind
from valvelab.records.spec import NO_SPEC, Spec

ByItem = dict[str, Measured]
"""One characteristic of every item that has it, by the item's name."""
T = TypeVar("T")


@frozen(slots=False, eq=False)
class MeasuredShaft(Once):
    """Groups of lobes, with what else their characteristics rest on.

    without_angle: lobes whose angle uncertainty nobody knows. under: another follower that they are described under.
    """

    table: LiftTable
    groups: tuple[LobeGroup, ...]
    spec: Spec = NO_SPEC
    spec_file: str = "spec"
    envelopes: Mapping[str, LobeEnvelope] = field(default_factory=dict)
    without_angle: frozenset[str] = frozenset()
    chord_lift_mm: float = COMPARISON_LIFT_MM
    under: Shape | None = None

    @cached_property
    def names(self) -> dict[str, LobeName | None]:
        """What a lobe's name says, by lobe in the table's order; None where it says nothing."""
        return {trace.name: parse_name(trace.name) for trace in self.table.traces}

    @cached_property
    def kinds(self) -> dict[str, Kind | None]:
        """Intake or exhaust, by lobe in the table's order; None where the name does not say."""
        return {lobe: None if name is None else cast("Kind", name.kind) for lobe, name in self.names.items()}

    def each(self, of: Callable[[LobeGroup, int], T]) -> dict[str, T]:
        """Something of every lobe, in the table's order; `of` takes its group and its row there."""
        found = {name: of(group, row) for group in self.groups for row, name in enumerate(group.fitted.names)}
        return {trace.name: found[trace.name] for trace in self.table.traces}

    def ask(self, question: Question, *at_mm: float, circle: bool = False, why: str = "") -> ByItem:
        """The answer of every lobe's fit; circle: a place on the circle, folded onto a turn; why: it may be missing."""
        return self.once(_answers, question, at_mm, circle, why)


def _answers(shaft: MeasuredShaft, question: Question, at_mm: tuple[float, ...], circle: bool, why: str) -> ByItem:
    def of(group: LobeGroup, row: int) -> Measured:
        found = group.ask(question, *at_mm, circle=circle)[row]
        if found.value is None:
            return found if found.reason else missing(why)
        return Measured(fold_scalar(found.value), found.u) if circle else found

    return shaft.each(of)
