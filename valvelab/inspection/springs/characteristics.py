"""The spring rows of the table of characteristics."""

from __future__ import annotations

from valvelab.inspection.characteristics import Characteristic

_PRACTICE = "common practice"
_EN = "EN 13906-1"

CHARACTERISTICS: tuple[Characteristic, ...] = (
    Characteristic(
        "seat_force", "N", "force", "spring", "force at the installed height",
        "local monotone interpolation of the readings", _PRACTICE,
    ),
    Characteristic(
        "open_force", "N", "force", "spring", "force at the open height (installed height − valve lift)",
        "local monotone interpolation of the readings", _PRACTICE,
    ),
    Characteristic(
        "force", "N", "force", "spring", "force at any height",
        "local monotone interpolation of the readings", _PRACTICE, needs_at="height",
    ),
    Characteristic(
        "rate", "N/mm", "rate", "spring", "force per height between installed and open height",
        "least squares of force over height", "NIST/SEMATECH e-Handbook, linear least squares",
    ),
    Characteristic(
        "solid_height", "mm", "length", "spring", "height at which the coils close",
        "knee of the readings where the test went there, else as stated", _PRACTICE,
    ),
    Characteristic(
        "coil_bind_margin", "mm", "length", "spring", "open height − solid height",
        "difference; of a nest the least of its springs", _PRACTICE,
    ),
    Characteristic(
        "margin_per_coil", "mm", "length", "spring", "coil-bind margin over active coils", "quotient", _PRACTICE,
    ),
    Characteristic(
        "free_length", "mm", "length", "spring", "length without force",
        "height of the reading of no force, else as stated", _PRACTICE,
    ),
    Characteristic(
        "hysteresis", "N", "force", "spring", "mean of compress − release at equal heights",
        "mean of differences", _PRACTICE,
    ),
    Characteristic(
        "set_loss", "N", "force", "spring", "seat force lost from new to run-in",
        "difference of seat forces", _PRACTICE,
    ),
    Characteristic(
        "stress_seat", "MPa", "stress", "spring", "shear stress in the wire at the seat force",
        "8 D F k / (π d³), the factor k as the result says", _EN,
    ),
    Characteristic(
        "stress_open", "MPa", "stress", "spring", "shear stress in the wire at the open force",
        "8 D F k / (π d³), the factor k as the result says", _EN,
    ),
    Characteristic(
        "stress_solid", "MPa", "stress", "spring", "shear stress in the wire where the coils close",
        "8 D F k / (π d³), the factor k as the result says", _EN,
    ),
    Characteristic(
        "surge", "Hz", "frequency", "spring", "lowest natural frequency, both ends fixed",
        "½ √(rate / mass of the active coils)", _EN,
    ),
    Characteristic(
        "strength_margin", "", "number", "spring",
        "0.56 of the wire's tensile strength over the corrected shear stress at the open height",
        "tensile strength A / d^m of the named wire; stricter than the static check of EN 13906-1, which takes the "
        "uncorrected stress at the solid height", "0.56 after EN 13906-1 (from memory); wire table",
    ),
    Characteristic(
        "fatigue_margin", "", "number", "spring", "safety against fatigue between seat and open stress",
        "Goodman line through the infinite-life point of unpeened wire", "Shigley's, 10th ed., section 10-9",
    ),
)  # fmt: skip

KEY_OF = {
    row.name: row.name + {"N": "_n", "N/mm": "_n_per_mm", "mm": "_mm", "MPa": "_mpa", "Hz": "_hz", "": ""}[row.unit]
    for row in CHARACTERISTICS
}
"""JSON key of each characteristic."""
