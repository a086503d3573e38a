"""What the record store keeps of an inspection, for as long as there is a store: one record a part of a job."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping
from hashlib import sha256
from typing import Any, Literal, Self

from pydantic import Field, computed_field

from valvelab.frozen import frozen
from valvelab.records.result import Decision, Record, Text

FileRole = Literal["readings", "spec", "input", "job", "result", "certificate"]
DERIVED = {"corrected_by", "out_of_calibration"}
"""What follows from a record's date or from later records, and is no part of it."""
SHORT = 12
"""Signs of a record's name that are shown; fewer may be typed."""
ISO_DATE = r"^\d{4}-\d{2}-\d{2}$"
SHA256 = r"^[0-9a-f]{64}$"


class StoredFile(Record):
    """A file of a record: its name there, what it is to it, and its identity; equal bytes are kept once."""

    name: Text
    role: FileRole
    sha256: str = Field(pattern=SHA256)
    size: int = Field(ge=0)


class StoredItem(Record):
    """A lobe, spring or station of a record, with the gravest decision on it; None where nothing was judged."""

    item: Text
    decision: Decision | None = None


class StoredRecord(Record):
    """One inspection as it was recorded; it never changes, a correction is another record.

    id: SHA-256 over everything else, so that a changed record shows. recorded: when, in UTC. date: the day on which it
    was measured, as the readings state it, else that of the job or its paper. job_part: which part of its job it is,
    from 0. version: that of the program whose methods gave the result. corrects: the record that it stands in for.
    """

    schema_version: Literal[1] = 1
    id: str = Field("", pattern=r"^([0-9a-f]{64})?$")
    recorded: str
    date: str = Field(pattern=ISO_DATE)
    inspect: str
    version: str
    job_part: int = Field(ge=0)
    part: Text | None = None
    serial: Text | None = None
    customer: Text | None = None
    operator: Text | None = None
    instrument: Text | None = None
    instrument_calibrated: Text | None = None
    instrument_due: str | None = Field(None, pattern=ISO_DATE)
    temperature_degc: float | None = None
    spec_title: Text | None = None
    spec_revision: Text | None = None
    decision: Decision | None = None
    accepted: int = Field(ge=0)
    rejected: int = Field(ge=0)
    undecided: int = Field(ge=0)
    corrects: str | None = Field(None, pattern=SHA256)
    reason: Text | None = None
    items: tuple[StoredItem, ...]
    files: tuple[StoredFile, ...]
    corrected_by: str | None = Field(None, description="the later record that stands in for this one")

    @computed_field(description="measured after the day on which the instrument's calibration was due")  # type: ignore[prop-decorator]
    @property
    def out_of_calibration(self) -> bool:
        """Whether its verdicts rest on an instrument that was overdue for calibration."""
        return self.instrument_due is not None and self.date > self.instrument_due

    def of_role(self, role: FileRole) -> StoredFile | None:
        """Its first file of a role."""
        return next((file for file in self.files if file.role == role), None)

    def named(self) -> Self:
        """The record under the name that its content gives it."""
        return self.model_copy(update={"id": identity(self)})

    def line(self) -> str:
        """The record as a line of an export, which reads back as the same."""
        return self.model_dump_json(exclude=DERIVED, exclude_none=True)


NAME = re.compile(r"[0-9a-f]{4,64}")
"""What may name a record: the beginning of its SHA-256."""


def short(name: str) -> str:
    """A record's name, or that of bytes, as it is shown."""
    return name[:SHORT]


def identity(record: StoredRecord) -> str:
    """SHA-256 over a record without its name and what is derived; None counts as absent, so that keys may be added."""
    whole = record.model_dump(exclude={"id", *DERIVED}, exclude_none=True)
    return sha256(json.dumps(whole, sort_keys=True, separators=(",", ":")).encode()).hexdigest()


@frozen
class Entry:
    """A record to be kept, with the bytes of its files by their SHA-256."""

    record: StoredRecord
    contents: Mapping[str, bytes]

    @property
    def result(self) -> dict[str, Any]:
        """The inspection's own document."""
        file = self.record.of_role("result")
        return {} if file is None else dict(json.loads(self.contents[file.sha256]))

    @classmethod
    def of(cls, record: StoredRecord, contents: Iterable[bytes]) -> Self:
        """The entry of a record that has no name yet."""
        return cls(record.named(), {sha256(data).hexdigest(): data for data in contents})
