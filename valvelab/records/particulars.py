"""What whoever writes a paper says of it, for whom and for which job, with photographs; and the shop's own card.

name = "Quillmere Engine Works"
address = "Mill Lane 4, Quillmere"
phone = "01632 960 014"
mark = "mark.png"             # a small picture (PNG or JPEG), counted from the card's own folder
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Self

from pydantic import AfterValidator, Field

from valvelab.errors import BadQuantity, one_line
from valvelab.records.result import Record

LONGEST_LINE, LONGEST_ADDRESS, LONGEST_REMARKS = 120, 400, 2_000
MOST_PHOTOGRAPHS = 12


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


class Particulars(Record):
    """What a paper says besides what was inspected; a job's own keys. full: with all rows and all plots."""

    customer: Line | None = Field(None, description="whom the paper is for")
    job_number: Line | None = Field(None, description="the shop's own number of the job")
    remarks: Annotated[str, _of_most(LONGEST_REMARKS, "remarks", lines=True)] | None = Field(
        None, description="what else the paper says in words"
    )
    photographs: tuple[Photograph, ...] = Field((), max_length=MOST_PHOTOGRAPHS)
    shop: Path | None = Field(None, description="the shop's card (TOML: name, address, phone, mark)")
    full: bool = Field(False, description="with the annexes: every row and every plot")

    @property
    def files(self) -> tuple[Path, ...]:
        """Every file that they name."""
        return (*([self.shop] if self.shop else []), *(photograph.file for photograph in self.photographs))

    def with_files(self, name: Callable[[Path], Path]) -> Self:
        """With the files that they name under other names."""
        named = tuple(one.model_copy(update={"file": name(one.file)}) for one in self.photographs)
        shop = None if self.shop is None else name(self.shop)
        return self.model_copy(update={"shop": shop, "photographs": named})
