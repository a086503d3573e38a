"""What a bay of the bench is: a light description, and its work, which is loaded when there is some."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Generic

from valvelab.workbench.background import Question
from valvelab.workbench.document import BenchFile, Document, Value
from valvelab.workbench.state import BayState

if TYPE_CHECKING:  # the schema of jobs is not wanted before the first paint
    from valvelab.records.job import Shown
    from valvelab.records.parts.part import JobPart
    from valvelab.records.result import Result
    from valvelab.records.spec import Spec


@dataclass(frozen=True, slots=True)
class Bay:
    """One bay as it is told before anything lies there.

    `takes` names the kinds of file it works on, as `files.kinds` lists them. `blank`: whether it has something to show
    before any file was read. `sample` names files of the sample folder to try it with. `caution`: what to mind with the
    hands at this work.
    """

    name: str
    title: str
    icon: str
    takes: tuple[str, ...]
    empty: str
    blank: bool = False
    caution: str = ""
    sample: tuple[str, ...] = ("quillmere_four_camshaft.csv", "quillmere_four_camshaft.toml")


@dataclass(frozen=True, slots=True)
class Work(Generic[Value]):
    """What is done at a bay, whose answers are of one type; `state` is the type of what a person decides at it.

    `parts(document)` are the parts of a job that inspect again what lies there; `certificate(document, value)` says
    what it puts on paper.
    `written(document, value)` is the document with what was typed there as the text of its files, for paper and jobs.
    `spec(document)` is the spec that verdicts are reached by; `judges` are the subjects that its
    limits are on, or of a subject the one characteristic that it derives (`"lobe duration"`).
    `uses(document)` names the files that the question reads, where they are not simply the ones in use of each kind.
    `at_once(document, value)` makes the value shown from the answer (None while there is none) and the state, in a
    few milliseconds and in the window itself, so that fields keep the focus while every entry counts; it returns the
    same object for the same state.
    `paper(document, value)` is the use that a paper of what is in front is of, where that is not always the bay's own.
    `page(document, value)` is the item in front that has a page of its own, which is printed instead of that paper.
    `progress(value)` says how far a sheet is that is not read to its end, and so not judged.
    """

    state: type[BayState]
    question: Callable[[Document], Question[Value] | None]
    result: Callable[[Value], Result]
    parts: Callable[[Document], tuple[JobPart, ...]]
    certificate: Callable[[Document, Value], Shown]
    spec: Callable[[Document], tuple[BenchFile, Spec] | None] = field(kw_only=True)
    judges: tuple[str, ...] = field(kw_only=True)
    uses: Callable[[Document], tuple[BenchFile, ...]] | None = None
    at_once: Callable[[Document, Value | None], Value | None] | None = None
    written: Callable[[Document, Value], Document] = lambda document, _value: document
    paper: Callable[[Document, Value], str] = field(default=lambda _document, _value: "", kw_only=True)
    page: Callable[[Document, Value], str] = field(default=lambda _document, _value: "", kw_only=True)
    progress: Callable[[Value], str] = field(default=lambda _value: "", kw_only=True)


def front_item(result: Result, names: Sequence[str], chosen: str, otherwise: str = "") -> str:
    """The item in front: the one chosen while it is there, else the first rejected, else `otherwise`, the first."""
    if chosen in names:
        return chosen
    rejected = (str(verdict.item) for verdict in result.verdicts if verdict.decision == "reject")
    return next((item for item in (*rejected, otherwise) if item in names), next(iter(names), ""))
