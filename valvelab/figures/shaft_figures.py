"""What the shaft plots show: the bowed shaft, polar roundness, harmonics, the axis along the shaft and end on."""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from valvelab.angles import fold
from valvelab.arrays import FloatArray
from valvelab.decimals import figure, told, with_sign
from valvelab.figures.description import Axis, Band, Curve, Figure, Marks, Role, bars, level, mark
from valvelab.figures.plan_figures import SIGNS_ACROSS, short_names
from valvelab.figures.polar import Rings, circle, magnification
from valvelab.inspection.form.measured import is_lobe
from valvelab.phrase import Phrase, listed
from valvelab.units import System, display_unit

if TYPE_CHECKING:
    from collections.abc import Mapping

    from valvelab.camshaft.journal import JournalForm
    from valvelab.inspection.form.measured import Axis as ShaftAxis
    from valvelab.inspection.form.shaft import ShaftInspection
    from valvelab.records.result import Decision

_BASE_OF_SPAN = 1.7
"""Radius of the base circle of a polar plot, in spans of the form: round enough to read, open enough to see into."""
_TOUCHING_UM = 1e-4
_LEAST_SPAN_UM = 0.1


def roundness_figure(form: JournalForm, system: System = "metric") -> Figure:
    """Form about the least-squares circle, magnified: the trace, that circle, and the two minimum-zone circles.

    Micrometres outward from a base circle; 0 deg is to the right, angles counter-clockwise. Marks: where the trace
    touches the zone.
    """
    title = Phrase("{station}, roundness", station=form.trace.name)
    if not form.has_roundness:
        few = Phrase("{count} angles are too few for roundness", count=str(form.coverage.distinct))
        return _round("roundness", title, Axis(few, ""))
    least = form.least_squares
    deviation = 1000.0 * least.form_mm
    span = max(float(np.ptp(deviation)), _LEAST_SPAN_UM)
    base = _BASE_OF_SPAN * span
    rings = Rings(base, (float(deviation.min()), max(float(deviation.max()), 0.1 * span)), system)
    turned = np.radians(fold(form.trace.angle_deg))
    order = _round_and_round(form.trace.angle_deg)
    closed = np.append(order, order[0])
    radial = base + deviation
    x, y = radial * np.cos(turned), radial * np.sin(turned)
    curves = [*rings.curves(), Curve(x[closed], y[closed], "measured", "trace")]
    curves.append(Curve(*circle(base), "series", "least squares", series=2))
    marks = rings.marks()
    zone = form.circles.get("minimum zone")
    if zone is not None:
        shift = 1000.0 * (np.asarray(zone.centre_mm) - np.asarray(least.centre_mm))
        middle = base + 1000.0 * (zone.level_mm - least.level_mm)
        half = 500.0 * zone.roundness_mm
        for number, edge in enumerate((half, -half)):
            label = "minimum zone" if number == 0 else ""
            curves.append(Curve(*_about(middle + edge, shift), "series", label, series=1))
        off = deviation + base - middle - shift[0] * np.cos(turned) - shift[1] * np.sin(turned)
        # every point there, whichever of several equal ones the minimum zone was computed from
        touching = np.flatnonzero(np.abs(off) >= half - _TOUCHING_UM)
        marks = (*marks, Marks(x[touching], y[touching], "series", series=1))
    return _round("roundness", title, rings.axis(), tuple(curves), marks)


def _round(name: str, title: str, axis: Axis, curves: tuple[Curve, ...] = (), marks: tuple[Marks, ...] = ()) -> Figure:
    """A figure that looks the same across and up, without axes."""
    return Figure(name, title, axis, axis, curves, marks=marks, equal_scale=True, axes="none")


def _round_and_round(angle_deg: FloatArray) -> NDArray[np.intp]:
    """The order to join readings in: as they were taken, turn after turn, where that goes round one way; else by angle.

    Turns read one after another are drawn as loops over one another instead of a zigzag between them.
    """
    steps = np.mod(np.diff(angle_deg) + 180.0, 360.0) - 180.0
    if (steps > 0.0).all() or (steps < 0.0).all():
        return np.arange(angle_deg.size)
    return np.argsort(fold(angle_deg), kind="stable")


def _about(radius: float, shift: FloatArray) -> tuple[FloatArray, FloatArray]:
    """A circle about a centre that is `shift` off, as it looks on the magnified plot: to first order, as measured."""
    x, y = circle(1.0)
    return circle(radius + shift[0] * x + shift[1] * y)


def harmonics_figure(form: JournalForm, highest: int = 30) -> Figure:
    """Amplitude of each order from 2 up, as bars."""
    rows = [row for row in form.harmonics.orders if 2 <= row.order <= highest]
    orders = np.asarray([row.order for row in rows], dtype=np.float64)
    heights = np.asarray([1000.0 * row.amplitude_mm for row in rows], dtype=np.float64)
    top = float(heights.max()) if heights.size else 0.0
    return Figure(
        "harmonics",
        Phrase("{station}: lobing by order", station=form.trace.name),
        Axis("Order, undulations per turn", "", (1.0, float(orders.max(initial=2.0)) + 1.0)),
        Axis("Amplitude", "um", (0.0, 1.05 * top or 1.0)),
        bands=(bars(orders, heights, 0.7, "measured"),) if rows else (),
    )


def axis_figure(inspection: ShaftInspection) -> Figure:
    """The journal centres along the shaft, seen in the plane of the worst one and across it, with the zone.

    Both lines are taken out, so the picture shows the bow and nothing of how the shaft lay.
    """
    axis = inspection.axis
    labels = Axis("Position along the shaft", "mm"), Axis("Centre off the axis line", "um")
    if axis.minimum_zone is None:
        return Figure("axis", "Axis of the shaft: not enough stations", *labels)
    x, along, across, direction = _bow(axis)
    order = np.argsort(x, kind="stable")
    half = np.full(x.size, 500.0 * axis.minimum_zone.zone_mm)
    return Figure(
        "axis",
        "Axis of the shaft",
        *labels,
        (
            Curve(x[order], along[order], "measured", Phrase("in the plane at {angle}", angle=f"{direction:.0f} deg")),
            Curve(x[order], across[order], "measured_quiet", "across it"),
        ),
        (Band(x[order], -half, half, label="minimum zone"),),
        (Marks(x[order], along[order], "measured", texts=tuple(axis.names[k] for k in order)),),
    )


def _bow(axis: ShaftAxis) -> tuple[FloatArray, FloatArray, FloatArray, float]:
    """Positions (mm), centres in the plane of the worst one and across it (µm), and that plane's direction (deg)."""
    line = axis.minimum_zone
    assert line is not None
    worst = line.offsets_mm[line.worst]
    toward = worst / max(float(np.hypot(*worst)), 1e-300)
    along = 1000.0 * (line.offsets_mm @ toward)
    across = 1000.0 * (line.offsets_mm @ np.asarray([-toward[1], toward[0]]))
    direction = float(np.degrees(np.arctan2(toward[1], toward[0]))) % 360.0
    return np.asarray(axis.positions_mm, dtype=np.float64), along, across, direction


def section_figure(inspection: ShaftInspection, system: System = "metric", chosen: str = "") -> Figure:
    """The journal centres end on, relative to the minimum-zone axis, inside its cylinder."""
    axis = inspection.axis
    if axis.minimum_zone is None:
        return _round("section", "Journal centres", Axis("Not enough stations for an axis", ""))
    radius = max(500.0 * axis.minimum_zone.zone_mm, 0.05)
    rings = Rings(0.0, (0.0, radius), system, count=3)
    offsets = 1000.0 * axis.minimum_zone.offsets_mm
    order = np.argsort(axis.positions_mm, kind="stable")
    lead = np.asarray([name == chosen for name in axis.names], dtype=bool)
    curves = (
        *rings.curves(),
        Curve(*circle(radius), "series", "minimum zone", series=1),
        Curve(offsets[order, 0], offsets[order, 1], "guide"),
    )
    marks = (
        rings.marks()[0],
        Marks(offsets[:, 0], offsets[:, 1], "measured", texts=_together(offsets, axis.names, 0.12 * radius)),
        Marks(offsets[lead, 0], offsets[lead, 1], "series", series=1),
    )
    return _round("section", "Journal centres", rings.axis(Phrase("end on, {scale}", scale=rings.label)), curves, marks)


def _together(places: FloatArray, names: tuple[str, ...], near: float) -> tuple[str, ...]:
    """Names for places, those that lie on one another written once, together. places: shape (n, 2)."""
    texts = [""] * len(names)
    for k in range(len(names)):
        close = np.flatnonzero(np.hypot(*(places - places[k]).T) < near)
        if close[0] == k:
            texts[k] = ", ".join(names[j] for j in close)
    return tuple(texts)


def bowed_shaft_figure(
    inspection: ShaftInspection,
    system: System = "metric",
    chosen: str = "",
    worst: Mapping[str, Decision] = MappingProxyType({}),
) -> Figure:
    """The shaft from the side, its bow drawn many times its size in the plane where it is worst.

    worst: the gravest decision at a journal or a lobe by its name; it has that mark, and its colour where not accepted.
    Journals and the lobes that were read stand at their places; the length and the journals are to one scale (an
    unstated diameter is drawn at a ninth of the length), the bow is to the scale that the title says.
    """
    axis = inspection.axis
    readings = inspection.question.readings
    placed = [(form, form.trace.position_mm) for form in inspection.journals if form.trace.position_mm is not None]
    bare = Axis("Position along the shaft", "mm")
    if not placed or axis.minimum_zone is None:
        return Figure("shaft", "The shaft", bare, Axis("No axis to draw: see the notes", ""), axes="none")
    x, along, _, direction = _bow(axis)
    order = np.argsort(x, kind="stable")
    length = float(np.ptp(x))
    radius = readings.journal_radius_mm or length / 18.0
    factor = 1000.0 * magnification(float(np.abs(along).max()), 0.55 * radius) if np.abs(along).max() > 1e-6 else 1.0
    bow = _Bow(x[order], along[order] * factor / 1000.0)
    step = float(np.diff(np.unique(x)).min())
    width = min(0.32 * step, 0.9 * radius)
    core = np.linspace(x.min() - 0.8 * width, x.max() + 0.8 * width, 121)
    middle = bow.at(core)
    bands = [Band(core, middle - 0.58 * radius, middle + 0.58 * radius, "guide")]
    lobes = _lobes(inspection, 0.6 * width)
    bands += [
        _block(bow, ends, 0.72 * radius, 1.12 * radius, _coloured(worst.get(name), "guide"))
        for name, ends in lobes.items()
    ]
    names, numbered = short_names([form.trace.name for form, _ in placed], SIGNS_ACROSS * 2 // 3 // len(placed))
    texts, u = [], inspection.result.straightness.uncertainty.get("minimum_zone_um")
    for form, position in placed:
        name = form.trace.name
        role = _coloured(worst.get(name), "measured" if name == chosen else "guide")
        bands.append(_block(bow, (position - width / 2, position + width / 2), radius, radius, role))
        size = with_sign(figure(1e3 * float(bow.at(position)) / factor, u, "um", system))
        texts.append(names[name] if len(placed) > 8 else listed((names[name], size), " "))
    spots = np.asarray([position for _, position in placed])
    half = 0.5 * axis.minimum_zone.zone_mm * factor
    ends = np.asarray([core[0] - 0.6 * width, core[-1] + 0.6 * width])
    above = {form.trace.name: position for form, position in placed} | {
        name: 0.5 * (low + high) for name, (low, high) in lobes.items()
    }
    marked = [(name, above[name]) for name in worst if name in above]
    reach = (2.3 if marked else 1.62) * radius + float(np.abs(along).max()) * factor / 1000.0
    micro = display_unit("um", system).label
    zone = told(1000.0 * axis.minimum_zone.zone_mm, "um", system, u)
    title = Phrase(
        "bow ×{factor}, {unit}; up is toward {angle}", factor=f"{factor:,.0f}", unit=micro, angle=f"{direction:.0f}°"
    )
    return Figure(
        "shaft",
        listed((Phrase("Side view"), numbered), ""),
        Axis(bare.label, "mm", (float(ends[0]), float(ends[1]))),
        Axis(title, "mm", (-reach, reach)),
        (
            level(ends, 0.0, "guide"),
            level(ends, half, "series", Phrase("minimum zone {size}", size=zone), series=1),
            level(ends, -half, "series", series=1),
            Curve(core, middle, "measured"),
            *_supports(inspection, bow, radius),
        ),
        tuple(bands),
        (
            Marks(spots, bow.at(spots) + 1.28 * radius, "nominal", texts=tuple(texts), bare=True),
            *(replace(mark(x, float(bow.at(x)) + 1.95 * radius, worst[name]), size=1.6) for name, x in marked),
        ),
        equal_scale=True,
        axes="x",
    )


class _Bow:
    """A smooth line through the drawn centres: cubic pieces with the slopes of neighbours, straight beyond the ends."""

    def __init__(self, x: FloatArray, y: FloatArray) -> None:
        self._x, first = np.unique(x, return_index=True)
        self._y = y[first]
        self._slope = np.gradient(self._y, self._x)

    def at(self, place: FloatArray | float) -> FloatArray:
        """Height at a place along the shaft: Hermite's cubic pieces."""
        inside = np.clip(place, self._x[0], self._x[-1])
        end = np.where(place < inside, self._slope[0], self._slope[-1])
        piece = np.clip(np.searchsorted(self._x, inside, side="right") - 1, 0, self._x.size - 2)
        width, rise = np.diff(self._x)[piece], np.diff(self._y)[piece]
        t = (inside - self._x[piece]) / width
        bent = (1.0 - t) ** 2 * self._slope[piece] - t * (1.0 - t) * self._slope[piece + 1]
        height = self._y[piece] + t**2 * (3.0 - 2.0 * t) * rise + width * t * bent
        return np.asarray(height + end * (place - inside))


def _block(bow: _Bow, ends: tuple[float, float], below: float, above: float, role: Role) -> Band:
    """Something on the shaft: the outline of a journal or a lobe."""
    x = np.repeat(ends, 2)
    middle, reach = bow.at(x), np.asarray([0.0, 1.0, 1.0, 0.0])
    return Band(x, middle - below * reach, middle + above * reach, role)


def _coloured(decision: Decision | None, otherwise: Role) -> Role:
    """The colour of what was decided, where it was not accepted."""
    return otherwise if decision in {None, "accept"} else decision or otherwise


def _lobes(inspection: ShaftInspection, least: float) -> dict[str, tuple[float, float]]:
    """From where to where each lobe that was read stands, by name: its outer tracks, and `least` at least."""
    tracks: dict[str, list[float]] = {}
    for trace in inspection.question.readings.traces:
        if is_lobe(trace) and trace.position_mm is not None:
            tracks.setdefault(trace.name, []).append(trace.position_mm)
    found = {}
    for name, places in tracks.items():
        middle, half = 0.5 * (min(places) + max(places)), max(0.5 * (max(places) - min(places)), 0.5 * least)
        found[name] = middle - half, middle + half
    return found


def _supports(inspection: ShaftInspection, bow: _Bow, radius: float) -> list[Curve]:
    """Vees under the shaft where it lay in them."""
    vees = inspection.question.readings.vees
    if vees is None:
        return []
    drawn: list[Curve] = []
    for place in vees.positions_mm:
        foot = float(bow.at(place)) - radius
        x = place + radius * np.asarray([0.0, 0.35, -0.35, 0.0])
        y = foot - radius * np.asarray([0.05, 0.55, 0.55, 0.05])
        drawn.append(Curve(x, y, "nominal", "" if drawn else "vees"))
    return drawn
