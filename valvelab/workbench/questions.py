"""Background work: a frozen question, a frozen answer, nothing shared.

The key says all that the answer depends on. An answer whose key is no longer the question's is stale and is dropped.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from valvelab.errors import ValvelabError
from valvelab.workbench.document import Answer


@dataclass(frozen=True, slots=True)
class Question:
    """Work to be done away from the window: `work` is a pure function of what `key` names."""

    key: object
    label: str
    work: Callable[[], object] = field(compare=False)


@dataclass(frozen=True, slots=True)
class Partly:
    """A value that leaves something out, and the sentence that says what and why."""

    value: object
    failure: str


def answer(question: Question) -> Answer:
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
