"""What the text reader and the workbook reader hand to the table: rows below a header, with their places."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal, Protocol

from numpy.typing import NDArray

from valvelab.arrays import FloatArray
from valvelab.files.cells import Readings
from valvelab.frozen import frozen


class Body(Protocol):
    """The data rows of a table, by column."""

    @property
    def row_count(self) -> int:
        """How many data rows there are."""

    @property
    def width(self) -> int:
        """How many columns there are."""

    def numbers(self, index: int) -> FloatArray | None:
        """A column as written, NaN where a cell is empty; None when a cell holds something else."""

    def readings(self, index: int) -> Readings:
        """A column as far as its cells are numbers."""

    def texts(self, index: int) -> tuple[str, ...]:
        """A column's cells as text, stripped."""

    def labels(self, index: int) -> NDArray[Any]:
        """A column's cells as an array of text."""

    def number_wanted(self, cell: str) -> str:
        """What a cell that is not a number should have been."""

    @property
    def overlong(self) -> Mapping[int, int]:
        """Rows with more cells than the table has columns, and how many."""

    def place(self, row: int, index: int | None = None) -> str:
        """Where a data row or cell is in the file: `line 12` or `B7`."""

    def head(self, most: int) -> list[tuple[int, list[str]]]:
        """The first rows as text, each with its number in the file, from 1."""

    def row_text(self, row: int) -> str:
        """A data row as it reads."""


@frozen
class PreambleEntry:
    """One `# key: value`, and where it stands."""

    value: str
    place: str


@frozen
class Where:
    """Where the table stands, as far as the reader of a file was told: sheet by name or number from 1, rows from 1."""

    sheet: int | str | None = None
    header: int | None = None
    first_row: int | None = None


ANYWHERE = Where()


@frozen
class Skipped:
    """A row above the header: its number in the file, and what it holds."""

    row: int
    text: str


@frozen
class RawTable:
    """A file taken apart: preamble, header cells as written (None without a header) and body."""

    preamble: dict[str, PreambleEntry]
    header: tuple[str, ...] | None
    header_place: str
    body: Body
    form: Literal["tab", "semicolon", "comma", "bar", "space", "xlsx"]
    remarks: tuple[str, ...] = ()
    skipped: tuple[Skipped, ...] = ()
    caption: tuple[str, ...] = ()
    """Words of a comment right above rows without a header, one a column; a guess to show, never used as names."""
    header_row: int | None = None
    """Number of the header's row, from 1."""
    sheets: tuple[str, ...] = ()
    """Names of a workbook's sheets, and which of them this is."""
    sheet: str = ""
