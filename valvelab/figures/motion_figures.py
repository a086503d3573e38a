"""What the valve-motion plots show: lift and piston, clearance, contact force, force map, pressure and film."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.dynamics.control import contact_force
from valvelab.figures.description import Axis, Curve, Figure, Guide, HeatMap, Marks, Role
from valvelab.inspection.inspect_motion import MotionInspection, clearance_of
from valvelab.inspection.motion_contact import contact_curves
from valvelab.inspection.motion_sides import Side
from valvelab.phasing.piston import piston_drop
from valvelab.records.motion_result import MotionValve
from valvelab.valve_motion.valve_lift import valve_motion

CRANK = "Crank angle from gas-exchange TDC"
_FROM, _TO, _STEP = -360.0, 360.0, 0.5


def side_of(inspection: MotionInspection, lobe: str) -> Side:
    """The worked side of one lobe."""
    return next(side for side in inspection.sides if side.lobe.name == lobe)


def valve_of(inspection: MotionInspection, lobe: str) -> MotionValve:
    """The result of one lobe."""
    return next(valve for valve in inspection.result.valves if valve.lobe == lobe)


def _role(side: Side) -> Role:
    return side.lobe.kind or "measured"


def lift_figure(inspection: MotionInspection, lobes: Sequence[str] | None = None) -> Figure:
    """Valve lift over the cycle with the piston's drop beside it, and the lift without lash thin."""
    names = [side.lobe.name for side in inspection.sides] if lobes is None else list(lobes)
    crank = np.arange(_FROM, _TO + _STEP / 2.0, _STEP)
    curves = []
    for name in names:
        side = side_of(inspection, name)
        free = valve_motion(side.lobe.profile, side.gear.rigid(0.0), side.timing, crank)
        curves.append(Curve(crank, free.lift_mm, "nominal", f"{name} without lash"))
        moved = valve_motion(side.lobe.profile, side.gear, side.timing, crank)
        curves.append(Curve(crank, moved.lift_mm, _role(side), name))
    train = inspection.question.train
    if train.throw_mm is not None and train.rod_mm is not None:
        drop = piston_drop(crank, train.throw_mm, train.rod_mm)
        top = max((float(curve.y.max()) for curve in curves), default=10.0)
        curves.append(Curve(crank, np.where(drop <= 1.15 * top, drop, np.nan), "guide", "piston below TDC"))
    guides = (Guide(0.0, "x", label="TDC"),)
    return Figure("valve_lift", "Valve lift", Axis(CRANK, "crank deg", (_FROM, _TO)), Axis("Lift", "mm"),
                  tuple(curves), guides=guides)  # fmt: skip


def clearance_figure(inspection: MotionInspection, lobe: str) -> Figure | None:
    """Valve to piston along gas exchange, as set and with the camshaft 4 deg either way; None where not stated."""
    train, side = inspection.question.train, side_of(inspection, lobe)
    found = clearance_of(train, side)
    if found is None:
        return None
    curves = []
    for step in (4.0, -4.0):
        moved = clearance_of(train, side, step)
        if moved is not None:
            word = "advanced" if step > 0 else "retarded"
            curves.append(Curve(moved.crank_deg, moved.clearance_mm, "measured_quiet", f"{abs(step):g} deg {word}"))
    curves.append(Curve(found.crank_deg, found.clearance_mm, _role(side), lobe))
    mark = Marks(np.array([found.at_crank_deg]), np.array([found.min_mm]), "measured", "", (f"{found.min_mm:.2f} mm",))
    return Figure("clearance", "Valve to piston", Axis(CRANK, "crank deg", (-60.0, 60.0)),
                  Axis("Clearance", "mm", (min(0.0, found.min_mm), 2.5 * max(found.min_mm, 2.0))), tuple(curves),
                  marks=(mark,), guides=(Guide(0.0, "y", "reject", "touch"),))  # fmt: skip


def force_figure(inspection: MotionInspection, lobe: str, speeds_rpm: Sequence[float] = ()) -> Figure | None:
    """Quasi-static contact force at the valve over crank angle at some speeds; None without mass and spring."""
    train, side = inspection.question.train, side_of(inspection, lobe)
    mass, seat, rate, top = train.effective_mass_kg, train.seat_force_n, train.rate_n_per_mm, train.max_speed_rpm
    if mass is None or seat is None or rate is None:
        return None
    speeds = list(speeds_rpm) or [share * (top or 6000.0) for share in (0.25, 0.5, 0.75, 1.0)]
    cycle, up = side.cycle, side.cycle.lift_mm > 0.0
    acceleration = cycle.acceleration_mm_per_crank_deg2
    curves = []
    for number, rpm in enumerate(speeds):
        force = contact_force(cycle.lift_mm, acceleration, mass, seat, rate, rpm)
        curves.append(Curve(cycle.crank_deg, np.where(up, force, np.nan), "series", f"{rpm:.0f} rpm", number))
    return Figure("contact_force", "Contact force, quasi-static", Axis(CRANK, "crank deg", _ends(side)),
                  Axis("Force", "N"), tuple(curves), guides=(Guide(0.0, "y", "reject", "leaves the cam"),))  # fmt: skip


def _ends(side: Side) -> tuple[float, float]:
    up = np.flatnonzero(side.cycle.lift_mm > 0.0)
    if not up.size:
        return (_FROM, _TO)
    return (float(side.cycle.crank_deg[up[0]]) - 10.0, float(side.cycle.crank_deg[up[-1]]) + 10.0)


def force_map(inspection: MotionInspection, lobe: str) -> HeatMap | None:
    """Dynamic contact force, crank angle × crank speed; NaN where the valve should be shut, the largest 3 % cut off.

    None without a sweep.
    """
    side = side_of(inspection, lobe)
    swept = side.sweep
    if swept is None:
        return None
    low, high = _ends(side)
    seen = (swept.crank_deg >= low) & (swept.crank_deg <= high)
    # the blows after a flight would drown everything else
    values = np.minimum(swept.force_n[:, seen], np.nanpercentile(swept.force_n[:, seen], 97.0))
    return HeatMap(
        "force_map",
        "Contact force, dynamic model",
        Axis(CRANK, "crank deg", (low, high)),
        tuple(f"{rpm:.0f} rpm" for rpm in swept.rpm),
        swept.crank_deg[seen],
        values,
        Axis("Force", "N"),
        diverging=False,
    )


def sweep_figure(inspection: MotionInspection, lobe: str) -> Figure | None:
    """Loft and bounce at seating over crank speed, with the speeds at which contact fails; None without a sweep."""
    side, valve = side_of(inspection, lobe), valve_of(inspection, lobe)
    swept, control = side.sweep, valve.control
    if swept is None or control is None:
        return None
    guides = []
    if control.separation_rpm is not None and control.separation_rpm <= 1.05 * float(swept.rpm[-1]):
        guides.append(Guide(control.separation_rpm, "x", "guide", "quasi-static"))
    if control.dynamic_separation_rpm is not None:
        guides.append(Guide(control.dynamic_separation_rpm, "x", "reject", "contact lost"))
    curves = (
        Curve(swept.rpm, swept.loft_mm, "series", "loft", 0),
        Curve(swept.rpm, swept.bounce_mm, "series", "bounce", 1),
    )
    return Figure("sweep", "Loft and bounce, dynamic model",
                  Axis("Crank speed", "rpm"), Axis("Lift", "mm"), curves, guides=tuple(guides))  # fmt: skip


def resonance_figure(inspection: MotionInspection, lobe: str) -> Figure | None:
    """Lift harmonics as stems at the crank speeds where they meet the spring's surge; None without surge."""
    control = valve_of(inspection, lobe).control
    if control is None or not control.spring_resonances:
        return None
    rows = sorted(control.spring_resonances, key=lambda row: row.crank_rpm)
    rows = [row for row in rows if row.crank_rpm >= 0.25 * rows[-1].crank_rpm]
    rpm = np.array([row.crank_rpm for row in rows])
    size = np.array([row.lift_harmonic_um for row in rows])
    # up and down again, along the axis in between
    stems_x = np.repeat(rpm, 3)
    stems_y = np.stack([np.zeros_like(size), size, np.zeros_like(size)], axis=1).ravel()
    marks = Marks(rpm, size, "measured", "order", tuple(str(row.order) for row in rows))
    return Figure("resonances", "Spring surge: orders of the lift", Axis("Crank speed", "rpm"),
                  Axis("Lift harmonic", "um"), (Curve(stems_x, stems_y, "measured"),), marks=(marks,))  # fmt: skip


def pressure_figure(inspection: MotionInspection, lobe: str) -> Figure | None:
    """Hertz pressure along the lobe at some speeds; None without [contact]."""
    return _contact_figure(inspection, lobe, "pressure", "Hertz pressure", "MPa")


def film_figure(inspection: MotionInspection, lobe: str) -> Figure | None:
    """Least film thickness along the lobe at some speeds; None without oil."""
    return _contact_figure(inspection, lobe, "film", "Oil film", "um")


def _contact_figure(inspection: MotionInspection, lobe: str, name: str, title: str, unit: str) -> Figure | None:
    side = side_of(inspection, lobe)
    found, _ = contact_curves(inspection.question, side)
    curves: list[Curve] = []
    for number, curve in enumerate(found):
        values: FloatArray | None = curve.along.pressure_mpa if name == "pressure" else curve.along.film_um
        if values is not None:
            word = "by hand" if curve.crank_rpm == 0.0 else f"{curve.crank_rpm:.0f} rpm"
            curves.append(Curve(curve.crank_deg, values, "series", word, number))
    if not curves:
        return None
    return Figure(name, title, Axis(CRANK, "crank deg", _ends(side)), Axis(title, unit), tuple(curves))
