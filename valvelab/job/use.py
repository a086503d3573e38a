"""What a use is to the road from a job to paper: its part's record, how it is inspected, what is told and printed."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Generic, Protocol, TypeVar

from valvelab.frozen import frozen
from valvelab.job.typed import Specs
from valvelab.records.parts.part import JobPart
from valvelab.records.result import Result
from valvelab.records.said import said_in
from valvelab.tables.description import Table
from valvelab.units import System

if TYPE_CHECKING:  # the options of a command are made from a part alone
    from valvelab.report.assembly import Part
    from valvelab.report.page_model import BuildSheet
    from valvelab.sets.tray import Progress


class Inspection(Protocol):
    """What an inspection gives: its result document, and whatever else its tables and figures are made from."""

    @property
    def result(self) -> Result:
        """The result document."""


OfPart = TypeVar("OfPart", bound=JobPart)
Inspected = TypeVar("Inspected", bound=Inspection)
Question = TypeVar("Question")

Stated = Mapping[str, Any]
"""A result as its JSON says it."""
Told = str | Table | Sequence[Table]


@frozen
class Around:
    """What stands around a part.

    earlier: results of the job's parts before it. stated: the answer that a paper gives, checked instead of looked for
    where the clock ended the search. report: whom progress is told to. specs: those of the job.
    """

    earlier: tuple[Result, ...] = ()
    stated: Stated | None = None
    report: Callable[[Progress], None] | None = None
    specs: Specs = field(default_factory=Specs)


@frozen
class Asked(Generic[Question, Inspected]):
    """An inspection with its question, where paper shows both."""

    question: Question
    inspection: Inspected

    @property
    def result(self) -> Result:
        """The result document."""
        return self.inspection.result


def as_shown(inspection: Inspected, system: System) -> Inspected:
    """An inspection whose result says its measures in these units, for paper and terminal; its numbers are the same."""
    if system == "metric":
        return inspection
    inner: Any = inspection
    asked = isinstance(inner, Asked)
    held = {"inspection": as_shown(inner.inspection, system)} if asked else {"result": said_in(inner.result, system)}
    shown: Inspected = replace(inner, **held)
    return shown


@frozen
class Use(Generic[OfPart, Inspected]):
    """One use.

    part: its record. result: its result's model, or what makes it. inspect: the inspection that a part asks for.
    tables: what stands before the verdicts where the result is read, texts and tables; closing: the sentences after
    them. paper: what it puts on a certificate. named: further files, which the part's file names. sheet:
    what is read at the bench; a use that has one is named in `WITH_SHEET` (`valvelab/job/uses.py`). forms: further
    forms of `--out`, by the file's ending. card: the cam card as a file of one of CARD_ENDINGS; a use that has one is
    named in `WITH_CARD`.
    """

    part: type[OfPart]
    result: type[Result] | Callable[[], type[Result]]
    inspect: Callable[[OfPart, Around], Inspected]
    tables: Callable[[Inspected, System], Sequence[Told]]
    paper: Callable[[Inspected, System], Part]
    closing: Callable[[Inspected, System], Sequence[str]] = lambda _inspection, _system: ()
    named: Callable[[OfPart], Iterable[Path]] = lambda _part: ()
    sheet: Callable[[Inspected, System], BuildSheet] | None = None
    forms: Mapping[str, Callable[[Inspected], bytes]] = field(default_factory=dict)
    card: Callable[[Inspected, str, System], bytes | str] | None = None
