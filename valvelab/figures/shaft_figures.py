"""What the shaft plots show: polar roundness, harmonics, the axis along the shaft and end on."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from valvelab.angles import fold
from valvelab.arrays import FloatArray
from valvelab.figures.description import Axis, Band, Curve, Figure, Marks

if TYPE_CHECKING:
    from valvelab.camshaft.journal import JournalForm
    from valvelab.inspection.inspect_shaft import ShaftInspection

_TURN = np.radians(np.arange(0.0, 360.5, 1.0))


def _circle(radius: FloatArray | float) -> tuple[FloatArray, FloatArray]:
    return np.asarray(radius * np.cos(_TURN)), np.asarray(radius * np.sin(_TURN))


def roundness_figure(form: JournalForm) -> Figure:
    """Form about the least-squares circle, magnified: the trace, that circle, and the two minimum-zone circles.

    Micrometres outward from a base circle of four times the roundness; 0 deg is to the right, angles counter-clockwise.
    """
    least = form.least_squares
    deviation = 1000.0 * least.form_mm
    base = max(4.0 * 1000.0 * least.roundness_mm, 1.0)
    order = np.argsort(fold(form.trace.angle_deg), kind="stable")
    turned = np.radians(fold(form.trace.angle_deg)[order])
    radial = base + deviation[order]
    x, y = radial * np.cos(turned), radial * np.sin(turned)
    # the last stretch is a line of its own, so that no drawing side meets a line that ends where it began
    curves = [Curve(x, y, "measured", "trace"), Curve(x[[-1, 0]], y[[-1, 0]], "measured")]
    curves.append(Curve(*_circle(base), "guide", "least-squares circle"))
    zone = form.circles.get("minimum zone")
    if zone is not None and form.has_roundness:
        shift = 1000.0 * (np.asarray(zone.centre_mm) - np.asarray(least.centre_mm))
        middle = base + 1000.0 * (zone.level_mm - least.level_mm)
        middle = middle + shift[0] * np.cos(_TURN) + shift[1] * np.sin(_TURN)
        half = 500.0 * zone.roundness_mm
        curves.append(Curve(*_circle(middle + half), "nominal", "minimum zone"))
        curves.append(Curve(*_circle(middle - half), "nominal"))
    reach = 1.1 * float(max(radial.max(), base))
    axis = Axis("Form, outward from the circle", "um", (-reach, reach))
    return Figure("roundness", f"{form.trace.name}, roundness", axis, axis, tuple(curves), equal_scale=True)


def harmonics_figure(form: JournalForm, highest: int = 30) -> Figure:
    """Amplitude of each order from 2 up, as stems."""
    rows = [row for row in form.harmonics.orders if 2 <= row.order <= highest]
    orders = np.asarray([row.order for row in rows], dtype=np.float64)
    heights = np.asarray([1000.0 * row.amplitude_mm for row in rows], dtype=np.float64)
    x = np.repeat(orders, 3)
    y = np.column_stack([np.zeros(heights.size), heights, np.full(heights.size, np.nan)]).ravel()
    return Figure(
        "harmonics",
        f"{form.trace.name}: lobing by order",
        Axis("Order, undulations per turn", "", (1.0, max([row.order for row in rows], default=2) + 1.0)),
        Axis("Amplitude", "um"),
        (Curve(x, y, "measured"),),
        marks=(Marks(orders, heights, "measured"),),
    )


def axis_figure(inspection: ShaftInspection) -> Figure:
    """The journal centres along the shaft, seen in the plane of the worst one and across it, with the zone.

    Both lines are taken out, so the picture shows the bow and nothing of how the shaft lay.
    """
    axis = inspection.axis
    x = np.asarray(axis.positions_mm, dtype=np.float64)
    labels = Axis("Position along the shaft", "mm"), Axis("Centre off the axis line", "um")
    if axis.minimum_zone is None:
        return Figure("axis", "Axis of the shaft: not enough stations", *labels)
    line = axis.minimum_zone
    worst = line.offsets_mm[line.worst]
    toward = worst / max(float(np.hypot(*worst)), 1e-300)
    order = np.argsort(x)
    along = 1000.0 * (line.offsets_mm @ toward)[order]
    across = 1000.0 * (line.offsets_mm @ np.asarray([-toward[1], toward[0]]))[order]
    half = np.full(x.size, 500.0 * line.zone_mm)
    direction = float(np.degrees(np.arctan2(toward[1], toward[0]))) % 360.0
    names = tuple(axis.names[k] for k in order)
    return Figure(
        "axis",
        "Axis of the shaft",
        *labels,
        (
            Curve(x[order], along, "measured", f"in the plane at {direction:.0f} deg"),
            Curve(x[order], across, "measured_quiet", "across it"),
        ),
        (Band(x[order], -half, half, label="minimum zone"),),
        (Marks(x[order], along, "measured", texts=names),),
    )


def section_figure(inspection: ShaftInspection) -> Figure:
    """The journal centres end on, relative to the minimum-zone axis, inside its cylinder."""
    axis = inspection.axis
    labels = Axis("Toward 0 deg", "um"), Axis("Toward 90 deg", "um")
    if axis.minimum_zone is None:
        return Figure("section", "Centres end on: not enough stations", *labels, equal_scale=True)
    offsets = 1000.0 * axis.minimum_zone.offsets_mm
    order = np.argsort(axis.positions_mm)
    return Figure(
        "section",
        "Journal centres end on",
        *labels,
        (
            Curve(*_circle(500.0 * axis.minimum_zone.zone_mm), "nominal", "minimum-zone cylinder"),
            Curve(offsets[order, 0], offsets[order, 1], "measured_quiet"),
        ),
        marks=(Marks(offsets[:, 0], offsets[:, 1], "measured", texts=axis.names),),
        equal_scale=True,
    )
