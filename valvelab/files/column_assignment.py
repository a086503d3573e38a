"""`--columns "angle=0 [crank deg], 1I=2 [in]"`: names and units given by the reader of a table without usable ones."""

from __future__ import annotations

import re
from dataclasses import dataclass

from valvelab.errors import WrongUsage

EXAMPLE = '"angle=0 [crank deg], 1I=2 [in]"'

_ITEM = re.compile(r"\s*([^=\[\],]+?)\s*=\s*(\d{1,5})\s*(?:\[([^\[\]]*)\])?\s*")


@dataclass(frozen=True, slots=True)
class AssignedColumn:
    """One name for the column at `index`, counted from 0; unit None leaves it to the file's header."""

    name: str
    index: int
    unit: str | None = None


@dataclass(frozen=True, slots=True)
class ColumnAssignment:
    """Which columns of a table are read, and as what; the others stay out."""

    columns: tuple[AssignedColumn, ...]

    def text(self) -> str:
        """The assignment as it is typed after `--columns`."""
        return ", ".join(
            f"{column.name}={column.index}" + ("" if column.unit is None else f" [{column.unit}]")
            for column in self.columns
        )


def parse_columns(text: str) -> ColumnAssignment:
    """The assignment typed after `--columns`; refuses anything else as wrong usage."""
    columns: list[AssignedColumn] = []
    for part in text.split(","):
        match = _ITEM.fullmatch(part)
        if match is None:
            raise WrongUsage(f"--columns: found {part.strip()!r}, expected name=number [unit], as in {EXAMPLE}")
        name, index, unit = match.groups()
        if any(name.casefold() == column.name.casefold() for column in columns):
            raise WrongUsage(f"--columns: found {name!r} twice, expected each name once")
        columns.append(AssignedColumn(name, int(index), unit.strip() or None if unit is not None else None))
    return ColumnAssignment(tuple(columns))
