"""A job: which files are inspected how, against which spec; what `certify` takes and a certificate carries.

A part is a record a use, told apart by `inspect`. Its fields are the words of the use's command as well: the command
line is made from them (a field's title stands for its value in the help), a bay of the window fills them in, a job
file names them.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Annotated, ClassVar, Literal, Self, get_args

from pydantic import ConfigDict, Field

from valvelab.frozen import frozen
from valvelab.records.particulars import Particulars
from valvelab.records.result import Record, Result
from valvelab.records.signing_key import PublicKey, Replaced
from valvelab.records.spec import Quantity
from valvelab.units import System

MOST_PARTS, MOST_OF_ONE, MOST_LISTED = 100, 50, 2_000

_READINGS = "spring readings (text table or XLSX)"
_COMPARED = "lift table or spring readings, or a certificate that carries them"
_AT = 'add a checking lift, for example "0.050 in"; repeatable'
_REJECTED = "springs that the spec rejects may be used as well"
_TAKE = (
    "a spring that the spec rejects and that is used all the same, with the reason, "
    'such as "Q23=rate re-measured twice, 40.1"; repeatable. Here and wherever names are typed, one with = ; , or : in '
    "it stands in double quotes"
)
_LEAVE_OUT = 'a spring that is not used, with the reason, such as "Q07=scratched"; repeatable'
_POSITION = 'a place that wants its own set, such as "intake: size=8, seat_force=240 N..260 N"; repeatable'


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


class SpringTablePart(TablePart):
    """An inspection of spring readings, whose forces and heights an instrument's card each may correct."""

    instrument: tuple[Path, ...] = Field(
        (),
        title="CARD",
        description="calibration card of the tester, of forces or of heights: readings are corrected by it; repeatable",
        max_length=2,
    )


class LobesPart(LiftPart):
    """Lobes and camshaft of a lift table."""

    inspect: Literal["lobes"] = "lobes"
    file: Path = Field(title="LIFT", description="lift table (CSV, text or XLSX)")
    at: tuple[Quantity, ...] = Field((), title="LIFT", description=_AT, max_length=MOST_OF_ONE)
    convert: str | None = Field(
        None, title="FOLLOWER", description='describe the lobes under "roller 9.525 mm", flat or point'
    )
    keep_eccentricity: bool = Field(False, description="leave the base circle's eccentricity in, as the shaft runs")
    table_zero: bool = Field(False, description="keep the table's own zero; take nothing out by the base circle")


class ShaftPart(TablePart):
    """Journals and axis of a shaft."""

    inspect: Literal["shaft"] = "shaft"
    file: Path = Field(title="READINGS", description="station, position, angle, reading")
    undulations: int | None = Field(
        None,
        title="N",
        description="filter the form: Gaussian cutoff in undulations per turn, for example 50 (default: as read)",
        ge=2,
        le=5000,
    )
    gauge: Path | None = Field(
        None,
        title="FILE",
        description="an uncertainty adopted from a gauge study: it counts unless the readings state a larger one",
    )


class TexturePart(TablePart):
    """Texture of a surface trace."""

    inspect: Literal["texture"] = "texture"
    file: Path = Field(title="TRACE", description="CSV x, z; SMD text; X3P")
    cutoff: Quantity | None = Field(None, title="LENGTH", description="long-wave cutoff, for example 0.8 (mm)")
    short_cutoff: Quantity | None = Field(
        None, title="LENGTH", description='short-wave cutoff, for example "2.5 um"; 0 for none'
    )
    sections: int | None = Field(
        None, title="N", description="sections in the evaluation length (default 5)", ge=1, le=1000
    )


class SpringsPart(SpringTablePart):
    """Springs one by one."""

    inspect: Literal["springs"] = "springs"
    file: Path = Field(title="READINGS", description=_READINGS)
    later: tuple[Path, ...] = Field(
        (),
        title="FILE",
        description="readings of the same springs taken later, to follow them from stage to stage; repeatable",
        max_length=MOST_OF_ONE,
    )
    stress_factor: Literal["EN 13906-1", "Wahl"] = Field(
        "EN 13906-1", description="correction of the shear stress for the coil's curvature (default EN 13906-1)"
    )


class SetsPart(SpringTablePart):
    """Springs matched into sets."""

    inspect: Literal["sets"] = "sets"
    file: Path = Field(title="READINGS", description=_READINGS)
    size: int | None = Field(None, title="N", description="springs in a set, 2 to 32")
    within: tuple[str, ...] = Field(
        (),
        title="TEXT",
        description='largest range in a set, such as "seat_force=6 N"; repeatable '
        "(seat_force, open_force, rate, solid_height, free_length)",
        max_length=MOST_OF_ONE,
    )
    time_limit: Quantity | None = Field(
        None, title="S", description="seconds after which the best found counts (by default work is counted, not time)"
    )
    quick: bool = Field(False, description="prove the number of sets, but leave their total spread unproven")
    thorough: bool = Field(False, description="search far longer for tighter sets, and for a proof that none are")
    with_rejected: bool = Field(False, description=_REJECTED)
    take: tuple[str, ...] = Field((), title="SPRING=REASON", description=_TAKE, max_length=MOST_LISTED)
    leave_out: tuple[str, ...] = Field((), title="SPRING=REASON", description=_LEAVE_OUT, max_length=MOST_LISTED)
    together: tuple[str, ...] = Field(
        (), title="A,B", description="springs that stay in one set", max_length=MOST_LISTED
    )
    apart: tuple[str, ...] = Field((), title="A,B", description="two springs never in one set", max_length=MOST_LISTED)
    position: tuple[str, ...] = Field((), title="TEXT", description=_POSITION, max_length=MOST_OF_ONE)
    set: tuple[str, ...] = Field(
        (),
        title="A,B,C",
        description="a set made by hand; repeatable: these sets are described against the limits instead of matching",
        max_length=MOST_LISTED,
    )


class ShimsPart(SpringTablePart):
    """Springs and shims for the valves of a head."""

    model_config = ConfigDict(populate_by_name=True)

    inspect: Literal["shims"] = "shims"
    file: Path = Field(title="READINGS", description=_READINGS)
    heights: Path = Field(title="FILE", description="seat to retainer at each valve, without a shim")
    sets: Path | None = Field(
        None, alias="from", title="FILE", description="matched sets of these readings (sets --json); with --set"
    )
    set: int | None = Field(None, title="N", description="only the springs of this set of --from, counted from 1")
    only: tuple[str, ...] = Field(
        (),
        title="SPRINGS",
        description="only these springs, with commas between; --set N beside it says which set they are; repeatable",
        max_length=MOST_LISTED,
    )
    fix: tuple[str, ...] = Field(
        (),
        title="TEXT",
        description='a spring that goes to a position, such as "1I=Q07", and what goes with it where that is chosen, '
        'as in "1I=Q07; shims 0.50 mm + 0.25 mm; packer none; keeper 1.27 mm"; repeatable',
        max_length=MOST_LISTED,
    )
    edited: tuple[str, ...] = Field(
        (),
        title="POSITION",
        description="a position of --fix that was decided by hand, where the others stand as found before; repeatable",
        max_length=MOST_LISTED,
    )
    with_rejected: bool = Field(False, description=_REJECTED)
    take: tuple[str, ...] = Field((), title="SPRING=REASON", description=_TAKE, max_length=MOST_LISTED)
    leave_out: tuple[str, ...] = Field((), title="SPRING=REASON", description=_LEAVE_OUT, max_length=MOST_LISTED)


class LashPart(TablePart):
    """Lash set by shims under buckets."""

    inspect: Literal["lash"] = "lash"
    file: Path = Field(title="SHEET", description="position, clearance, shim of each valve")
    fix: tuple[str, ...] = Field(
        (),
        title="TEXT",
        description='the shim that goes into a valve, such as "1I=2.55 mm"; repeatable',
        max_length=MOST_LISTED,
    )


class PhasingPart(JobPart):
    """Readings of a degree wheel."""

    inspect: Literal["phasing"] = "phasing"
    file: Path = Field(title="SHEET", description="degree-wheel readings (TOML)")


class MotionPart(LiftPart):
    """A lift table behind a train."""

    inspect: Literal["motion"] = "motion"
    file: Path = Field(title="LIFT", description="lift table")
    train: Path = Field(title="TRAIN", description="rocker, lash, spring, crank (TOML)")
    at: tuple[Quantity, ...] = Field((), title="LIFT", description=_AT, max_length=MOST_OF_ONE)
    no_dynamics: bool = Field(False, description="leave the dynamic model out")


class GaugePart(TablePart):
    """A study of a gauge."""

    inspect: Literal["gauge"] = "gauge"
    file: Path = Field(title="STUDY", description="part, appraiser, trial, reading")
    tolerance: Quantity | None = Field(
        None, title="WIDTH", description='tolerance width to compare with, for example "0.05 mm"'
    )


class LiftCheckPart(JobPart):
    """Readings at the retainer, of one event."""

    inspect: Literal["liftcheck"] = "liftcheck"
    file: Path = Field(title="SHEET", description="rule, instrument and readings at the retainer (TOML)")
    item: tuple[str, ...] = Field(
        (),
        title="TEXT",
        description='only this car, boat or engine, such as "car 14"; repeatable',
        max_length=MOST_LISTED,
    )
    instrument: Path | None = Field(
        None, title="CARD", description="calibration card of the indicator: readings are corrected by it"
    )
    gauge: Path | None = Field(
        None,
        title="FILE",
        description="an uncertainty adopted from a gauge study: it counts unless the sheet states a larger one",
    )


class ComparePart(TablePart):
    """Two measurements of one part: what changed from the earlier to the later."""

    POSITIONAL: ClassVar[tuple[str, ...]] = ("file", "after")

    inspect: Literal["compare"] = "compare"
    file: Path = Field(title="BEFORE", description=f"the earlier {_COMPARED}")
    after: Path = Field(title="AFTER", description=f"the later {_COMPARED}")
    after_columns: str | None = Field(
        None,
        title="TEXT",
        description='assign columns of AFTER; "" for as it says itself (default: --columns serves both)',
    )
    master: bool = Field(False, description="BEFORE is a master: lobes of AFTER are held against its only one")


_Part = (
    LobesPart
    | ShaftPart
    | TexturePart
    | SpringsPart
    | SetsPart
    | ShimsPart
    | LashPart
    | PhasingPart
    | MotionPart
    | GaugePart
    | ComparePart
    | LiftCheckPart
)
PARTS: dict[str, type[JobPart]] = {kind.model_fields["inspect"].default: kind for kind in get_args(_Part)}
"""The record of every use's part, by the use's name."""


class Job(Particulars):
    """The whole job; `made` is the certificate's date as ISO 8601 (absent: the day it is written).

    `replaces`: the certificate that this job's takes the place of; `signer` is stated on paper by whoever signs it.
    """

    schema_version: Literal[2] = 2
    made: str | None = Field(default=None, pattern=r"^\d{4}-\d{2}-\d{2}$")
    units: Literal["metric", "inch"] = "metric"
    spec: Path | None = None
    replaces: Replaced | None = None
    signer: PublicKey | None = None
    part: tuple[Annotated[_Part, Field(discriminator="inspect")], ...] = Field(min_length=1, max_length=MOST_PARTS)

    @classmethod
    def of(cls, *parts: JobPart, units: System, made: str | None = None, said: Particulars | None = None) -> Self:
        """The job of these parts; `said`: what its paper says besides."""
        return cls.model_validate({**dict(said or ()), "units": units, "made": made, "part": parts})


@frozen
class Shown:
    """What a bay puts on paper: the result that the window shows, and the part that inspects it again."""

    result: Result
    part: JobPart
