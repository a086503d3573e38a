"""The report of a batch: the lot against its limits, what failed, and what the figures mean."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from valvelab.conformity.capability import CONFIDENCE
from valvelab.figures.lot_figures import distribution_figure, drift_figure
from valvelab.inspection.lot.inspect import Lot
from valvelab.records.batch_result import BatchResult
from valvelab.records.said import said_in
from valvelab.records.spec import Spec
from valvelab.report.assembly import in_words, notes_section, number_of, sources_table, spec_pairs
from valvelab.report.page_model import (
    Attachment,
    Banner,
    Block,
    Certificate,
    FigureBlock,
    Identity,
    Paragraph,
    Section,
)
from valvelab.report.pdf import certificate_bytes
from valvelab.report.texts import SOURCES
from valvelab.tables.description import Table
from valvelab.tables.lot import lot_tables, of_items
from valvelab.tables.verdicts import RANKED, WORDS, judged
from valvelab.units import System

TITLE = "Lot report"
MOST_FAILED = 200
_PICTURE_MM = 62.0
_METHOD = (
    (
        "Every limit is shown with all values that were held against it, whatever their item. n: values; outside: "
        "values beyond a limit; missing: items that had no value there. s is the standard deviation of the values."
    ),
    (
        "Pp = (U − L)/6s and Ppk = the distance of the mean to the nearer limit over 3s (ISO 22514-2), for the lot as "
        f"it is, with two-sided intervals at {CONFIDENCE:.0%}: chi squared for the first, noncentral t for the second. "
        "Both suppose values that are normal and independent: “normal” says what the Anderson–Darling statistic finds "
        "at 5 %; several items of one part are less than independent, and intervals are then too narrow."
    ),
    (
        "The share of u is the mean of the squared standard uncertainties over s². Where it is large the lot "
        "is better than its indices."
    ),
    (
        "Drift is the straight line of least squares over the dates in the files, or over the order of the files where "
        "a date is missing; “may be chance” where its interval at 95 % reaches over zero."
    ),
)


def lot_report(
    result: BatchResult, lots: Sequence[Lot], made: str, of: str, spec: Spec | None, system: System
) -> bytes:
    """PDF of a batch. lots: those of the result's `lot`, in order; made: the date, ISO 8601; of: what was inspected."""
    document = Attachment("batch.json", result.model_dump_json(indent=1).encode(), "the result in full")
    sections = (
        Section(TITLE, (*_front(result, made, of, spec), *lot_tables(result.lot, system))),
        *_pictures(result, lots, system),
        *_failed(result),
        notes_section([(note, ()) for note in said_in(result, system).notes]),
        Section(SOURCES, (*map(Paragraph, _METHOD), *([sources_table(result.source, ())] if result.source else []))),
    )
    number = number_of((document,))
    program = f"valvelab {result.version}"
    paper = Certificate(TITLE, number, None, made, program, result.source, sections, (document,), kind="report")
    return certificate_bytes(paper, system)


def _front(result: BatchResult, made: str, of: str, spec: Spec | None) -> Iterator[Block]:
    counted = (("files", result.files), ("rows", result.rows), ("failed", len(result.failed)))
    told = [(name, str(count)) for name, count in counted]
    yield Identity((("inspected", of), *spec_pairs(spec), *told, ("report written", made)))
    counts = [(kind, getattr(result.decisions, kind)) for kind in RANKED]
    worst = next((kind for kind, count in counts if count), None)
    if worst is None:
        yield Banner(None, "Nothing judged", "No limit of a spec applied to any file.")
        return
    sentence = f"Of the rows: {', '.join(f'{count} {WORDS[kind]}' for kind, count in counts if count)}."
    yield Banner(
        worst, WORDS[worst].capitalize(), sentence if spec is None else f"{sentence} {in_words(spec.decision)}"
    )


def _pictures(result: BatchResult, lots: Sequence[Lot], system: System) -> Iterator[Section]:
    for number, (row, lot) in enumerate(zip(result.lot, lots, strict=True)):
        figures = tuple((figure,) for figure in (distribution_figure(lot, row), drift_figure(lot, row)) if figure)
        if figures:
            items = Paragraph(of_items(row), "small")
            yield Section(judged(row, system), (items, FigureBlock(figures, _PICTURE_MM)), new_page=number == 0)


def _failed(result: BatchResult) -> Iterator[Section]:
    if not result.failed:
        return
    rows = tuple((row.file, row.reason) for row in result.failed[:MOST_FAILED])
    blocks: list[Block] = [Table(("file", "why"), rows, left=2, wrap=(0, 1), widths=(40, 60))]
    if len(result.failed) > MOST_FAILED:
        blocks.append(Paragraph(f"and {len(result.failed) - MOST_FAILED} more, in batch.json.", "small"))
    yield Section("Failed", tuple(blocks))
