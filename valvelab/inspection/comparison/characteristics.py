"""The rows of a comparison, each with its function: what changed of a lobe, what of a spring."""

from __future__ import annotations

from operator import attrgetter

from valvelab.frozen import frozen
from valvelab.inspection.characteristics import Row
from valvelab.measured import Measured
from valvelab.units import Dimension

CURVES, FORCES = "Lobe by lobe, after − before", "Spring by spring, after − before"


@frozen
class LobeChanges:
    """What was measured of one lobe, in the units of the rows."""

    shift: Measured
    zero: Measured
    rms: Measured
    worst: Measured
    worst_angle: Measured
    max_lift_change: Measured
    wear: Measured


@frozen
class SpringChanges:
    """What was measured of one spring, in the units of the rows."""

    seat_force_change: Measured
    open_force_change: Measured
    rate_change: Measured
    free_length_change: Measured
    seat_force_change_pct: Measured


_FIT = "robust best fit of the later curve onto the earlier one, angle and zero taken out"
_LEFT = "what the best fit leaves between the feet of the earlier lobe"
_ROBUST = "Huber and Ronchetti, Robust Statistics"
_PRACTICE = "common practice"


def _of_lobe(
    name: str, unit: str, dimension: Dimension, meaning: str, method: str, source: str = _PRACTICE, *, u: bool = True
) -> Row:
    return Row(
        name,
        unit,
        dimension,
        "comparison",
        meaning,
        method,
        source,
        table=CURVES,
        of=attrgetter(name),
        u_column=u,
        states_u=u,
    )


def _of_spring(
    name: str, unit: str, dimension: Dimension, meaning: str, method: str, label: str = "", named: str = ""
) -> Row:
    return Row(
        name,
        unit,
        dimension,
        "comparison",
        meaning,
        method,
        _PRACTICE,
        table=FORCES,
        of=attrgetter(name),
        u_column=True,
        label=label,
        named=named,
    )


LOBE = (
    _of_lobe("wear", "um", "length", "greatest loss of lift, positive; 0 where none is beyond the noise",
        "the greatest loss, where it exceeds what the noise of both rises to anywhere on the lobes", "Rice 1945"),
    _of_lobe("shift", "cam deg", "angle", "how much later the lobe stands, on the tables' own angles", _FIT, _ROBUST),
    _of_lobe("zero", "um", "length", "how much higher the later table's zero is",
        "zeros of the two base circles; best fit where a table shows none", _ROBUST),
    _of_lobe("max_lift_change", "mm", "length", "greatest lift, later less earlier", "difference of the two fits"),
    _of_lobe("worst", "um", "length", "difference where it is greatest, gain positive", _LEFT),
    _of_lobe("worst_angle", "cam deg", "angle", "where that is, from the earlier lobe's centre", _LEFT, u=False),
    _of_lobe("rms", "um", "length", "root mean square of the difference", _LEFT, u=False),
)  # fmt: skip

SPRING = (
    _of_spring("seat_force_change", "N", "force", "seat force, later less earlier", "difference at one height"),
    _of_spring("seat_force_change_pct", "%", "percent", "the same, of the earlier seat force",
        "difference over the earlier force", named="seat_force_change_pct", label="seat force change"),
    _of_spring("open_force_change", "N", "force", "open force, later less earlier", "difference at one height"),
    _of_spring("rate_change", "N/mm", "rate", "rate, later less earlier", "difference over one range of heights"),
    _of_spring("free_length_change", "mm", "length", "free length, later less earlier", "difference"),
)  # fmt: skip

CHARACTERISTICS: tuple[Row, ...] = (*LOBE, *SPRING)
