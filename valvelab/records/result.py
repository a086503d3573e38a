"""What every command answers: the models behind the JSON documents.

Field names carry their unit. A field that could not be derived is None and a note says why.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from types import NoneType
from typing import Annotated, Any, ClassVar, Literal, NamedTuple

from pydantic import BaseModel, ConfigDict, ValidatorFunctionWrapHandler, WrapValidator, model_validator

from valvelab import __version__
from valvelab.errors import utf8
from valvelab.phrase import Phrase


def _as_text(value: object, plain: ValidatorFunctionWrapHandler) -> str:
    text = utf8(plain(value))
    return value if isinstance(value, Phrase) and value == text else text


Text = Annotated[str, WrapValidator(_as_text)]
"""Text that may hold a file's name, whose bytes need not be UTF-8; a phrase stays one."""


SCHEMA = "$schema"
"""The key by which a document that goes to another program names its schema."""


def schema_id(name: str) -> str:
    """What the schema of a document is called, of this version."""
    return f"urn:valvelab:schema:{name}:{__version__}"


Kind = Literal["intake", "exhaust"]


class Record(BaseModel):
    """Base of all records: frozen, closed to unknown fields, never NaN; what checks one is made at its first use."""

    model_config = ConfigDict(
        frozen=True, extra="forbid", allow_inf_nan=False, ser_json_inf_nan="null", defer_build=True
    )


class Source(Record):
    """One input file and its identity."""

    file: Text
    sha256: str


class Note(Record):
    """Something the reader of a result has to know."""

    level: Literal["info", "warning"]
    about: Text
    text: Text


Decision = Literal["accept", "reject", "undecided"]


OPEN = "undecided: "
"""How remarks and notes begin that say why a verdict is open."""


class Nearest(NamedTuple):
    """The limit that a value stands nearest to, how far inside it (below 0: outside), and whether it is the upper."""

    limit: float
    inside: float
    upper: bool


class Verdict(Record):
    """One characteristic of one item held against its limits."""

    characteristic: str
    item: Text
    at_mm: float | None = None
    measured: float | None
    unit: str
    standard_uncertainty: float | None
    lower: float | None = None
    upper: float | None = None
    probability_conforming: float | None
    decision: Decision
    clause: str | None = None
    reason: Text | None = None
    """Why it is undecided, where an envelope is left, or which source of uncertainty is unknown."""

    @property
    def nearest(self) -> Nearest | None:
        """The limit that the value stands nearest to; None without a value or a limit."""
        value = self.measured
        if value is None:
            return None
        lower = () if self.lower is None else (Nearest(self.lower, value - self.lower, upper=False),)
        upper = () if self.upper is None else (Nearest(self.upper, self.upper - value, upper=True),)
        return min((*lower, *upper), key=lambda one: one.inside, default=None)

    @property
    def remark(self) -> str:
        """The reason as it stands beside the row; empty without one."""
        if not self.reason:
            return ""
        open_ = self.decision == "undecided" and self.probability_conforming is None
        return Phrase("undecided: {reason}", reason=self.reason) if open_ else self.reason


class Result(Record):
    """Head of every result; each command adds its own keys beside these.

    ITEMS: which of its keys hold the items that it is about, one a row of a spreadsheet; none where it is one itself.
    """

    ITEMS: ClassVar[tuple[str, ...]] = ()
    program: Literal["valvelab"] = "valvelab"
    version: str = __version__
    command: str
    source: tuple[Source, ...] = ()
    notes: tuple[Note, ...] = ()
    verdicts: tuple[Verdict, ...] = ()

    @model_validator(mode="before")
    @classmethod
    def _named(cls, document: Any) -> Any:
        """A document read back may name its schema."""
        if not isinstance(document, dict):
            return document
        return {key: value for key, value in document.items() if key != SCHEMA}


def verdicts_in(result: Mapping[str, Any]) -> tuple[Verdict, ...]:
    """The verdicts of a result document, of this version or an earlier one."""
    known = Verdict.model_fields
    return tuple(Verdict(**{key: value for key, value in row.items() if key in known}) for row in result["verdicts"])


def stated_uncertainties(record: Record) -> Iterator[Mapping[str, float | None]]:
    """Standard uncertainties by key, in the key's unit, as a record and those within state them.

    The springs of a nest by themselves don't count: their characteristics are not the nest's.
    """
    for name, value in vars(record).items():
        if isinstance(value, _PLAIN):
            continue
        if name == "uncertainty":
            yield value if isinstance(value, dict) else dict(value)
        elif isinstance(value, tuple) and name != "elements":
            for part in value:
                if not isinstance(part, _PLAIN) and isinstance(part, Record):
                    yield from stated_uncertainties(part)
        elif isinstance(value, Record):
            yield from stated_uncertainties(value)


_PLAIN = (float, str, int, NoneType)
"""Kinds of most fields, asked for first: whether a value is a record is the dearer question."""


def numbered_reasons(verdicts: Iterable[Verdict]) -> dict[str, int]:
    """The different reasons of verdicts, numbered from 1 in their order, for marks in a table and a list under it."""
    reasons = dict.fromkeys(verdict.remark for verdict in verdicts if verdict.remark)
    return {reason: number for number, reason in enumerate(reasons, start=1)}


def exit_code(verdicts: tuple[Verdict, ...]) -> int:
    """0 all accepted or nothing judged, 1 something rejected, 4 nothing rejected but something undecided."""
    decisions = {verdict.decision for verdict in verdicts}
    if "reject" in decisions:
        return 1
    return 4 if "undecided" in decisions else 0


def info(about: str, text: str) -> Note:
    """A note for the record."""
    return Note(level="info", about=about, text=text)


def warning(about: str, text: str) -> Note:
    """A note that asks for attention."""
    return Note(level="warning", about=about, text=text)
