"""What the valve-motion plots show: lift and piston, clearance, contact force, force map, pressure and film."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.decimals import decimals_among
from valvelab.dynamics.control import contact_force
from valvelab.figures.description import (
    Axis,
    Curve,
    Figure,
    Guide,
    HeatMap,
    Marks,
    Role,
    Unit,
    ends_of,
    mark,
    words,
)
from valvelab.inspection.engine.contact import contact_curves
from valvelab.inspection.engine.motion import GUIDANCE_MM, MotionInspection, clearances_of
from valvelab.inspection.engine.sides import Side
from valvelab.phasing.piston import piston_drop
from valvelab.phrase import Phrase
from valvelab.records.motion_result import MotionValve
from valvelab.units import System, display_unit, show, with_unit
from valvelab.valve_motion.valve_lift import valve_motion

CRANK = "Crank angle from gas-exchange TDC"
_FROM, _TO, _STEP = -360.0, 360.0, 0.5
_BEYOND = "beyond free travel"


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
        curves.append(Curve(crank, free.lift_mm, "nominal", Phrase("{lobe} without lash", lobe=name)))
        moved = valve_motion(side.lobe.profile, side.gear, side.timing, crank)
        curves.append(Curve(crank, moved.lift_mm, _role(side), name))
    train = inspection.question.train
    if train.crank.throw_mm is not None and train.crank.rod_mm is not None:
        drop = piston_drop(crank, train.crank.throw_mm, train.crank.rod_mm)
        top = max((float(curve.y.max()) for curve in curves), default=10.0)
        curves.append(Curve(crank, np.where(drop <= 1.15 * top, drop, np.nan), "guide", "piston below TDC"))
    guides = (Guide(0.0, "x", label="TDC"),)
    return Figure("valve_lift", "Valve lift", _crank(_FROM, _TO), Axis("Lift", "mm"), tuple(curves), guides=guides)


def _crank(start: float, stop: float) -> Axis:
    return Axis(CRANK, "crank deg", (start, stop))


def _length(value_mm: float, units: System) -> str:
    return with_unit(value_mm, "mm", units, 2, 3)


def clearance_figure(inspection: MotionInspection, lobe: str, units: System = "metric") -> Figure | None:
    """Valve to piston along gas exchange, as set and with the camshaft 4 deg either way; None where not stated."""
    train, side = inspection.question.train, side_of(inspection, lobe)
    every = clearances_of(train, side, [(step, side.gear.lash_mm) for step in (0.0, 4.0, -4.0)])
    if not every:
        return None
    found, *moved = every
    curves = [
        Curve(row.crank_deg, row.clearance_mm, "measured_quiet", word)
        for row, word in zip(moved, ("4 deg advanced", "4 deg retarded"), strict=True)
    ]
    curves.append(Curve(found.crank_deg, found.clearance_mm, _role(side), lobe))
    count = decimals_among(inspection.result.valves, "piston_clearance_mm", "mm", units)
    told = f"{show(found.min_mm, 'mm', units, count)} {display_unit('mm', units).label}"
    least = mark(found.at_crank_deg, found.min_mm, "measured", told)
    up = Axis(Phrase("Clearance, {lobe}", lobe=lobe), "mm", (min(0.0, found.min_mm), 2.5 * max(found.min_mm, 2.0)))
    across, guides = _crank(-60.0, 60.0), (Guide(0.0, "y", "reject", "touch"),)
    return Figure("clearance", "Valve to piston", across, up, tuple(curves), marks=(least,), guides=guides)


def force_figure(inspection: MotionInspection, lobe: str) -> Figure | None:
    """Quasi-static contact force at the valve over crank angle at some speeds; None without mass and spring."""
    train, side = inspection.question.train, side_of(inspection, lobe)
    mass, top = train.valve.effective_mass_kg, train.crank.max_speed_rpm
    seat, rate = train.spring.seat_force_n, train.spring.rate_n_per_mm
    if mass is None or seat is None or rate is None:
        return None
    speeds = [share * (top or 6000.0) for share in (0.25, 0.5, 0.75, 1.0)]
    cycle, up = side.cycle, side.cycle.lift_mm > 0.0
    acceleration = cycle.acceleration_mm_per_crank_deg2
    curves = []
    low = high = 0.0
    for number, rpm in enumerate(speeds):
        force = contact_force(cycle.lift_mm, acceleration, mass, seat, rate, rpm)
        low, high = min(low, float(force[up].min(initial=0.0))), max(high, float(force[up].max(initial=0.0)))
        word = f"{rpm:.0f} rpm" if number == len(speeds) - 1 else f"{rpm:.0f}"
        curves.append(Curve(cycle.crank_deg, np.where(up, force, np.nan), "series", word, number))
    force_axis = Axis("Force", "N", (low - 0.05 * (high - low), high))
    title, across = "Contact force, quasi-static", _crank(*_ends(side))
    guides = (Guide(0.0, "y", "reject", "leaves the cam"),)
    return Figure("contact_force", title, across, force_axis, tuple(curves), guides=guides)


def _ends(side: Side) -> tuple[float, float]:
    up = np.flatnonzero(side.cycle.lift_mm > 0.0)
    if not up.size:
        return (_FROM, _TO)
    return (float(side.cycle.crank_deg[up[0]]) - 10.0, float(side.cycle.crank_deg[up[-1]]) + 10.0)


def force_map(inspection: MotionInspection, lobe: str) -> HeatMap | None:
    """Dynamic contact force, crank angle × crank speed; NaN where the valve should be shut, the largest 3 % cut off.

    None without a sweep; speeds beyond the valve's free travel are empty rows.
    """
    side = side_of(inspection, lobe)
    swept = side.sweep
    if swept is None:
        return None
    low, high = _ends(side)
    seen = (swept.crank_deg >= low) & (swept.crank_deg <= high)
    # the blows after a flight would drown everything else
    forces = swept.force_n[:, seen]
    if not np.isfinite(forces).any():
        return None
    values = np.minimum(forces, np.nanpercentile(forces, 97.0))
    rows = tuple(f"{rpm:.0f} rpm" for rpm in swept.rpm)
    title, across, force = "Contact force, dynamic model", _crank(low, high), Axis("Force", "N")
    return HeatMap("force_map", title, across, rows, swept.crank_deg[seen], values, force, diverging=False)


def sweep_figure(inspection: MotionInspection, lobe: str) -> Figure | None:
    """Loft and bounce at seating over crank speed, with the speeds at which contact fails; None without a sweep.

    The curves end where the valve goes beyond its free travel, which is marked.
    """
    side, valve = side_of(inspection, lobe), valve_of(inspection, lobe)
    swept, control = side.sweep, valve.control
    if swept is None or control is None:
        return None
    top = float(np.nanmax([*swept.loft_mm, *swept.bounce_mm, 0.01]))
    found: list[tuple[float, Role, str]] = []
    if control.dynamic_separation_rpm is not None:
        found.append((control.dynamic_separation_rpm, "reject", "contact lost"))
    if control.separation_rpm is not None and control.separation_rpm <= 1.05 * float(swept.rpm[-1]):
        found.append((control.separation_rpm, "guide", "quasi-static"))
    if swept.beyond_rpm is not None:
        found.append((swept.beyond_rpm, "nominal", "beyond free travel: no figure"))
    guides = tuple(Guide(rpm, "x", "guide" if role == "nominal" else role) for rpm, role, _ in found)
    # words beside their line, left of it where there is room and a curve may follow, each at a height of its own
    room = float(swept.rpm[-1] - swept.rpm[0])

    def place(rpm: float, text: str) -> float:
        half = 0.0045 * len(text) * room
        left = rpm - 0.01 * room - half
        return left if left - half > swept.rpm[0] and not text.startswith(_BEYOND) else rpm + 0.01 * room + half

    marks = tuple(
        words(place(rpm, text), (0.8 - 0.18 * n) * top, text, "nominal" if role == "guide" else role)
        for n, (rpm, role, text) in enumerate(found)
    )
    curves = (
        Curve(swept.rpm, swept.loft_mm, "series", "loft", 0),
        Curve(swept.rpm, swept.bounce_mm, "series", "bounce", 1),
    )
    across, up = Axis("Crank speed", "rpm", ends_of(swept.rpm)), Axis("Lift", "mm", (0.0, top))
    return Figure("sweep", "Loft and bounce, dynamic model", across, up, curves, marks=marks, guides=guides)


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
    largest = np.sort(size)[-min(8, size.size)]
    names = tuple(str(row.order) if row.lift_harmonic_um >= largest else "" for row in rows)
    marks = Marks(rpm, size, "measured", "order", names)
    ends = (0.97 * float(rpm[0]), 1.03 * float(rpm[-1]))
    across, up = Axis("Crank speed", "rpm", ends), Axis("Lift harmonic", "um")
    stems = (Curve(stems_x, stems_y, "measured"),)
    return Figure("resonances", "Spring surge: orders of the lift", across, up, stems, marks=(marks,))


def pressure_figure(inspection: MotionInspection, lobe: str) -> Figure | None:
    """Hertz pressure along the lobe at some speeds; None without [contact]."""
    return _contact_figure(inspection, lobe, "pressure", "Hertz pressure", "MPa")


def film_figure(inspection: MotionInspection, lobe: str) -> Figure | None:
    """Least film thickness along the lobe at some speeds; None without oil."""
    return _contact_figure(inspection, lobe, "film", "Oil film", "um")


def _contact_figure(inspection: MotionInspection, lobe: str, name: str, title: str, unit: Unit) -> Figure | None:
    side = side_of(inspection, lobe)
    found, _ = contact_curves(inspection.question, side)
    curves: list[Curve] = []
    for number, curve in enumerate(found):
        values: FloatArray | None = curve.along.pressure_mpa if name == "pressure" else curve.along.film_um
        if values is not None:
            last = " rpm" if number == len(found) - 1 else ""
            word = "by hand" if curve.crank_rpm == 0.0 else f"{curve.crank_rpm:.0f}{last}"
            curves.append(Curve(curve.crank_deg, values, "series", word, number))
    if not curves:
        return None
    return Figure(name, title, _crank(*_ends(side)), Axis(title, unit), tuple(curves))


def trial_lift_figure(stated: MotionInspection, tried: MotionInspection, lobes: Sequence[str]) -> Figure:
    """Valve lift as tried over the lift as the train states it, with the piston."""
    figure = lift_figure(tried, lobes)
    crank = np.arange(_FROM, _TO + _STEP / 2.0, _STEP)
    before = []
    for name in lobes:
        side = side_of(stated, name)
        lift = valve_motion(side.lobe.profile, side.gear, side.timing, crank).lift_mm
        before.append(Curve(crank, lift, "nominal", Phrase("{lobe} as stated", lobe=name)))
    kept = tuple(curve for curve in figure.curves if curve.role != "nominal")
    return replace(figure, curves=(*before, *kept))


def clearance_moves_figure(inspection: MotionInspection, lobe: str, units: System = "metric") -> Figure | None:
    """Least clearance over the camshaft's advance, with the lash as set and without; None where not stated."""
    valve, side = valve_of(inspection, lobe), side_of(inspection, lobe)
    if not valve.clearance_changes or valve.kind is None:
        return None
    curves = []
    for lash in dict.fromkeys(row.lash_mm for row in valve.clearance_changes):
        rows = [row for row in valve.clearance_changes if row.lash_mm == lash]
        x, y = (np.array([getattr(row, key) for row in rows]) for key in ("advance_crank_deg", "min_mm"))
        set_so = lash == side.gear.lash_mm
        role: Role = _role(side) if set_so else "nominal"
        told = Phrase("lash {size}", size=_length(lash, units)) if set_so else "without lash"
        curves.append(Curve(x, y, role, told))
    wanted = GUIDANCE_MM[valve.kind]
    guides = (
        Guide(wanted, "y", "undecided", Phrase("common practice {size}", size=_length(wanted, units))),
        Guide(0.0, "y", "reject", "touch"),
    )
    top = 1.15 * max(wanted, *(float(curve.y.max()) for curve in curves))
    low = min(0.0, *(float(curve.y.min()) for curve in curves))
    across, up = (
        Axis("Camshaft advanced", "crank deg"),
        Axis(Phrase("Least clearance, {lobe}", lobe=lobe), "mm", (low, top)),
    )
    return Figure("clearance_moves", "How phasing and lash move it", across, up, tuple(curves), guides=guides)
