"""The bays behind the one in front: what lies there, what is still to be judged, and what was decided."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from valvelab.workbench import bays
from valvelab.workbench.background import Question, answer_to
from valvelab.workbench.bay import Bay
from valvelab.workbench.document import Document

if TYPE_CHECKING:
    from valvelab.records.result import Decision

BESIDE = {"spec", "instrument card", "adopted uncertainty"}
"""Kinds of file that no bay inspects by themselves."""


def laid(document: Document) -> list[Bay]:
    """The bays that something lies on the bench for: a file, or a sheet that was typed and stands in none."""
    found = {content.kind for file in document.files if (content := document.content(file)) is not None}
    typed = {state.bay for state in document.states.values() if state.unsaved}
    return [bay for bay in bays.BAYS if found & set(bay.takes) - BESIDE or (bay.blank and bay.name in typed)]


def unjudged(document: Document) -> tuple[str, Question[Any]] | None:
    """A bay behind the one in front that could judge by a spec and has no answer yet, with its question."""
    for bay in () if document.unread() else laid(document):
        work = bays.work_of(bay.name)
        if bay.name == document.bay or not work.judges or work.spec(document) is None:
            continue
        question = bays.question_of(document, bay.name)
        if question is not None and answer_to(document, bay.name, question) is None:
            return bay.name, question
    return None


def decided(document: Document, also: Collection[str] = ()) -> dict[str, Decision | None]:
    """What the answers of the bays behind the one in front come to; None where nothing is judged, or not yet.

    also: further bays that have come to something before.
    """
    from valvelab.tables.verdicts import overall
    from valvelab.workbench import entry_told

    found: dict[str, Decision | None] = {}
    names = {bay.name for bay in laid(document)} | {*also}
    answered = [bay for bay in bays.BAYS if bay.name in names and (bay.blank or bay.name in document.answers)]
    for bay in answered:
        if bay.name == document.bay or (value := bays.answer_value(document, bay)) is None:
            continue
        work = bays.work_of(bay.name)
        begun = entry_told.progress(replace(document, bay=bay.name)) or work.progress(value)
        found[bay.name] = None if begun else overall(work.result(value).verdicts)
    return found
