"""What a comparison puts on the certificate: what changed, and each lobe's or spring's picture of it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from valvelab.figures.comparison_figures import left_figure, overlay_figure, spring_changes_figure
from valvelab.records.measurement import LiftTable
from valvelab.report import lobes_certificate, springs_certificate
from valvelab.report.assembly import Part
from valvelab.report.page_model import FigureBlock, Section, figure_rows
from valvelab.tables.comparison import comparison_tables
from valvelab.tables.verdicts import rank, worst_by_item
from valvelab.units import System

if TYPE_CHECKING:
    from valvelab.inspection.comparison.inspect import CompareInspection, Readings
    from valvelab.inspection.comparison.lobes import ComparedLobe

PAIR_MM, FLAT_MM, ACROSS = 96.0, 78.0, 2
OF_LOBES = (
    "After less before. The later curve is turned, robustly, until it lies on the earlier one, so that worn places do "
    "not pull it; lift is counted from each base circle where both tables show one. Shaded: twice the standard "
    "uncertainty to either side. A loss is wear only where it exceeds what noise alone rises to anywhere on the lobes."
)
OF_SPRINGS = (
    "After less before, both at the same heights: installed (seat force) and open. u is the standard uncertainty of "
    "the difference; a tester that both files name counts once."
)


def comparison_part(inspection: CompareInspection, system: System = "metric") -> Part:
    """The comparison's part of a certificate."""
    result, question = inspection.result, inspection.question
    lobes = result.kind == "lobes"
    picture: tuple[FigureBlock, ...]
    if lobes:
        worst = worst_by_item(result.verdicts)
        ranked = sorted(inspection.lobes, key=lambda one: rank(worst.get(one.lobe)))
        picture = tuple(_of_lobes(ranked[:ACROSS]))
    else:
        picture = (FigureBlock(((spring_changes_figure(result),),), FLAT_MM),)
    return Part(
        name="Before and after",
        result=result,
        identity=_identity(question.before, question.after, system),
        picture=picture,
        found=tuple(comparison_tables(result, system)),
        annexes=lambda: (Section("Before and after", tuple(_of_lobes(inspection.lobes))),) if lobes else (),
        method=OF_LOBES if lobes else OF_SPRINGS,
        subjects=("comparison",),
        serial=_told(question.after, "serial number", system) or _told(question.before, "serial number", system),
    )


def _of_lobes(lobes: Sequence[ComparedLobe]) -> list[FigureBlock]:
    """Both measurements of these lobes, and what is left between them."""
    columns = [(overlay_figure(one), left_figure(one)) for one in lobes]
    return figure_rows(columns, ACROSS, PAIR_MM, [f"Lobe {one.lobe}" for one in lobes])


SHOWN = ("part", "serial number", "instrument", "measured on", "stated uncertainty")


def _pairs(readings: Readings, system: System) -> dict[str, str | None]:
    """Label and value of what the readings' preamble states."""
    if isinstance(readings, LiftTable):
        return dict(lobes_certificate.identity(readings, system))
    heights = readings.installed_height_mm, readings.valve_lift_mm
    return dict(springs_certificate.identity(readings, *heights, system))


def _identity(before: Readings, after: Readings, system: System) -> tuple[tuple[str, str | None], ...]:
    """What both state, and where they differ what each does."""
    earlier, later = _pairs(before, system), _pairs(after, system)
    return tuple((label, _both(earlier[label], later[label])) for label in SHOWN)


def _both(before: str | None, after: str | None) -> str | None:
    if before == after:
        return before
    return f"before {before or 'not stated'}, after {after or 'not stated'}"


def _told(readings: Readings, label: str, system: System) -> str | None:
    return _pairs(readings, system)[label]
