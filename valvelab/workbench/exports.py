"""What a bay gives other programs: its results, and its cam card where it has one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Any

from valvelab.job.exchange import FORMS, Said, exchanged, said_on_disk
from valvelab.job.uses import CARD_ENDINGS, WITH_CARD, use
from valvelab.language import marked, say
from valvelab.workbench import bays, jobs
from valvelab.workbench.bay import Work
from valvelab.workbench.document import Document

_TOLD = {
    ".xlsx": marked("Results as a workbook (*.xlsx)"),
    ".csv": marked("Results as a table (*.csv)"),
    ".json": marked("Results as JSON (*.json)"),
    ".qif": marked("Results as QIF (*.qif)"),
}
_CARD_TOLD = {".pdf": marked("Cam card to read (*.pdf)"), ".toml": marked("Cam card as limits (*.toml)")}


@dataclass(frozen=True, slots=True)
class Export:
    """One file that can be made: its kind as file dialogs name it, and what makes its content, away from the window."""

    kind: str
    made: Callable[[], bytes | str]


def exports(document: Document, value: Any) -> tuple[Export, ...]:
    """What can be exported of the answer at the bay in front; `made` raises a ValvelabError that says what is amiss."""
    work = bays.work_of(document.bay)
    result = work.result(value)
    forms = [ending for ending in _TOLD if ending in FORMS and (ending != ".qif" or result.verdicts)]
    made = [
        Export(_TOLD[ending], partial(exchanged, result, ending, partial(_said, work, document, value)))
        for ending in forms
    ]
    known = use(result.command)
    made += [
        Export(say("Readings as {upper} (*{end})").format(upper=end[1:].upper(), end=end), partial(form, value))
        for end, form in known.forms.items()
    ]
    if result.command in WITH_CARD and (card := known.card) is not None:
        made += [Export(_CARD_TOLD[ending], partial(card, value, ending, document.units)) for ending in CARD_ENDINGS]
    return tuple(made)


def _said(work: Work[Any], document: Document, value: Any) -> Said:
    """What the files say from which the part in front is inspected, those typed as they were typed."""
    written = work.written(document, value)
    with jobs.on_disk(written, work.certificate(written, value).part) as part:
        return said_on_disk(part)
