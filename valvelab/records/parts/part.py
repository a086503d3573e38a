"""What every part of a job says: its file and spec, the columns of a table, the card of what read a lift."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import ClassVar, Self

from pydantic import Field

from valvelab.records.result import Record

MOST_OF_ONE, MOST_LISTED = 50, 2_000
AT = 'add a checking lift, for example "0.050 in"; repeatable'


class JobPart(Record):
    """One inspection: its file, the spec that wins over the job's, and what its use asks besides.

    Files are as they would be typed in the job's own folder.
    """

    POSITIONAL: ClassVar[tuple[str, ...]] = ("file",)
    """Fields that a command line names by their place."""

    inspect: str
    file: Path
    spec: Path | None = None

    @classmethod
    def options(cls) -> dict[str, str]:
        """The fields that are typed as options, by the option's name."""
        placed = {"inspect", "spec", *cls.POSITIONAL}
        fields = {name: info for name, info in cls.model_fields.items() if name not in placed}
        return {f"--{info.alias or name}".replace("_", "-"): name for name, info in fields.items()}

    @property
    def files(self) -> tuple[Path, ...]:
        """Every file that a field names."""
        return tuple(file for _, value in self for file in _paths(value))

    def with_files(self, name: Callable[[Path], Path]) -> Self:
        """The part with its files under other names."""
        named = {
            field: name(value) if isinstance(value, Path) else tuple(map(name, _paths(value)))
            for field, value in self
            if _paths(value)
        }
        return self.model_copy(update=named)


def _paths(value: object) -> tuple[Path, ...]:
    """The files that a field's value names."""
    if isinstance(value, Path):
        return (value,)
    return tuple(one for one in value if isinstance(one, Path)) if isinstance(value, tuple) else ()


class TablePart(JobPart):
    """An inspection of a table, whose columns may be assigned."""

    columns: str | None = Field(
        None,
        title="TEXT",
        description='assign columns counted from 0, as in "angle=0 [crank deg], 1I=2 [in]"; sheet=2 or '
        'sheet="Tuesday", header=5, first row=6 (counted from 1) may stand among them',
    )


class LiftPart(TablePart):
    """An inspection of a lift table, whose readings an instrument's card may correct."""

    instrument: Path | None = Field(
        None, title="CARD", description="calibration card of what read the lift: readings are corrected by it"
    )
