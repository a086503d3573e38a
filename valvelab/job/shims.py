"""The shim plan of a job: which spring and which shims at which valve."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from valvelab.errors import WrongUsage
from valvelab.files.heights import read_heights
from valvelab.files.sets_file import read_sets, set_number
from valvelab.inspection.springs.fix_text import lock_of
from valvelab.inspection.springs.shims import ShimsInspection, ShimsQuestion, inspect_shims
from valvelab.job.springs import by_hand, question_of
from valvelab.job.use import Around, Asked, Told, Use
from valvelab.quoting import name_in, names_in
from valvelab.records.parts.springs import ShimsPart
from valvelab.records.sets_result import SetsResult
from valvelab.records.shims_result import ShimsResult
from valvelab.records.spring_readings import SpringTable
from valvelab.tables.shims import moves_table, purchases_table, shim_table, spread_told, stays_told
from valvelab.tables.springs import kept_out, left_over, taken_in
from valvelab.units import System

if TYPE_CHECKING:  # what draws paper is loaded where paper is asked for
    from valvelab.report.assembly import Part
    from valvelab.report.page_model import BuildSheet

Shims = Asked[ShimsQuestion, ShimsInspection]


def inspect(part: ShimsPart, around: Around) -> Shims:
    """The inspection that a part asks for."""
    springs = question_of(part, around)
    only, of = _only(part, springs.table, around)
    locks = dict(lock_of(text) for text in part.fix)
    if len(locks) < len(part.fix):
        raise WrongUsage("--fix: found a position twice, expected each once")
    edited = tuple(map(name_in, part.edited))
    if unfixed := [position for position in edited if position not in locks]:
        raise WrongUsage(f"--edited {unfixed[0]!r}: expected a position that --fix names")
    question = ShimsQuestion(springs, read_heights(part.heights), only, of, locks, by_hand(part), edited)
    return Asked(question, inspect_shims(question))


def _only(part: ShimsPart, table: SpringTable, around: Around) -> tuple[tuple[str, ...] | None, str]:
    """The springs of the set asked for, and what to call it; a job's plan uses the springs of the job's own sets."""
    if part.only:
        names = tuple(name for text in part.only for name in names_in(text))
        return names, "the springs named" if part.set is None else f"set {part.set}"
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


def tables(asked: Shims, system: System) -> Sequence[Told]:
    """A row a valve, how even the forces come, what changes its place, what to buy, what is left over."""
    result = asked.inspection.result
    plan, spread = shim_table(result, system), spread_told(result, system)
    work = [moves_table(result, system), purchases_table(result, system)]
    decided = [kept_out(result.excluded), taken_in(result.taken_in)]
    return [plan, spread, work, stays_told(result), left_over(result.left_over), *decided]


def paper(asked: Shims, system: System) -> Part:
    """The shim plan's part of a certificate."""
    from valvelab.report.shims_certificate import shims_part

    return shims_part(asked.inspection, asked.question.springs.table, asked.question.heights, system)


def sheet(asked: Shims, system: System) -> BuildSheet:
    """The sheet that is read at the bench."""
    from valvelab.report.shims_certificate import shims_sheet

    return shims_sheet(asked.inspection.result, system)


USE = Use(ShimsPart, ShimsResult, inspect, tables, paper, sheet=sheet)
