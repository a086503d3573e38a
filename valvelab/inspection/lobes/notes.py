"""What the reader of a lobe inspection has to know."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from valvelab.angles import fold_scalar
from valvelab.arrays import rectangular_sd
from valvelab.inspection.lobes.repeatability import Doubts, LobeGroup, worth_saying
from valvelab.inspection.lobes.shaft import ByItem, MeasuredShaft
from valvelab.lobe.base_circle import BaseCircle
from valvelab.lobe.profile import FittedLobes
from valvelab.phrase import Phrase
from valvelab.records.lobes_result import LobeResult
from valvelab.records.measurement import LiftTable
from valvelab.records.result import Note, info, warning
from valvelab.units import INCH_MM

_CORRELATION_WORTH_SAYING = 0.05
_FORM_WORTH_SAYING_MM = 0.002
# A resting run that is no circle: form of this size, or of this share of the lift.
_NO_CIRCLE_MM = 0.1
_NO_CIRCLE_SHARE = 0.02


def table_notes(table: LiftTable) -> Iterator[Note]:
    """Notes that follow from what the table states or leaves out."""
    if table.temperature_degc is not None and table.temperature_degc != 20.0:
        text = Phrase(
            "read at {temperature} degC; not corrected to 20 degC, its effect is in the uncertainty",
            temperature=f"{table.temperature_degc:g}",
        )
        yield info("temperature", text)
    if table.probe_uncertainty_mm is None:
        yield info("uncertainty", Phrase("no probe uncertainty is stated: only the readings' own scatter is counted"))


def division_notes(stated_mm: float | None, found_mm: float) -> Iterator[Note]:
    """The gauge's division, stated or seen in the readings, and what it makes of one reading's uncertainty."""
    if found_mm == 0.0:
        return
    inches = found_mm / INCH_MM
    size = Phrase("{found} mm", found=f"{found_mm:g}")
    if abs(inches * 1e6 - round(inches * 1e6)) < 1e-3:
        size = Phrase("{inches} in ({size})", inches=f"{inches:g}", size=size)
    least = Phrase(
        "a reading is uncertain by {rectangular_sd} µm at least",
        rectangular_sd=f"{1000.0 * rectangular_sd(found_mm):.2g}",
    )
    if stated_mm is not None:
        yield info("division", Phrase("the gauge's division is stated as {size}: {least}", size=size, least=least))
    else:
        yield info(
            "division",
            Phrase(
                "all readings are multiples of {size}, taken as the gauge's division: {least}", size=size, least=least
            ),
        )


def angle_notes(without_angle: frozenset[str]) -> Iterator[Note]:
    """What a table leaves out that states no uncertainty of its angles and whose sweeps show none."""
    if without_angle:
        yield warning(
            "angle",
            Phrase(
                "neither the encoder's nor the wheel's uncertainty is stated, and sweeps don't show it: "
                "centres, events, durations and all else that an angle moves carry none of it (state "
                "`encoder uncertainty: 0.05 cam deg`)"
            ),
        )


def fit_notes(fitted: FittedLobes) -> Iterator[Note]:
    """Notes on how one group of lobes was fitted."""
    listed = ", ".join(fitted.names)
    conditioned = fitted.conditioned
    if not conditioned.periodic:
        yield info(listed, Phrase("only the event was swept: no base-circle arc, so the table's own zero is kept"))
    if conditioned.set_aside:
        yield info(
            listed, Phrase("{set_aside} readings far from the event are set aside", set_aside=conditioned.set_aside)
        )
    if conditioned.periodic:
        for row, (name, base) in enumerate(zip(fitted.names, fitted.bases, strict=True)):
            lift = float(fitted.at_knots[0][row].max())
            yield from _base_circle_notes(name, base, lift, zero_taken_out=fitted.zero_taken_out)
    for row, name in enumerate(fitted.names):
        yield from _left_out_notes(fitted, row, name)
    yield from _taken_out_notes(fitted)
    if fitted.smoothed.lag_correlation > _CORRELATION_WORTH_SAYING:
        text = Phrase(
            "neighbouring readings are correlated ({lag_correlation}); the fit allows for it",
            lag_correlation=f"{fitted.smoothed.lag_correlation:.2f}",
        )
        yield info("noise", text)


def _left_out_notes(fitted: FittedLobes, row: int, name: str) -> Iterator[Note]:
    angle, lift_mm, fitted_mm = fitted.left_out(row)
    if angle.size == 0:
        return
    off_mm = np.abs(lift_mm - fitted_mm)
    farthest = int(np.argmax(off_mm))
    text = Phrase(
        "{count} reading stands off by {off} mm at {angle} cam deg and is left out of the fit; the record keeps it"
        if angle.size == 1
        else "{count} readings stand off, the farthest by {off} mm at {angle} cam deg, and are left out of the fit; "
        "the record keeps them",
        count=angle.size,
        off=f"{off_mm[farthest]:.3g}",
        angle=f"{fold_scalar(float(angle[farthest])):g}",
    )
    yield warning(name, text)


def _disagreement(name: str, angle_cam_deg: float, lift_mm: float) -> str:
    """By how much turns disagree in one of what they tell."""
    match name:
        case "centre":
            return Phrase("{angle} cam deg in where the lobe stands", angle=f"{angle_cam_deg:.3f}")
        case "duration":
            return Phrase("{angle} cam deg in how long it lasts", angle=f"{angle_cam_deg:.3f}")
        case "lift":
            return Phrase("{size} µm in lift", size=f"{1000.0 * lift_mm:.1f}")
        case _:
            return Phrase("{size} µm in zero", size=f"{1000.0 * angle_cam_deg:.1f}")


def doubt_notes(doubts: Doubts, lobes: int) -> Iterator[Note]:
    """Warnings where turns disagree or the zero drifts beyond the noise, in a table of so many lobes; with figures."""
    names = doubts.fitted.names
    top = doubts.fitted.at_knots[0].max(axis=1)
    one_sweep = len({turn.given for turn in doubts.fitted.conditioned.turns}) == 1
    for name, spread in doubts.disagreements.items():
        rows = np.flatnonzero(spread.chance < worth_saying(lobes))
        if rows.size == 0:
            continue
        size = spread.across[rows].max()
        figure = _disagreement(name, size, (spread.across * top)[rows].max())
        text = Phrase(
            "turns disagree by up to {figure}, more than their noise explains; the uncertainty counts it"
            if one_sweep
            else "sweeps disagree by up to {figure}, more than their noise explains; the uncertainty counts it",
            figure=figure,
        )
        yield warning(Phrase("{names} repeatability", names=", ".join(names[row] for row in rows)), text)
    drift = doubts.drifts(worth_saying(lobes))
    if drift is not None:
        rows = np.flatnonzero(drift)
        text = Phrase(
            "the zero drifts by up to {max} µm in a turn, more than the noise explains; the "
            "uncertainty counts it as if it came at any moment of the turn",
            max=f"{1000.0 * drift.max():.1f}",
        )
        yield warning(Phrase("{names} drift", names=", ".join(names[row] for row in rows)), text)


def _taken_out_notes(fitted: FittedLobes) -> Iterator[Note]:
    """What of the base circle was taken out of the sweep."""
    if fitted.conditioned.periodic and not fitted.zero_taken_out:
        text = Phrase(
            "the table's own zero is kept, as asked; what the base circle shows is reported and not taken out"
        )
        yield info("zero", text)
    elif any(base is not None and base.with_eccentricity for base in fitted.bases):
        yield info(
            "eccentricity",
            Phrase(
                "the base circle's eccentricity is taken out of the whole sweep, and reported"
                if fitted.eccentricity_taken_out
                else "the base circle's eccentricity is left in the whole sweep, and reported"
            ),
        )


_NOT_DERIVED = {
    2: (
        "acceleration, ramps and radii of curvature are not derived: {reason}; what may lie between them widens the "
        "uncertainty of all else"
    ),
    3: ("the jerk is not derived: {reason}"),
}


def spacing_notes(part: LobeGroup) -> list[Note]:
    """What the readings of a group are too far apart for, each sentence once for all lobes that it concerns."""
    said: dict[tuple[int, str], list[str]] = {}
    for row, name in enumerate(part.fitted.names):
        for order in _NOT_DERIVED:
            if reason := part.no_derivative(row, order):
                said.setdefault((order, reason), []).append(name)
    return [
        (warning if order == 2 else info)(
            ", ".join(names),
            Phrase(_NOT_DERIVED[order], reason=reason),
        )
        for (order, reason), names in said.items()
    ]


def _base_circle_notes(name: str, base: BaseCircle | None, lift_mm: float, *, zero_taken_out: bool) -> Iterator[Note]:
    if base is None:
        yield warning(name, Phrase("no base-circle arc was found: the table's own zero is kept"))
        return
    if base.circle and not base.with_eccentricity:
        text = Phrase(
            "the base-circle arc is too short for an eccentricity below {hidden} µm; only its zero is taken out",
            hidden=f"{1000.0 * base.hidden_mm:.0f}",
        )
        yield warning(name, text)
    if base.form_mm > min(_NO_CIRCLE_MM, _NO_CIRCLE_SHARE * lift_mm):
        text = Phrase(
            "the resting run is no circle: {form} µm of form beyond eccentricity", form=f"{1000.0 * base.form_mm:.0f}"
        )
        offer = "; to keep the table's own zero, inspect with --table-zero" if zero_taken_out else ""
        yield warning(name, text + offer)
    elif base.form_mm > _FORM_WORTH_SAYING_MM:
        yield info(
            name,
            Phrase("the base circle has {form} µm of form beyond eccentricity", form=f"{1000.0 * base.form_mm:.1f}"),
        )
    if not base.circle:
        text = Phrase("form hides what eccentricity the base circle has: only the resting run's mean is taken out")
        yield info(name, text)


def lobe_notes(shaft: MeasuredShaft, lobes: tuple[LobeResult, ...], centres: ByItem, chords: ByItem) -> Iterator[Note]:
    """Notes lobe by lobe: unknown names, lifts never passed, centres that could not be derived."""
    lowest = shaft.each(_lowest)
    withheld = frozenset().union(*(group.withheld for group in shaft.groups))
    for lobe in lobes:
        if lobe.lobe in withheld:
            continue
        if lobe.kind is None:
            yield info(lobe.lobe, Phrase("the name is not cylinder + I or E, so its kind is not known"))
        for row in lobe.durations:
            if row.duration_crank_deg is None:
                yield info(
                    Phrase("{lobe} at {at} mm", lobe=lobe.lobe, at=f"{row.at_mm:g}"),
                    _why_not(lobe, row.at_mm, lowest[lobe.lobe]),
                )
        if (reason := centres[lobe.lobe].reason) != "":
            yield warning(Phrase("{lobe} centre", lobe=lobe.lobe), reason)
        if (reason := chords[lobe.lobe].reason) != "":
            yield info(Phrase("{lobe} chord centre", lobe=lobe.lobe), reason)


def _lowest(group: LobeGroup, row: int) -> tuple[float, float]:
    """Lowest lift of the opening and of the closing flank."""
    lift, nose = group.characteristics.lobes.lift[row], int(group.characteristics.lobes.nose[row])
    return float(lift[: nose + 1].min()), float(lift[nose:].min())


def _why_not(lobe: LobeResult, lift: float, lowest: tuple[float, float]) -> str:
    if lobe.max_lift_mm is not None and lobe.max_lift_mm < lift:
        return Phrase("no events: the greatest lift is {max_lift} mm", max_lift=f"{lobe.max_lift_mm:.4f}")
    sides = [side for side, low in zip(("opening", "closing"), lowest, strict=True) if low >= lift]
    lift_told = f"{max(lowest):.4f}"
    if len(sides) != 1:
        return Phrase(
            "no duration: the opening and closing flank never comes below it (lowest {lowest} mm)"
            if sides
            else "no duration: the one flank never comes below it (lowest {lowest} mm)",
            lowest=lift_told,
        )
    return Phrase(
        "no duration: the opening flank never comes below it (lowest {lowest} mm)"
        if sides == ["opening"]
        else "no duration: the closing flank never comes below it (lowest {lowest} mm)",
        lowest=lift_told,
    )
