"""A job: which files are inspected how, against which spec; what `certify` takes and a certificate carries.

A part is a record a use, told apart by `inspect`. Its fields are the words of the use's command as well: the command
line is made from them, a bay of the window fills them in, a job file names them.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal, Self, get_args

from pydantic import Field

from valvelab.records.result import Record
from valvelab.records.spec import Quantity
from valvelab.units import System

MOST_PARTS, MOST_OF_ONE, MOST_LISTED = 100, 50, 2_000


@dataclass(frozen=True, slots=True)
class Word:
    """How a field is typed: what stands for its value in the help, the help, the option if it has another name."""

    metavar: str
    help: str
    option: str = ""


Few = Field(max_length=MOST_OF_ONE)
Many = Field(max_length=MOST_LISTED)


class JobPart(Record):
    """One inspection: its file, the spec that wins over the job's, and what its use asks besides.

    Files are as they would be typed in the job's own folder.
    """

    inspect: str
    file: Path
    spec: Path | None = None

    @classmethod
    def options(cls) -> dict[str, tuple[str, Word]]:
        """Every field that is typed as an option: its name by the option's."""
        words = {
            name: next(row for row in info.metadata if isinstance(row, Word))
            for name, info in cls.model_fields.items()
            if name not in {"inspect", "file", "spec"}
        }
        return {f"--{(word.option or name).replace('_', '-')}": (name, word) for name, word in words.items()}

    @property
    def files(self) -> dict[str, Path]:
        """The fields that name a file, with their files."""
        return {name: value for name, value in self if isinstance(value, Path)}


_READINGS = Word("READINGS", "spring readings (text table or XLSX)")
_AT = Word("LIFT", 'add a checking lift, for example "0.050 in"; repeatable')
_WITH_REJECTED = Word("", "springs that the spec rejects may be used as well")


class TablePart(JobPart):
    """An inspection of a table, whose columns may be assigned."""

    columns: Annotated[
        str | None,
        Word(
            "TEXT",
            'assign columns counted from 0, as in "angle=0 [crank deg], 1I=2 [in]"; sheet=2 or sheet="Tuesday", '
            "header=5, first row=6 (counted from 1) may stand among them",
        ),
    ] = None


class LobesPart(TablePart):
    """Lobes and camshaft of a lift table."""

    inspect: Literal["lobes"] = "lobes"
    file: Annotated[Path, Word("LIFT", "lift table (CSV, text or XLSX)")]
    at: Annotated[tuple[Quantity, ...], _AT, Few] = ()
    convert: Annotated[str | None, Word("FOLLOWER", 'describe the lobes under "roller 9.525 mm", flat or point')] = None
    keep_eccentricity: Annotated[bool, Word("", "leave the base circle's eccentricity in, as the shaft runs")] = False
    table_zero: Annotated[bool, Word("", "keep the table's own zero; take nothing out by the base circle")] = False


class ShaftPart(TablePart):
    """Journals and axis of a shaft."""

    inspect: Literal["shaft"] = "shaft"
    file: Annotated[Path, Word("READINGS", "station, position, angle, reading")]
    undulations: Annotated[
        int | None,
        Word("N", "filter the form: Gaussian cutoff in undulations per turn, for example 50 (default: as read)"),
        Field(ge=2, le=5000),
    ] = None
    gauge: Annotated[
        Path | None,
        Word("FILE", "an uncertainty adopted from a gauge study: it counts unless the readings state a larger one"),
    ] = None


class TexturePart(TablePart):
    """Texture of a surface trace."""

    inspect: Literal["texture"] = "texture"
    file: Annotated[Path, Word("TRACE", "CSV x, z; SMD text; X3P")]
    cutoff: Annotated[Quantity | None, Word("LENGTH", "long-wave cutoff, for example 0.8 (mm)")] = None
    short_cutoff: Annotated[Quantity | None, Word("LENGTH", 'short-wave cutoff, for example "2.5 um"; 0 for none')] = (
        None
    )
    sections: Annotated[
        int | None, Word("N", "sections in the evaluation length (default 5)"), Field(ge=1, le=1000)
    ] = None


class SpringsPart(TablePart):
    """Springs one by one."""

    inspect: Literal["springs"] = "springs"
    file: Annotated[Path, _READINGS]
    stress_factor: Annotated[
        Literal["EN 13906-1", "Wahl"],
        Word("", "correction of the shear stress for the coil's curvature (default EN 13906-1)"),
    ] = "EN 13906-1"


class SetsPart(TablePart):
    """Springs matched into sets."""

    inspect: Literal["sets"] = "sets"
    file: Annotated[Path, _READINGS]
    size: Annotated[int | None, Word("N", "springs in a set, 2 to 32")] = None
    within: Annotated[
        tuple[str, ...],
        Word(
            "TEXT",
            'largest range in a set, such as "seat_force=6 N"; repeatable '
            "(seat_force, open_force, rate, solid_height, free_length)",
        ),
        Few,
    ] = ()
    time_limit: Annotated[Quantity, Word("S", "seconds after which the best found counts (30)")] = "30"
    quick: Annotated[bool, Word("", "prove the number of sets, but leave their total spread unproven")] = False
    with_rejected: Annotated[bool, _WITH_REJECTED] = False
    together: Annotated[tuple[str, ...], Word("A,B", "springs that stay in one set"), Many] = ()
    apart: Annotated[tuple[str, ...], Word("A,B", "two springs never in one set"), Many] = ()
    position: Annotated[
        tuple[str, ...],
        Word(
            "TEXT",
            'a place that wants its own set, such as "intake: size=8, seat_force=240 N..260 N"; repeatable',
        ),
        Few,
    ] = ()
    given: Annotated[
        tuple[str, ...],
        Word(
            "A,B,C",
            "a set made by hand; repeatable: these sets are described against the limits instead of matching",
            "set",
        ),
        Many,
    ] = ()


class ShimsPart(TablePart):
    """Springs and shims for the valves of a head."""

    inspect: Literal["shims"] = "shims"
    file: Annotated[Path, _READINGS]
    heights: Annotated[Path, Word("FILE", "seat to retainer at each valve, without a shim")]
    sets: Annotated[Path | None, Word("FILE", "matched sets of these readings (sets --json); with --set", "from")] = (
        None
    )
    set: Annotated[int | None, Word("N", "only the springs of this set of --from, counted from 1")] = None
    fix: Annotated[
        tuple[str, ...], Word("TEXT", 'a spring that goes to a position, such as "1I=Q07"; repeatable'), Few
    ] = ()
    with_rejected: Annotated[bool, _WITH_REJECTED] = False


class PhasingPart(JobPart):
    """Readings of a degree wheel."""

    inspect: Literal["phasing"] = "phasing"
    file: Annotated[Path, Word("SHEET", "degree-wheel readings (TOML)")]


class MotionPart(TablePart):
    """A lift table behind a train."""

    inspect: Literal["motion"] = "motion"
    file: Annotated[Path, Word("LIFT", "lift table")]
    train: Annotated[Path, Word("TRAIN", "rocker, lash, spring, crank (TOML)")]
    at: Annotated[tuple[Quantity, ...], Word("LIFT", "one more checking lift at the valve"), Few] = ()
    no_dynamics: Annotated[bool, Word("", "leave the dynamic model out")] = False


class GaugePart(TablePart):
    """A study of a gauge."""

    inspect: Literal["gauge"] = "gauge"
    file: Annotated[Path, Word("STUDY", "part, appraiser, trial, reading")]
    tolerance: Annotated[Quantity | None, Word("WIDTH", 'tolerance width to compare with, for example "0.05 mm"')] = (
        None
    )


_Part = LobesPart | ShaftPart | TexturePart | SpringsPart | SetsPart | ShimsPart | PhasingPart | MotionPart | GaugePart
AnyPart = Annotated[_Part, Field(discriminator="inspect")]
PARTS: dict[str, type[JobPart]] = {kind.model_fields["inspect"].default: kind for kind in get_args(_Part)}
"""The record of every use's part, by the use's name."""


class Job(Record):
    """The whole job; `made` is the certificate's date as ISO 8601 (absent: the day it is written)."""

    schema_version: Literal[2] = 2
    title: str | None = None
    made: str | None = Field(default=None, pattern=r"^\d{4}-\d{2}-\d{2}$")
    units: Literal["metric", "inch"] = "metric"
    spec: Path | None = None
    part: tuple[AnyPart, ...] = Field(min_length=1, max_length=MOST_PARTS)

    @classmethod
    def of(cls, part: JobPart, units: System, made: str | None = None) -> Self:
        """The job of one part."""
        return cls.model_validate({"units": units, "made": made, "part": (part,)})
