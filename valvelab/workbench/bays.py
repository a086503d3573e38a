"""The bays of the bench: what each accepts, what it asks, and where the window finds its view.

To add a bay called `springs`:

1. `valvelab/workbench/springs_bay.py` with a module constant `BAY: Bay` (see `lobes_bay`): the kinds of
   file it takes with their readers, and `question(document)`, a pure function that returns the work to be done for what
   is on the bench (or None while something is missing); `state`, a frozen dataclass of what a person decides there
   (see `state`). The answer's value is what `inspection.inspect_…` returns;
   `result(value)` gives its `records.result.Result`, whose verdicts and notes the docks show.
2. `valvelab/window/bays/springs_view.py` with `make_view(bench) -> BayView`. It builds its widgets from
   `window.panel` (any Figure, HeatMap or Dial), `window.tables` and `window.panes` (chips and fields that are bound to
   the state), and in `show_answer` it redraws what `changed` says is another.
   What can be begun on the empty bench is a small widget: `make_start(bench)` in `springs_start.py`.
3. An icon `resources/icons/<icon>.svg`, and the name in `BAYS` below.

Bay modules are imported before the window's first paint: nothing heavy at their top level.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib import import_module
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any, Generic

from valvelab.workbench.background import Question, answer_to
from valvelab.workbench.document import BenchFile, Document, Value

if TYPE_CHECKING:
    from valvelab.job.certificates import Shown
    from valvelab.records.result import Result

BAYS = ("lobes", "springs", "shaft", "texture", "gauge", "phasing", "motion")


@dataclass(frozen=True, slots=True)
class Intake:
    """A kind of file that a bay takes.

    kind: as `files.kinds.kind_of` names it. label: for people. reader: `"module:function"`, called with the path, and
    with `columns=` where `columns` says that the reader takes a column assignment. fields: what columns can be assigned
    to, with the units of each.
    """

    kind: str
    label: str
    reader: str
    columns: bool = False
    fields: Mapping[str, tuple[str, ...]] | None = None


@dataclass(frozen=True, slots=True)
class Bay(Generic[Value]):
    """One bay, whose answers are of one type; `state` is the type of what a person decides at it.

    `certificate(document, value)` says what it puts on paper; None where it puts nothing.
    `uses(document)` names the files that the question reads, where they are not simply the ones in use of each kind.
    `at_once(document, value)` makes the value shown from the answer (None while there is none) and the state, in a
    few milliseconds and in the window itself, so that fields keep the focus while every entry counts; it returns the
    same object for the same state. `sample` names files of the sample folder to try it with.
    """

    name: str
    title: str
    icon: str
    intakes: tuple[Intake, ...]
    empty: str
    state: type[Any]
    question: Callable[[Document], Question[Value] | None]
    result: Callable[[Value], Result]
    certificate: Callable[[Document, Value], Shown] | None = None
    uses: Callable[[Document], tuple[BenchFile, ...]] | None = None
    at_once: Callable[[Document, Value | None], Value | None] | None = None
    sample: tuple[str, ...] = ("quillmere_four_camshaft.csv", "quillmere_four_camshaft.toml")


@cache
def available() -> tuple[Bay[Any], ...]:
    """Bays whose module is there, in bench order."""
    names = [f"valvelab.workbench.{name}_bay" for name in BAYS]
    return tuple(import_module(name).BAY for name in names if find_spec(name))


def by_name(name: str) -> Bay[Any] | None:
    """The bay of that name."""
    return next((bay for bay in available() if bay.name == name), None)


def intakes() -> dict[str, Intake]:
    """Every kind of file that some bay takes."""
    return {intake.kind: intake for bay in available() for intake in bay.intakes}


def takers(kind: str) -> tuple[Bay[Any], ...]:
    """Bays that take a kind of file."""
    return tuple(bay for bay in available() if any(intake.kind == kind for intake in bay.intakes))


def outstanding(document: Document) -> Question[Any] | None:
    """The question of the bay in front, where its answer is not there yet."""
    bay = by_name(document.bay)
    if bay is None or document.unread():
        return None
    question = bay.question(document)
    if question is None:
        return None
    return question if answer_to(document, bay.name, question) is None else None


def files_in_use(document: Document) -> set[str]:
    """Paths of the files that the bay in front works on."""
    bay = by_name(document.bay)
    if bay is None:
        return set()
    if bay.uses is not None:
        return {file.path for file in bay.uses(document)}
    found = (document.in_use(intake.kind) for intake in bay.intakes)
    return {file.path for file in found if file is not None}


def front_item(result: Result, names: Sequence[str], chosen: str, otherwise: str = "") -> str:
    """The item in front: the one chosen while it is there, else the first rejected, else `otherwise`, the first."""
    if chosen in names:
        return chosen
    rejected = (str(verdict.item) for verdict in result.verdicts if verdict.decision == "reject")
    return next((item for item in (*rejected, otherwise) if item in names), next(iter(names), ""))


def answer_value(document: Document, bay: Bay[Value]) -> Value | None:
    """The bay's answer for the document as it is; None while there is none or it belongs to another state."""
    known = answer_to(document, bay.name, bay.question(document))
    value = None if known is None else known.value
    return value if bay.at_once is None else bay.at_once(document, value)
