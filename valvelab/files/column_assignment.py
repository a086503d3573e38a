"""`--columns "angle=0 [crank deg], 1I=2 [in]"`: names and units given by the reader of a table without usable ones."""

from __future__ import annotations

import re

from valvelab.errors import WrongUsage
from valvelab.files.body import ANYWHERE, Where
from valvelab.frozen import frozen

EXAMPLE = '"angle=0 [crank deg], 1I=2 [in]"'

_ITEM = re.compile(r"\s*([^=\[\],]+?)\s*=\s*(\d{1,5})\s*(?:\[([^\[\]]*)\])?\s*")
_SHEET = re.compile(r"""\s*sheet\s*=\s*(?:(\d{1,5})|"([^"]+)"|'([^']+)')\s*""", re.IGNORECASE)
_ROW = re.compile(r"\s*(header|first[ _]row)\s*=\s*(\d{1,7})\s*", re.IGNORECASE)
_PARTS = re.compile(r"""(?:"[^"]*"|'[^']*'|\[[^\[\]]*\]|[^,])*""")


@frozen
class AssignedColumn:
    """One name for the column at `index`, counted from 0; unit None leaves it to the file's header."""

    name: str
    index: int
    unit: str | None = None


@frozen
class ColumnAssignment:
    """Which columns of a table are read, and as what; the others stay out. Without any the header names them.

    `where` says which sheet, header and first row, as far as it was told.
    """

    columns: tuple[AssignedColumn, ...]
    where: Where = ANYWHERE

    def text(self) -> str:
        """The assignment as it is typed after `--columns`."""
        where = self.where
        sheet = f'"{where.sheet}"' if isinstance(where.sheet, str) else where.sheet
        told = (("sheet", sheet), ("header", where.header), ("first row", where.first_row))
        columns = (
            f"{column.name}={column.index}" + ("" if column.unit is None else f" [{column.unit}]")
            for column in self.columns
        )
        return ", ".join([*(f"{name}={value}" for name, value in told if value is not None), *columns])


def parse_columns(text: str) -> ColumnAssignment:
    """The assignment typed after `--columns`; refuses anything else as wrong usage.

    `sheet=2` or `sheet="Tuesday"`, `header=5` and `first row=6` may stand among the columns; sheets and rows count from
    1, columns from 0.
    """
    columns: list[AssignedColumn] = []
    told: dict[str, int | str] = {}
    for part in _parts(text):
        place = _place(part)
        if place is not None:
            name, value = place
            if name in told:
                raise WrongUsage(f"--columns: found {name!r} twice, expected it once")
            told[name] = value
            continue
        match = _ITEM.fullmatch(part)
        if match is None:
            raise WrongUsage(f"--columns: found {part.strip()!r}, expected name=number [unit], as in {EXAMPLE}")
        name, index, unit = match.groups()
        if any(name.casefold() == column.name.casefold() for column in columns):
            raise WrongUsage(f"--columns: found {name!r} twice, expected each name once")
        columns.append(AssignedColumn(name, int(index), unit.strip() or None if unit is not None else None))
    header, first = told.get("header"), told.get("first row")
    if isinstance(header, int) and isinstance(first, int) and first <= header:
        raise WrongUsage(f"--columns: found first row={first} with header={header}, expected a row below the header")
    return ColumnAssignment(tuple(columns), Where(told.get("sheet"), _row(header), _row(first)))


def _parts(text: str) -> list[str]:
    """The text between commas that stand outside quotes and brackets."""
    found, at = [], 0
    while True:
        match = _PARTS.match(text, at)
        found.append(match.group() if match is not None else "")
        at += len(found[-1])
        if at >= len(text):
            return found
        at += 1


def _place(part: str) -> tuple[str, int | str] | None:
    """`sheet`, `header` or `first row` with its value; None for a column."""
    sheet = _SHEET.fullmatch(part)
    if sheet is not None:
        number, *names = sheet.groups()
        return "sheet", _from_one("sheet", number) if number is not None else next(filter(None, names))
    row = _ROW.fullmatch(part)
    if row is None:
        return None
    name = row.group(1).lower().replace("_", " ")
    return name, _from_one(name, row.group(2))


def _from_one(name: str, digits: str) -> int:
    if int(digits) < 1:
        raise WrongUsage(f"--columns: found {name}={digits}, expected a number from 1")
    return int(digits)


def _row(value: int | str | None) -> int | None:
    return value if isinstance(value, int) else None
