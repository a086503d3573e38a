"""The bays of the bench: what each accepts, what it asks, and where the window finds its view.

To add a bay called `springs`:

1. `valvelab/workbench/springs_bay.py` with a module constant `BAY: Bay` (see `bay`, `lobes_bay`): the kinds of
   file it takes, and `question(document)`, a pure function that returns the work to be done for what
   is on the bench (or None while something is missing); `state`, a frozen dataclass of what a person decides there
   (see `state`). The answer's value is what `inspection.inspect_…` returns;
   `result(value)` gives its `records.result.Result`, whose verdicts and notes the docks show.
2. `valvelab/window/bays/springs_view.py` with `make_view(bench) -> BayView`. It builds its widgets from
   `window.panel` (any Figure, HeatMap or Dial), `window.tables` and `window.panes` (chips and fields that are bound to
   the state), and in `show_answer` it redraws what `changed` says is another.
   What can be begun on the empty bench is a small widget: `make_start(bench)` in `springs_start.py`.
3. An icon `resources/icons/<icon>.svg`, and the bay in `BAYS` below.

Bay modules are imported before the window's first paint: nothing heavy at their top level.
"""

from __future__ import annotations

from contextlib import suppress
from typing import Any

from valvelab.errors import ValvelabError
from valvelab.files.kinds import READERS, Reader
from valvelab.records.job import JobPart
from valvelab.workbench import gauge_bay, lobes_bay, motion_bay, phasing_bay, shaft_bay, springs_bay, texture_bay
from valvelab.workbench.background import Question, answer_to
from valvelab.workbench.bay import Bay
from valvelab.workbench.document import Document, Value

BAYS: tuple[Bay[Any], ...] = (
    lobes_bay.BAY,
    springs_bay.BAY,
    shaft_bay.BAY,
    texture_bay.BAY,
    gauge_bay.BAY,
    phasing_bay.BAY,
    motion_bay.BAY,
)
"""In bench order."""


def by_name(name: str) -> Bay[Any] | None:
    """The bay of that name."""
    return next((bay for bay in BAYS if bay.name == name), None)


def kinds() -> tuple[Reader, ...]:
    """Every kind of file that some bay takes."""
    taken = {kind for bay in BAYS for kind in bay.takes}
    return tuple(reader for reader in READERS if reader.name in taken)


def takers(kind: str) -> tuple[Bay[Any], ...]:
    """Bays that take a kind of file."""
    return tuple(bay for bay in BAYS if kind in bay.takes)


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
    found = (document.in_use(kind) for kind in bay.takes)
    return {file.path for file in found if file is not None}


def answer_value(document: Document, bay: Bay[Value]) -> Value | None:
    """The bay's answer for the document as it is; None while there is none or it belongs to another state."""
    known = answer_to(document, bay.name, bay.question(document))
    value = None if known is None else known.value
    return value if bay.at_once is None else bay.at_once(document, value)


def parts(document: Document) -> tuple[JobPart, ...]:
    """The parts of a job that inspect again what every bay shows."""
    found = []
    for bay in BAYS:
        value = answer_value(document, bay)
        if bay.certificate is not None and value is not None:
            with suppress(ValvelabError):
                found.append(bay.certificate(document, value).part)
    return tuple(found)


def results(document: Document) -> dict[str, str]:
    """Every answer that there is, as JSON by bay."""
    known = ((bay, answer_value(document, bay)) for bay in BAYS)
    return {bay.name: bay.result(value).model_dump_json(indent=1) for bay, value in known if value is not None}
