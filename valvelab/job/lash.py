"""Lash set by shims in a job: which shim goes into which valve."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from valvelab.errors import BadQuantity, WrongUsage
from valvelab.files.lash_sheet import read_lash
from valvelab.inspection.engine.lash import LashInspection, inspect_lash
from valvelab.job.use import Around, Told, Use
from valvelab.phrase import Phrase
from valvelab.quoting import cut
from valvelab.records.lash import LashResult
from valvelab.records.parts.lash import LashPart
from valvelab.records.result import warning
from valvelab.tables.lash import lash_table, lash_told, purchases_table
from valvelab.units import System, parse_quantity

if TYPE_CHECKING:  # what draws paper is loaded where paper is asked for
    from valvelab.report.assembly import Part
    from valvelab.report.page_model import BuildSheet


def inspect(part: LashPart, around: Around) -> LashInspection:
    """The inspection that a part asks for."""
    fixed = dict(_fixed(text) for text in part.fix)
    if len(fixed) < len(part.fix):
        raise WrongUsage("--fix: found a valve twice, expected each once")
    around.specs.of(part.spec)  # a spec that can't be read is refused
    unused = (
        ()
        if part.spec is None
        else (warning("spec", Phrase("{spec}: nothing of it is judged by a lash sheet", spec=part.spec)),)
    )
    return inspect_lash(read_lash(part.file, part.columns), fixed, unused)


def _fixed(text: str) -> tuple[str, float]:
    """`1I=2.55 mm`: a valve and the shim that goes in."""
    valve, size = cut(text, "=") or ("", "")
    if not (valve and size):
        raise WrongUsage(f'--fix {text!r}: expected VALVE=SIZE, such as "1I=2.55 mm"')
    try:
        return valve, parse_quantity(size, "length", "--fix")
    except BadQuantity as error:
        raise WrongUsage(f"--fix {text!r}: found {error.found}, expected {error.expected}") from None


def tables(inspection: LashInspection, system: System) -> Sequence[Told]:
    """A row a valve, how many come into their band, what to buy."""
    result = inspection.result
    return [lash_table(result, system), lash_told(result, system), purchases_table(result, system)]


def sheet(inspection: LashInspection, system: System) -> BuildSheet:
    """The sheet that is read at the bench."""
    from valvelab.report.lash_certificate import lash_sheet

    return lash_sheet(inspection.result, system)


def paper(inspection: LashInspection, system: System) -> Part:
    """The lash's part of a certificate."""
    from valvelab.report.lash_certificate import lash_part

    return lash_part(inspection, system)


USE = Use(LashPart, LashResult, inspect, tables, paper, sheet=sheet)
