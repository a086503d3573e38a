"""Two measurements of one part compared: two lift tables, or two files of spring readings."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import field
from typing import Any

from valvelab.camshaft.indexing import parse_name
from valvelab.errors import CannotEvaluate, Reason
from valvelab.frozen import frozen
from valvelab.inspection.characteristics import Row, Subject
from valvelab.inspection.comparison.characteristics import LOBE, SPRING
from valvelab.inspection.comparison.lobes import ComparedLobe, compare_lobes
from valvelab.inspection.comparison.springs import ComparedSpring, compare_springs
from valvelab.inspection.judging import item_of, judge
from valvelab.inspection.springs.inspect import SpringsQuestion, kind_of, up_to_eight
from valvelab.inspection.unit_doubts import doubted
from valvelab.phrase import Phrase
from valvelab.records.comparison_result import CompareResult, DifferenceCurve, LobeChange, SpringChange
from valvelab.records.measurement import Doubts, LiftTable
from valvelab.records.result import Kind, Note, Source, info, warning
from valvelab.records.spec import Spec
from valvelab.records.spring_readings import SpringTable
from valvelab.springs.stress import WireMaterial

Readings = LiftTable | SpringTable
SUBJECT: Subject = "comparison"


@frozen
class CompareQuestion:
    """Two tables of one kind, earlier and later. master: the earlier one holds a lobe that all later ones are held to.

    materials: the wires known. sources: files besides the two that the answer follows from. notes: on how the two came.
    """

    before: Readings
    after: Readings
    spec: Spec | None = None
    spec_file: str = "spec"
    master: bool = False
    materials: Mapping[str, WireMaterial] = field(default_factory=dict)
    sources: tuple[Source, ...] = ()
    notes: tuple[Note, ...] = ()


@frozen
class CompareInspection:
    """An answered comparison: its question, the result document, and the curves and springs that figures draw."""

    question: CompareQuestion
    result: CompareResult
    lobes: tuple[ComparedLobe, ...] = ()
    springs: tuple[ComparedSpring, ...] = ()


def inspect_comparison(question: CompareQuestion) -> CompareInspection:
    """Compare two measurements of one part and judge what changed.

    Raises CannotEvaluate for two kinds of readings, or without an item in common.
    """
    before, after = question.before, question.after
    notes = [*question.notes]
    if before.source.sha256 == after.source.sha256:
        notes.append(info("source", Phrase("both are the same file: nothing can have changed")))
    if isinstance(before, LiftTable) and isinstance(after, LiftTable):
        return _lobes(question, before, after, notes)
    if isinstance(before, SpringTable) and isinstance(after, SpringTable):
        return _springs(question, before, after, notes)
    kinds = ["a lift table" if isinstance(one, LiftTable) else "spring readings" for one in (before, after)]
    found = Phrase(
        "{file} holds {kinds}, {other_file} {other_kinds}",
        file=before.file,
        kinds=kinds[0],
        other_file=after.file,
        other_kinds=kinds[1],
    )
    raise CannotEvaluate(
        Reason.BAD_VALUES, Phrase("{found}: expected two lift tables or two files of spring readings", found=found)
    )


def _lobes(question: CompareQuestion, before: LiftTable, after: LiftTable, notes: list[Note]) -> CompareInspection:
    names = [[trace.name for trace in table.traces] for table in (before, after)]
    pairs = {name: other for name in names[1] if (other := against(name, names[0], master=question.master))}
    if not pairs:
        hint = Phrase(", or --master to hold them all against it") if len(names[0]) == 1 else ""
        found = Phrase(
            "{file} with {names}, {other_file} with {other_names}",
            file=before.file,
            names=", ".join(names[0]),
            other_file=after.file,
            other_names=", ".join(names[1]),
        )
        raise CannotEvaluate(
            Reason.MISSING_INPUT,
            Phrase("found {found}: expected a lobe of the same name in both{hint}", found=found, hint=hint),
        )
    compared, said = compare_lobes(before, after, pairs)
    others = [f"{name} against {other}" for name, other in pairs.items() if name != other]
    if others:
        notes.append(
            info("master", Phrase("{names}: shifts hold where each stands on the shaft too", names=", ".join(others)))
        )
    only = [name for name in names[0] if name not in pairs.values()], [name for name in names[1] if name not in pairs]
    rows = tuple(map(_lobe, compared))
    kinds = {one.lobe: None if (told := parse_name(one.lobe)) is None else told.kind for one in compared}
    items = [(one.lobe, kinds[one.lobe], one.changes) for one in compared]
    result = CompareResult(kind="lobes", lobes=rows, only_before=tuple(only[0]), only_after=tuple(only[1]))
    return CompareInspection(question, _judged(question, result, [*notes, *said], items, LOBE), lobes=tuple(compared))


def against(name: str, before: Sequence[str], *, master: bool) -> str | None:
    """The earlier lobe that a later one is compared with: of its name; a master's only one, or only one of its kind."""
    if name in before:
        return name
    if not master:
        return None
    if len(before) == 1:
        return before[0]
    kind = parse_name(name)
    alike = [other for other in before if kind and (told := parse_name(other)) and told.kind == kind.kind]
    return alike[0] if len(alike) == 1 else None


def _springs(
    question: CompareQuestion, before: SpringTable, after: SpringTable, notes: list[Note]
) -> CompareInspection:
    names = [dict.fromkeys(one.spring for one in table.springs) for table in (before, after)]
    if not names[0].keys() & names[1].keys():
        raise CannotEvaluate(
            Reason.MISSING_INPUT,
            Phrase(
                "{file} and {other_file}: found no spring of the same name, expected one in both",
                file=before.file,
                other_file=after.file,
            ),
        )
    found, said = compare_springs(SpringsQuestion(before, question.spec, question.spec_file, question.materials), after)
    result = CompareResult(
        kind="springs",
        springs=tuple(map(_spring, found)),
        only_before=tuple(name for name in names[0] if name not in names[1]),
        only_after=tuple(name for name in names[1] if name not in names[0]),
    )
    items = [(one.spring, kind_of(one.after.readings.position), one.changes) for one in found]
    return CompareInspection(question, _judged(question, result, [*notes, *said], items, SPRING), springs=tuple(found))


def _numbers(changes: object, rows: Iterable[Row]) -> dict[str, Any]:
    """The fields of a record that follow from its rows."""
    measured = {row: row.measured(changes) for row in rows}
    u = {row.key: found.u for row, found in measured.items() if row.states_u}
    return {**{row.key: found.value for row, found in measured.items()}, "uncertainty": u}


def _lobe(one: ComparedLobe) -> LobeChange:
    curve = DifferenceCurve(
        angle_cam_deg=tuple(map(float, one.angle_cam_deg)), difference_um=tuple(map(float, 1000.0 * one.difference_mm))
    )
    return LobeChange(lobe=one.lobe, curve=curve, **_numbers(one.changes, LOBE))


def _spring(one: ComparedSpring) -> SpringChange:
    return SpringChange(spring=one.spring, **_numbers(one.changes, SPRING))


def _judged(
    question: CompareQuestion,
    result: CompareResult,
    notes: list[Note],
    items: Sequence[tuple[str, Kind | str | None, object]],
    rows: tuple[Row, ...],
) -> CompareResult:
    """The result with its sources, its notes and its verdicts."""
    for when, names in (("before", result.only_before), ("after", result.only_after)):
        if names:
            notes.append(
                warning(
                    Phrase("only {when}", when=Phrase(when)),
                    Phrase("{up_to_eight}: nothing to compare with", up_to_eight=up_to_eight(names)),
                )
            )
    verdicts: list[Any] = []
    if question.spec is not None:
        height = next((one.doubts.height for one in (question.before, question.after) if one.doubts.height), "")
        made = [doubted(item_of(name, kind, of, rows), Doubts(height=height)) for name, kind, of in items]
        known: Mapping[Subject, Any] = {SUBJECT: made}
        verdicts, said = judge(question.spec, known, question.spec_file, {SUBJECT: {row.name for row in rows}})
        notes += said
    sources = dict.fromkeys((question.before.source, question.after.source, *question.sources))
    return result.model_copy(
        update={"source": tuple(sources), "notes": tuple(dict.fromkeys(notes)), "verdicts": tuple(verdicts)}
    )
