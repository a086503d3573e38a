"""The spring rows of the table of characteristics: each with the function that answers for a spring in one stage.

A row is judged, listed and shown; its key in the record is a field of `records.springs_result`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from math import atan2, cos, degrees, hypot, radians, sqrt, tan

from valvelab.frozen import frozen
from valvelab.inspection.characteristics import Row
from valvelab.inspection.springs.analysis import Read, SpringAnalysis, stage_rank
from valvelab.inspection.springs.wire import ElementWire
from valvelab.measured import Measured, missing, or_reason
from valvelab.phrase import Phrase
from valvelab.springs.spring import hysteresis, noise_of

Of = Callable[[SpringAnalysis], Measured]
OfElement = Callable[[ElementWire], Measured]

_NO_HEIGHT = missing(Phrase("no installed height is stated"))
_NO_OPEN_HEIGHT = missing(Phrase("no installed height and valve lift are stated"))
_NO_RELEASE = missing(Phrase("no release stroke was read"))
_NO_SQUARENESS = missing(Phrase("no squareness was read"))
_ONE_STAGE = missing(Phrase("read in its first stage alone: nothing to compare with"))
_NO_NEW = missing(Phrase("no `new` stage to compare with"))


@frozen(kw_only=True)
class SpringRow(Row):
    """A row with its function; `element`: the same of one spring of a nest by itself, where that is recorded."""

    element: OfElement | None = None


def measured(spring: SpringAnalysis, row: SpringRow) -> Measured:
    """A characteristic of a spring, worked out once."""
    return spring.once(row.of)


def wires(spring: SpringAnalysis) -> tuple[ElementWire, ...]:
    """The elements by themselves."""
    return tuple(ElementWire(spring, element) for element in spring.elements)


def seat_force(spring: SpringAnalysis) -> Measured:
    """Force at the installed height."""
    height = spring.fit.installed_height_mm
    return _NO_HEIGHT if height is None else spring.once(SpringAnalysis.force, height)


def open_force(spring: SpringAnalysis) -> Measured:
    """Force at the open height."""
    height = spring.fit.open_height_mm
    if height is None:
        return _NO_OPEN_HEIGHT
    return spring.once(SpringAnalysis.force, height)


def coil_bind_margin(spring: SpringAnalysis) -> Measured:
    """Open height − solid height."""
    height, solid = spring.fit.open_height_mm, spring.solid_height
    if height is None:
        return _NO_OPEN_HEIGHT
    return solid if solid.value is None else replace(solid, value=height - solid.value)


def margin_per_coil(spring: SpringAnalysis) -> Measured:
    """The margin over the active coils."""
    margin = spring.once(coil_bind_margin)
    coils = spring.alone.coil.active_coils if spring.alone else None
    if margin.value is None or coils is None:
        return missing(margin.reason or "no active coils are stated")
    return replace(margin, value=margin.value / coils, u=None if margin.u is None else margin.u / coils)


def free_length(spring: SpringAnalysis) -> Measured:
    """Height of the reading of no force, else as stated: of the spring itself, which was measured, or of all."""
    if spring.alone is None:
        return Measured.of(spring.fit.coil.free_length_mm, None, _NO_LENGTH)
    curve, u = spring.alone.read, spring.fit.stated.of_length()
    loose = next((height for height, force in zip(*curve.numbers, strict=True) if force <= 0.0), None)
    if loose is not None:
        return Measured(loose, u)
    own = spring.readings.elements[0].free_length_mm
    return Measured.of(spring.alone.coil.free_length_mm, None if own is None else u, _NO_LENGTH)


_NO_LENGTH = Phrase("no reading of no force, and none is stated")


@or_reason
def mean_hysteresis(spring: SpringAnalysis) -> Measured:
    """Mean of compress − release, the elements added."""
    total, variance = 0.0, 0.0
    for element in spring.elements:
        if element.release is None:
            return _NO_RELEASE
        total += hysteresis(element.free, element.release)
        variance += 2.0 * (noise_of(element.free) or 0.0) ** 2 / element.release.height_mm.size
    return Measured(total, variance**0.5 if variance > 0.0 else None)


def squareness(spring: SpringAnalysis) -> Measured:
    """How far the upper end of the free spring stands off from square, as read or of an angle over the free length."""
    read, u = spring.readings.squareness, spring.fit.squareness_u
    if read is None:
        return _NO_SQUARENESS
    if read.mm is not None:
        return Measured(read.mm, None if u is None else u.mm)
    length = spring.once(free_length)
    if length.value is None or read.deg is None:
        return missing(Phrase("squareness was read as an angle, and no free length is known"))
    slope = length.value / cos(radians(read.deg)) ** 2
    return Measured(
        length.value * tan(radians(read.deg)), None if u is None or u.deg is None else slope * radians(u.deg)
    )


def squareness_angle(spring: SpringAnalysis) -> Measured:
    """The same as an angle, as read or of a length over the free length."""
    read, u = spring.readings.squareness, spring.fit.squareness_u
    if read is None:
        return _NO_SQUARENESS
    if read.deg is not None:
        return Measured(read.deg, None if u is None else u.deg)
    length = spring.once(free_length)
    if length.value is None or read.mm is None:
        return missing(Phrase("squareness was read as a length, and no free length is known"))
    slope = length.value / (length.value**2 + read.mm**2)
    angle = degrees(atan2(read.mm, length.value))
    return Measured(angle, None if u is None or u.mm is None else degrees(slope * u.mm))


def drop_of(ask: Of, *, alike: bool = True) -> Of:
    """What a characteristic lost against the `new` stage, in percent of it: 100 (1 − later / new).

    The readings' scatter counts in both stages. What is stated of the tester errs alike in both where many readings
    stand behind a value (JCGM 100:2008, 5.2); not `alike`, it is all that is known of a single reading and counts once.
    """

    def drop(spring: SpringAnalysis) -> Measured:
        if spring.new is None:
            return _ONE_STAGE
        (first, seen, tester), (last, seen_later, tester_later) = (
            one.once(Read.of).told(ask) for one in (spring.new, spring)
        )
        if first.value is None or last.value is None:
            return first if first.value is None else last
        if first.value <= 0.0:
            return missing(Phrase("nothing was there to be lost when new"))
        left = last.value / first.value
        stated = left * tester - tester_later if alike else max(left * tester, tester_later)
        u = 100.0 / first.value * sqrt(left**2 * seen + seen_later + stated**2)
        return Measured(100.0 * (1.0 - left), u if u > 0.0 else None, doubt=first.doubt or last.doubt)

    return drop


def set_loss(spring: SpringAnalysis) -> Measured:
    """Seat force of the `new` stage − that of the `run-in` stage."""
    if spring.new is None or [stage_rank(one.readings.stage) for one in (spring.new, spring)] != [0, 1]:
        return _NO_NEW
    before, after = spring.new.once(seat_force), spring.once(seat_force)
    if before.value is None or after.value is None:
        return missing(before.reason or after.reason)
    u = None if before.u is None or after.u is None else hypot(before.u, after.u)
    return Measured(before.value - after.value, u, doubt=before.doubt or after.doubt)


def _worst(of: OfElement, choose: Callable[[Sequence[Measured]], Measured]) -> Of:
    """Of a nest the worst of its springs; missing where it is missing of one."""

    def worst(spring: SpringAnalysis) -> Measured:
        each = [of(wire) for wire in spring.once(wires)]
        return next((one for one in each if one.value is None), None) or choose(each)

    return worst


def _highest(each: Sequence[Measured]) -> Measured:
    return max(each, key=lambda one: one.value or 0.0)


def _lowest(each: Sequence[Measured]) -> Measured:
    return min(each, key=lambda one: one.value or 0.0)


FORCES, OTHERS = "Forces and margins", "Wire, hysteresis and natural frequency"
LOST = "Lost against new"
_PRACTICE = "common practice"
_EN = "EN 13906-1"
_SQUARE = "perpendicularity e1 of EN 15800 (from memory)"
_LOST = "100 (1 − later / new), the first stage where none is called new"
_READINGS = "local monotone interpolation of the readings"
_STRESS = "8 D F k / (π d³), the factor k as the result says"

CHARACTERISTICS: tuple[SpringRow, ...] = (
    SpringRow("seat_force", "N", "force", "spring", "force at the installed height", _READINGS, _PRACTICE,
        of=seat_force, element=lambda wire: wire.seat_force, table=FORCES, u_column=True),
    SpringRow("open_force", "N", "force", "spring", "force at the open height (installed height − valve lift)",
        _READINGS, _PRACTICE, of=open_force, element=lambda wire: wire.open_force, table=FORCES, u_column=True),
    SpringRow("force", "N", "force", "spring", "force at any height", _READINGS, _PRACTICE, needs_at="height",
        of=SpringAnalysis.force),
    SpringRow("rate", "N/mm", "rate", "spring", "force per height between installed and open height",
        "least squares of force over height", "NIST/SEMATECH e-Handbook, linear least squares",
        of=lambda spring: spring.rate, element=lambda wire: wire.rate, table=FORCES, u_column=True),
    SpringRow("solid_height", "mm", "length", "spring", "height at which the coils close",
        "knee of the readings where the test went there, else as stated", _PRACTICE,
        of=lambda spring: spring.solid_height, element=lambda wire: wire.solid_height, table=FORCES, u_column=True),
    SpringRow("coil_bind_margin", "mm", "length", "spring", "open height − solid height",
        "difference; of a nest the least of its springs", _PRACTICE, of=coil_bind_margin, table=FORCES, u_column=True),
    SpringRow("margin_per_coil", "mm", "length", "spring", "coil-bind margin over active coils", "quotient", _PRACTICE,
        of=margin_per_coil, table=FORCES),
    SpringRow("free_length", "mm", "length", "spring", "length without force",
        "height of the reading of no force, else as stated", _PRACTICE, of=free_length, table=OTHERS),
    SpringRow("hysteresis", "N", "force", "spring", "mean of compress − release at equal heights",
        "mean of differences", _PRACTICE, of=mean_hysteresis, table=OTHERS, free_of=frozenset({"height unit"})),
    SpringRow("set_loss", "N", "force", "spring", "seat force lost from new to run-in", "difference of seat forces",
        _PRACTICE, of=set_loss, table=OTHERS),
    SpringRow("stress_seat", "MPa", "stress", "spring", "shear stress in the wire at the seat force", _STRESS, _EN,
        of=_worst(lambda wire: wire.stress_seat, _highest), element=lambda wire: wire.stress_seat, table=OTHERS),
    SpringRow("stress_open", "MPa", "stress", "spring", "shear stress in the wire at the open force", _STRESS, _EN,
        of=_worst(lambda wire: wire.stress_open, _highest), element=lambda wire: wire.stress_open, table=OTHERS),
    SpringRow("stress_solid", "MPa", "stress", "spring", "shear stress in the wire where the coils close", _STRESS, _EN,
        of=_worst(lambda wire: wire.stress_solid, _highest), element=lambda wire: wire.stress_solid, table=OTHERS),
    SpringRow("surge", "Hz", "frequency", "spring", "lowest natural frequency, both ends fixed",
        "½ √(rate / mass of the active coils)", _EN,
        of=_worst(lambda wire: wire.surge, _lowest), element=lambda wire: wire.surge, table=OTHERS),
    SpringRow("strength_margin", "", "number", "spring",
        "0.56 of the wire's tensile strength over the corrected shear stress at the open height",
        "tensile strength A / d^m of the named wire; stricter than the static check of EN 13906-1, which takes the "
        "uncorrected stress at the solid height", "0.56 after EN 13906-1 (from memory); wire table",
        of=_worst(lambda wire: wire.strength_margin, _lowest), element=lambda wire: wire.strength_margin, table=OTHERS),
    SpringRow("fatigue_margin", "", "number", "spring", "safety against fatigue between seat and open stress",
        "Goodman line through the infinite-life point of unpeened wire", "Shigley's, 10th ed., section 10-9",
        of=_worst(lambda wire: wire.fatigue_margin, _lowest), element=lambda wire: wire.fatigue_margin, table=OTHERS),
    SpringRow("squareness", "mm", "length", "spring", "how far the free spring's upper end stands off from square",
        "as read; of an angle its tangent times the free length", _SQUARE, of=squareness, table=OTHERS),
    SpringRow("squareness_angle", "deg", "angle", "spring", "the same as an angle",
        "as read; of a length the arc tangent over the free length", _SQUARE, of=squareness_angle, table=OTHERS),
    SpringRow("seat_force_drop", "%", "percent", "spring", "seat force lost since new", _LOST, _PRACTICE,
        of=drop_of(seat_force), named="seat_force_drop_pct", table=LOST, u_column=True),
    SpringRow("open_force_drop", "%", "percent", "spring", "open force lost since new", _LOST, _PRACTICE,
        of=drop_of(open_force), named="open_force_drop_pct", table=LOST, u_column=True),
    SpringRow("rate_drop", "%", "percent", "spring", "rate lost since new", _LOST, _PRACTICE,
        of=drop_of(lambda spring: spring.rate), named="rate_drop_pct", table=LOST, u_column=True),
    SpringRow("free_length_drop", "%", "percent", "spring", "free length lost since new", _LOST, _PRACTICE,
        of=drop_of(free_length, alike=False), named="free_length_drop_pct", table=LOST, u_column=True),
)  # fmt: skip


def recorded() -> tuple[SpringRow, ...]:
    """The rows that a spring's record holds."""
    return tuple(row for row in CHARACTERISTICS if row.needs_at is None)


def row_of(name: str) -> SpringRow:
    """The row of a name."""
    return next(row for row in CHARACTERISTICS if row.name == name)
