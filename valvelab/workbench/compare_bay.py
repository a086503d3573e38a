"""The bay of comparisons: two lift tables or two files of spring readings of one part, the earlier and the later."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path
from typing import Any

from valvelab.inspection.comparison.inspect import (
    CompareInspection,
    CompareQuestion,
    Readings,
    against,
    inspect_comparison,
)
from valvelab.language import say
from valvelab.records.job import Shown
from valvelab.records.measurement import LiftTable
from valvelab.records.parts.part import JobPart
from valvelab.records.result import Result
from valvelab.records.spec import Spec
from valvelab.records.wire_materials import read_wire_materials
from valvelab.workbench import lobes_bay, springs_bay
from valvelab.workbench.background import Partly, Question
from valvelab.workbench.bay import Work, front_item
from valvelab.workbench.document import BenchFile, Document
from valvelab.workbench.nominals import nominals
from valvelab.workbench.papers import part_of
from valvelab.workbench.spec_choice import files_of, inspected_to, sources_of, spec_for, stamps
from valvelab.workbench.state import BayState, entered

NAME = "compare"
Read = tuple[BenchFile, Readings]


@dataclass(frozen=True, slots=True)
class CompareState(BayState):
    """Which files are compared, by path, and the lobe or spring in front; "" is the first that can be."""

    bay = NAME
    before: str = entered("", "The earlier file", text="before", edit="compare with another earlier file")
    after: str = entered("", "The later file", text="after", edit="compare with another later file")
    item: str = ""


def candidates(document: Document) -> tuple[Read, ...]:
    """Every file that can be compared, lift tables first; nominal tables of a spec last among them."""
    first = lobes_bay.table_in_use(document)
    kept_back = nominals(document)
    lifts = sorted(document.values_of(lobes_bay.TABLE), key=lambda read: (read[0].path in kept_back, read[0] != first))
    return (*lifts, *document.values_of(springs_bay.READINGS))


def earlier_files(document: Document) -> tuple[Read, ...]:
    """Files with another of their kind beside them."""
    found = candidates(document)
    return tuple(read for read in found if len(_of_its_kind(found, read)) > 1)


def later_files(document: Document) -> tuple[Read, ...]:
    """Files that the earlier one can be compared with."""
    pair = pair_in_use(document)
    if pair is None:
        return ()
    return tuple(read for read in _of_its_kind(candidates(document), pair[0]) if read[0] != pair[0][0])


def labelled(files: Sequence[BenchFile]) -> list[tuple[str, str]]:
    """Names of files with their paths; files of one name are told apart by their folder, or by their order."""
    names = [file.name for file in files]
    folders = [(file.name, Path(file.path).parent.name) for file in files]
    found = []
    for number, file in enumerate(files, start=1):
        own = folders[number - 1]
        apart = own[1] if folders.count(own) == 1 else str(number)
        found.append((f"{file.name} ({apart})" if names.count(file.name) > 1 else file.name, file.path))
    return found


def _of_its_kind(found: tuple[Read, ...], like: Read) -> tuple[Read, ...]:
    return tuple(read for read in found if type(read[1]) is type(like[1]))


def pair_in_use(document: Document) -> tuple[Read, Read] | None:
    """The earlier and the later file: those chosen while they can be compared, else the first that fit one another.

    Without a choice a nominal table is compared with what has a lobe of its name, else with nothing.
    """
    state, found = document.state(CompareState), earlier_files(document)
    chosen = [next((read for read in found if read[0].path == path), None) for path in (state.before, state.after)]
    before, after = chosen
    if before is None and after is None:
        kept_back = nominals(document)
        pairs = [pair for pair in combinations(found, 2) if type(pair[0][1]) is type(pair[1][1])]
        own = (pair for pair in pairs if not any(file.path in kept_back for file, _ in pair))
        fitting = (pair for pair in pairs if pair[0][0].path not in kept_back and _fit(*pair))
        return next(fitting, next(own, None))
    if before is None:  # a later file that was chosen says of which kind
        assert after is not None
        before = next(read for read in _of_its_kind(found, after) if read is not after)
    others = tuple(read for read in _of_its_kind(found, before) if read[0] != before[0])
    first = next((read for read in others if _fit(before, read)), others[0])
    return before, next((read for read in others if read[0].path == state.after), first)


def _fit(before: Read, after: Read) -> bool:
    """Whether two files have a spring in common, or a lobe that is compared with one of the other's."""
    one, other = before[1], after[1]
    if isinstance(one, LiftTable) and isinstance(other, LiftTable):
        names, master = [trace.name for trace in one.traces], is_master(one, other)
        return any(against(trace.name, names, master=master) for trace in other.traces)
    if isinstance(one, LiftTable) or isinstance(other, LiftTable):
        return False
    return bool({row.spring for row in one.springs} & {row.spring for row in other.springs})


def spec_in_use(document: Document) -> tuple[BenchFile, Spec] | None:
    """The spec in use among those with limits on comparisons."""
    return spec_for(document, ("comparison",))


def uses(document: Document) -> tuple[BenchFile, ...]:
    """Both files and the spec of the question."""
    return files_of(*(pair_in_use(document) or ()), spec_in_use(document))


def question(document: Document) -> Question[CompareInspection] | None:
    """Compare the two files in use, against the spec in use."""
    pair, found = pair_in_use(document), spec_in_use(document)
    if pair is None:
        return None
    before, after = pair

    def work() -> CompareInspection | Partly[CompareInspection]:
        return inspected_to(
            lambda: inspect_comparison(compare_question(before[1], after[1], found)),
            lambda: inspect_comparison(compare_question(before[1], after[1], None)),
        )

    key = stamps(document, *files_of(before, after, found))
    return Question(key, say("Comparing {name} with {name_2}").format(name=before[0].name, name_2=after[0].name), work)


def is_master(before: Readings, after: Readings) -> bool:
    """Whether a lift table is held against the other as a master: none of its lobes has a name of the other's."""
    if not (isinstance(before, LiftTable) and isinstance(after, LiftTable)):
        return False
    return not {trace.name for trace in before.traces} & {trace.name for trace in after.traces}


def compare_question(before: Readings, after: Readings, found: tuple[BenchFile, Spec] | None) -> CompareQuestion:
    """Two files as the inspection asks for them."""
    master = is_master(before, after)
    spec, file = (None, "spec") if found is None else (found[1], found[0].path)
    materials = read_wire_materials()
    return CompareQuestion(before, after, spec, file, master=master, materials=materials, sources=sources_of(found))


def names_of(inspection: CompareInspection) -> list[str]:
    """The lobes or springs that were compared."""
    return [*(row.lobe for row in inspection.result.lobes), *(row.spring for row in inspection.result.springs)]


def chosen_item(document: Document, inspection: CompareInspection) -> str:
    """The lobe or spring in front: the one chosen, else the first rejected, else the first."""
    return front_item(inspection.result, names_of(inspection), document.state(CompareState).item)


def result(inspection: CompareInspection) -> Result:
    """The result document of a comparison."""
    return inspection.result


def parts(document: Document) -> tuple[JobPart, ...]:
    """The two files in use, against the spec in use."""
    pair = pair_in_use(document)
    if pair is None:
        return ()
    (before, earlier), (after, later) = pair
    fields: dict[str, Any] = {"after": Path(after.path), "master": is_master(earlier, later)}
    if before.columns != after.columns:
        fields["after_columns"] = after.columns or ""
    return (part_of(NAME, before, spec_in_use(document), **fields),)


def certificate(document: Document, inspection: CompareInspection) -> Shown:
    """The comparison's part of a certificate."""
    return Shown(inspection.result, *parts(document))


WORK = Work(CompareState, question, result, parts, certificate, uses, spec=spec_in_use, judges=("comparison",))
