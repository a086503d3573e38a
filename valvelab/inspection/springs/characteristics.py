"""The spring rows of the table of characteristics: each with the function that answers for a spring in one stage.

A row is judged, listed and shown; its key in the record is a field of `records.springs_result`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import hypot

import numpy as np

from valvelab.inspection.characteristics import Row
from valvelab.inspection.springs.analysis import SpringAnalysis
from valvelab.inspection.springs.wire import ElementWire
from valvelab.measured import Measured, missing, or_reason
from valvelab.springs.spring import hysteresis, noise_of

Of = Callable[[SpringAnalysis], Measured]
OfElement = Callable[[ElementWire], Measured]


@dataclass(frozen=True, slots=True, kw_only=True)
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
    return missing("no installed height is stated") if height is None else spring.force(height)


def open_force(spring: SpringAnalysis) -> Measured:
    """Force at the open height."""
    height = spring.fit.open_height_mm
    return missing("no installed height and valve lift are stated") if height is None else spring.force(height)


def coil_bind_margin(spring: SpringAnalysis) -> Measured:
    """Open height − solid height."""
    height, solid = spring.fit.open_height_mm, spring.solid_height
    if height is None:
        return missing("no installed height and valve lift are stated")
    return solid if solid.value is None else Measured(height - solid.value, solid.u)


def margin_per_coil(spring: SpringAnalysis) -> Measured:
    """The margin over the active coils."""
    margin = coil_bind_margin(spring)
    coils = spring.alone.coil.active_coils if spring.alone else None
    if margin.value is None or coils is None:
        return missing(margin.reason or "no active coils are stated")
    return Measured(margin.value / coils, None if margin.u is None else margin.u / coils)


def free_length(spring: SpringAnalysis) -> Measured:
    """Height of the reading of no force, else as stated."""
    coil = spring.fit.coil
    if spring.alone:
        curve, coil = spring.alone.read, spring.alone.coil
        loose = np.flatnonzero(curve.force_n <= 0.0)
        if loose.size:
            return Measured(float(curve.height_mm[loose[0]]), spring.fit.stated.height_mm)
    return Measured.of(coil.free_length_mm, None, "no reading of no force, and none is stated")


@or_reason
def mean_hysteresis(spring: SpringAnalysis) -> Measured:
    """Mean of compress − release, the elements added."""
    total, variance = 0.0, 0.0
    for element in spring.elements:
        if element.release is None:
            return missing("no release stroke was read")
        total += hysteresis(element.free, element.release)
        variance += 2.0 * (noise_of(element.free) or 0.0) ** 2 / element.release.height_mm.size
    return Measured(total, variance**0.5 if variance > 0.0 else None)


def set_loss(spring: SpringAnalysis) -> Measured:
    """Seat force of the `new` stage − that of the `run-in` stage."""
    if spring.new is None:
        return missing("no `new` stage to compare with")
    before, after = spring.new.once(seat_force), spring.once(seat_force)
    if before.value is None or after.value is None:
        return missing(before.reason or after.reason)
    u = None if before.u is None or after.u is None else hypot(before.u, after.u)
    return Measured(before.value - after.value, u)


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
_PRACTICE = "common practice"
_EN = "EN 13906-1"
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
        "mean of differences", _PRACTICE, of=mean_hysteresis, table=OTHERS),
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
)  # fmt: skip


def recorded() -> tuple[SpringRow, ...]:
    """The rows that a spring's record holds."""
    return tuple(row for row in CHARACTERISTICS if row.needs_at is None)


def row_of(name: str) -> SpringRow:
    """The row of a name."""
    return next(row for row in CHARACTERISTICS if row.name == name)
