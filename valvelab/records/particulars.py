"""What whoever writes a paper says of it, for whom and for which job, with photographs; and the shop's own card.

name = "Quillmere Engine Works"
address = "Mill Lane 4, Quillmere"
phone = "01632 960 014"
mark = "mark.png"             # a small picture (PNG or JPEG), counted from the card's own folder
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Annotated, Self, TypeVar

from pydantic import AfterValidator, Field, ValidationError

from valvelab.errors import BadQuantity, one_line
from valvelab.records.result import Record

LONGEST_LINE, LONGEST_ADDRESS, LONGEST_REMARKS = 120, 400, 2_000
MOST_PHOTOGRAPHS, MOST_NAMED = 12, 100
_OF_SPRINGS = frozenset({"sets", "shims"})
Stated = TypeVar("Stated", bound=Record)


def _of_most(most: int, what: str, *, lines: bool = False) -> AfterValidator:
    """Text that isn't empty, of so many signs at most, on one line or on several."""

    def check(text: str) -> str:
        rows = text.split("\n") if lines else [text]
        if not 0 < len(text.strip()) <= len(text) <= most or any(one_line(row) != row for row in rows):
            raise BadQuantity("", repr(text[:40]), f"{what} of 1 to {most} signs")
        return text.strip()

    return AfterValidator(check)


Line = Annotated[str, _of_most(LONGEST_LINE, "one line")]


class Photograph(Record):
    """A picture (JPEG or PNG) that is printed small with its caption, and carried whole."""

    file: Path
    caption: Line | None = None


class ShopCard(Record):
    """Who writes the paper: its letterhead. mark: a small picture, PNG or JPEG, counted from the card's own folder."""

    name: Line
    address: Annotated[str, _of_most(LONGEST_ADDRESS, "an address", lines=True)] | None = None
    phone: Line | None = None
    mark: Path | None = None


class Whose(Record):
    """What the part of one use is called, and its serial number; they stand where its readings say none."""

    use: Annotated[str, Field(pattern=r"^[a-z]+$")]
    part: Line | None = None
    serial: Line | None = None


class Particulars(Record):
    """What a paper says besides what was inspected; a job's own keys. full: with all rows and all plots."""

    title: str | None = Field(None, description="name of the job on the certificate")
    customer: Line | None = Field(None, description="whom the paper is for")
    job_number: Line | None = Field(None, description="the shop's own number of the job")
    remarks: Annotated[str, _of_most(LONGEST_REMARKS, "remarks", lines=True)] | None = Field(
        None, description="what else the paper says in words"
    )
    photographs: tuple[Photograph, ...] = Field((), max_length=MOST_PHOTOGRAPHS)
    shop: Path | None = Field(None, description="the shop's card (TOML: name, address, phone, mark)")
    whose: tuple[Whose, ...] = Field((), max_length=MOST_NAMED)
    full: bool = Field(False, description="with the annexes: every row and every plot")

    @property
    def files(self) -> tuple[Path, ...]:
        """Every file that they name."""
        return (*([self.shop] if self.shop else []), *(photograph.file for photograph in self.photographs))

    def whose_is(self, use: str) -> Whose:
        """What is stated of the part of a use; sets and shims are of the springs."""
        asked = (use, *(("springs",) if use in _OF_SPRINGS else ()))
        found = (one for name in asked for one in self.whose if one.use == name)
        return next(found, Whose(use=use))

    def naming(self, use: str, part: str | None, serial: str | None) -> Self:
        """With what the part of a use is called from now on."""
        said = ((text or "").strip()[:LONGEST_LINE] or None for text in (part, serial))
        named = Whose(use=use, **dict(zip(("part", "serial"), said, strict=True)))
        others = tuple(one for one in self.whose if one.use != use)
        return self.model_copy(update={"whose": (*others, named) if named.part or named.serial else others})

    def with_files(self, name: Callable[[Path], Path]) -> Self:
        """With the files that they name under other names."""
        named = tuple(one.model_copy(update={"file": name(one.file)}) for one in self.photographs)
        shop = None if self.shop is None else name(self.shop)
        return self.model_copy(update={"shop": shop, "photographs": named})


def stated(kind: type[Stated], said: Mapping[str, object]) -> Stated:
    """A record of what a person stated, by its keys. Raises BadQuantity with the key of what can't be used."""
    try:
        return kind.model_validate(said)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        cause, key = first.get("ctx", {}).get("error"), str(first["loc"][0])
        if isinstance(cause, BadQuantity):
            raise BadQuantity(key, cause.found, cause.expected) from None
        if first["type"] == "missing":
            raise BadQuantity(key, "nothing", "a text") from None
        raise BadQuantity(key, f"{first['input']!r:.60}", first["msg"]) from None
