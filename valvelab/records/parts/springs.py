"""What springs are asked: one by one, in sets, on a head."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from pydantic import ConfigDict, Field

from valvelab.records.parts.part import MOST_LISTED, MOST_OF_ONE, TablePart
from valvelab.records.spec import Quantity

_READINGS = "spring readings (text table or XLSX)"
_REJECTED = "springs that the spec rejects may be used as well"
_TAKE = (
    "a spring that the spec rejects and that is used all the same, with the reason, "
    'such as "Q23=rate re-measured twice, 40.1"; repeatable. Here and wherever names are typed, one with = ; , or : in '
    "it stands in double quotes"
)
_LEAVE_OUT = 'a spring that is not used, with the reason, such as "Q07=scratched"; repeatable'
_POSITION = 'a place that wants its own set, such as "intake: size=8, seat_force=240 N..260 N"; repeatable'


class SpringTablePart(TablePart):
    """An inspection of spring readings, whose forces and heights an instrument's card each may correct."""

    instrument: tuple[Path, ...] = Field(
        (),
        title="CARD",
        description="calibration card of the tester, of forces or of heights: readings are corrected by it; repeatable",
        max_length=2,
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
