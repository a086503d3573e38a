"""Background work: a frozen question, a frozen answer, nothing shared.

The key says all that the answer depends on. An answer whose key is no longer the question's is stale and is dropped.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Generic

from valvelab.errors import ValvelabError
from valvelab.workbench.document import Answer, Document, Value


@dataclass(frozen=True, slots=True)
class Question(Generic[Value]):
    """Work to be done away from the window: `work` is a pure function of what `key` names."""

    key: object
    label: str
    work: Callable[[], Value | Partly[Value]] = field(compare=False)


@dataclass(frozen=True, slots=True)
class Partly(Generic[Value]):
    """A value that leaves something out, and the sentence that says what and why."""

    value: Value
    failure: str


def answer(question: Question[Value]) -> Answer[Value]:
    """Do the work; a refusal becomes the answer's failure, anything unforeseen is raised."""
    try:
        value = question.work()
        if isinstance(value, Partly):
            return Answer(question.key, value.value, value.failure)
        return Answer(question.key, value=value)
    except ValvelabError as refusal:
        return Answer(question.key, failure=str(refusal))
    except OSError as error:
        return Answer(question.key, failure=f"{error.filename or 'file'}: {error.strerror or error}")


def answer_to(document: Document, name: str, question: Question[Value] | None) -> Answer[Value] | None:
    """The answer kept under a name, where it answers just this question."""
    known = document.answers.get(name)
    return known if known is not None and question is not None and known.key == question.key else None
