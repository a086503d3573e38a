"""The shim plan of a job: which spring and which shims at which valve."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from valvelab.errors import WrongUsage
from valvelab.files.heights import read_heights
from valvelab.files.sets_file import read_sets, set_number
from valvelab.inspection.springs.shims import ShimsInspection, ShimsQuestion, inspect_shims
from valvelab.job.springs import by_hand, question_of
from valvelab.job.use import Around, Asked, Told, Use
from valvelab.records.job import ShimsPart
from valvelab.records.sets_result import SetsResult
from valvelab.records.shims_result import ShimsResult
from valvelab.records.spring_readings import SpringTable
from valvelab.report.assembly import Part
from valvelab.report.springs_certificate import shims_part
from valvelab.tables.springs import kept_out, left_over, shim_table, spread_told, taken_in
from valvelab.units import System

Shims = Asked[ShimsQuestion, ShimsInspection]


def inspect(part: ShimsPart, around: Around) -> Shims:
    """The inspection that a part asks for."""
    springs = question_of(part, around)
    only, of = _only(part, springs.table, around)
    fixed = dict(_fixed(text) for text in part.fix)
    if len(fixed) < len(part.fix):
        raise WrongUsage("--fix: found a position twice, expected each once")
    question = ShimsQuestion(springs, read_heights(part.heights), only, of, fixed, by_hand(part))
    return Asked(question, inspect_shims(question))


def _only(part: ShimsPart, table: SpringTable, around: Around) -> tuple[tuple[str, ...] | None, str]:
    """The springs of the set asked for, and what to call it; a job's plan uses the springs of the job's own sets."""
    if part.sets is not None:
        result, file = read_sets(part.sets, table.source.sha256, table.file), str(part.sets)
    else:
        sets = [row for row in around.earlier if isinstance(row, SetsResult)]
        mine = [row for row in sets if table.source.sha256 in {source.sha256 for source in row.source}]
        if not mine:
            if part.set is not None:
                raise WrongUsage("--set: expected --from FILE beside it, the sets it counts in")
            return None, ""
        result, file = mine[-1], "the job's sets"
    if part.set is not None:
        return set_number(result, part.set, file), f"set {part.set} of {Path(file).name}"
    return tuple(name for one in result.sets for name in one.springs), f"the sets of {Path(file).name}"


def _fixed(text: str) -> tuple[str, str]:
    position, equals, spring = (piece.strip() for piece in text.partition("="))
    if not (position and equals and spring):
        raise WrongUsage(f'--fix {text!r}: expected POSITION=SPRING, such as "1I=Q07"')
    return position, spring


def tables(asked: Shims, system: System) -> Sequence[Told]:
    """A row a valve, how even the forces come, what is left over."""
    result = asked.inspection.result
    plan, spread = shim_table(result, system), spread_told(result, system)
    return [plan, spread, left_over(result.left_over), kept_out(result.excluded), taken_in(result.taken_in)]


def paper(asked: Shims, system: System) -> Part:
    """The shim plan's part of a certificate."""
    return shims_part(asked.inspection, asked.question.springs.table, asked.question.heights, system)


USE = Use(ShimsPart, ShimsResult, inspect, tables, paper)
