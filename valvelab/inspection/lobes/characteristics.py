"""The lobe and camshaft rows of the table of characteristics: each with the function that answers for every item.

A row added here is judged, listed, recorded and shown; nothing else has to name it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import partial
from math import nan

import numpy as np

from valvelab.frozen import frozen
from valvelab.inspection.characteristics import Characteristic, FreeOf, Subject
from valvelab.inspection.judging import Item
from valvelab.inspection.lobes.camshaft import index_errors, mean_separation, separations, spread
from valvelab.inspection.lobes.contour import (
    FACE_REACH,
    LEAST_CONVEX,
    PRESSURE_ANGLE,
    TIGHTEST_HOLLOW,
    Extreme,
    contour_extreme,
)
from valvelab.inspection.lobes.repeatability import LobeGroup, Question, nose_centre
from valvelab.inspection.lobes.shaft import ByItem, MeasuredShaft
from valvelab.inspection.unit_doubts import LACKS_ANGLE, doubt_about
from valvelab.lobe.characteristics import EventRow, LobeCharacteristics
from valvelab.measured import Each, Measured, missing
from valvelab.phrase import Phrase
from valvelab.records.lobes_result import LobeDuration, LobeResult, LobesResult, with_numbers
from valvelab.records.measurement import COMPARISON_LIFT_MM

Of = Callable[[MeasuredShaft, float | None], ByItem]
"""A characteristic of a measured shaft, at a lift in mm where it needs one: every item's that has it."""


@frozen(kw_only=True)
class LobeRow(Characteristic):
    """A row with its function.

    block: the part of a lobe's record that holds it, "" for the lobe itself, None where it is not there; states_u:
    whether its uncertainty is recorded too.
    """

    of: Of
    block: str | None = ""
    states_u: bool = True

    def stated(self, lobe: LobeResult) -> Measured:
        """What a lobe's record says of it."""
        holder = getattr(lobe, self.block) if self.block else lobe
        return Measured(None if holder is None else getattr(holder, self.key), lobe.uncertainty.get(self.key))

    def stated_at(self, row: LobeDuration) -> Measured:
        """What the record of a lobe at one lift says of it."""
        return Measured(getattr(row, self.key), getattr(row.uncertainty, self.key))


def _event(of: Callable[[EventRow], Each]) -> Question:
    """One of the events at a lift."""
    return lambda lobes, lift_mm: of(lobes.events_once(lift_mm))


OPENING, CLOSING = _event(lambda row: row.opening), _event(lambda row: row.closing)
DURATION, MIDDLE = _event(lambda row: row.duration), _event(lambda row: row.centre)


def area(lobes: LobeCharacteristics) -> Each:
    """Area under the lift."""
    return lobes.area_once[0]


def centre(shaft: MeasuredShaft) -> ByItem:
    """The lobe centre."""
    return shaft.ask(nose_centre, circle=True, why="the lift never falls 1.27 mm below its peak on both flanks")


def chord_centre(shaft: MeasuredShaft) -> ByItem:
    """Middle of the crossings at the first checking lift."""
    lift_mm = shaft.chord_lift_mm
    return shaft.ask(MIDDLE, lift_mm, circle=True, why=Phrase("no crossings at {lift} mm", lift=f"{lift_mm:g}"))


def _fit(question: Question, *, circle: bool = False) -> Of:
    """A characteristic of the fit."""
    return lambda shaft, _at: shaft.ask(question, circle=circle)


def _at_lift(question: Question, *, circle: bool = True) -> Of:
    """A characteristic of the fit at a lift."""

    def of(shaft: MeasuredShaft, at_mm: float | None) -> ByItem:
        if at_mm is None:
            return {}
        return shaft.ask(question, at_mm, circle=circle, why="a flank never passes that lift")

    return of


def _derivative(order: int, question: Question) -> Of:
    """A characteristic that rests on the second or third derivative of the fit."""

    def of(shaft: MeasuredShaft, _at: float | None) -> ByItem:
        why = shaft.each(lambda group, row: group.no_derivative(row, order))
        found = shaft.ask(question)
        return {lobe: replace(row, reason=row.reason or why[lobe]) for lobe, row in found.items()}

    return of


def _extreme(order: int, sign: float) -> Question:
    """Greatest or least velocity, acceleration or jerk."""
    return lambda lobes: lobes.extreme(order, sign)[0]


def _of_contour(figure: Extreme) -> Of:
    """A figure of the contour."""
    return lambda shaft, _at: shaft.once(contour_extreme, figure)


def crank_duration(shaft: MeasuredShaft, at_mm: float | None) -> ByItem:
    """Crank angle between the two."""
    return {lobe: found.times(2.0) for lobe, found in _at_lift(DURATION, circle=False)(shaft, at_mm).items()}


def _jerk_rms(lobes: LobeCharacteristics) -> Each:
    rms = lobes.jerk_rms()
    return Each(rms, np.full(rms.shape, nan))


def _noise(shaft: MeasuredShaft, _at: float | None) -> ByItem:
    return shaft.each(lambda group, row: Measured(1000.0 * float(group.fitted.reading_noise_mm[row])))


def _base_circles(shaft: MeasuredShaft) -> dict[str, tuple[Measured, Measured, Measured]]:
    """Runout, eccentricity and its angle."""

    def of(group: LobeGroup, row: int) -> tuple[Measured, Measured, Measured]:
        base = group.fitted.bases[row]
        if base is None:
            none = missing(Phrase("no base-circle arc was found"))
            return none, none, none
        u = group.characteristics.base_uncertainty(row)
        runout = Measured(base.runout_mm, u[0])
        if not base.with_eccentricity:
            hidden = missing(Phrase("the base circle tells no eccentricity: its arc is too short, or form hides it"))
            return runout, hidden, hidden
        return runout, Measured(base.eccentricity_mm, u[1]), Measured(base.eccentricity_angle_cam_deg, u[2])

    return shaft.each(of)


def _base_circle(which: int) -> Of:
    return lambda shaft, _at: {lobe: found[which] for lobe, found in shaft.once(_base_circles).items()}


def _envelope(shaft: MeasuredShaft, _at: float | None) -> ByItem:
    none = missing(Phrase("no envelope applies to this lobe"))
    return {lobe: shaft.envelopes[lobe].measured if lobe in shaft.envelopes else none for lobe in shaft.kinds}


def _index_error(shaft: MeasuredShaft, _at: float | None) -> ByItem:
    errors = shaft.once(index_errors)[0] or {}
    return {lobe: errors.get(lobe, missing(Phrase("no nominal place is known"))) for lobe in shaft.kinds}


LIFT, DURATIONS, EVENTS, VELOCITY = "Lift and centre", "Duration", "Opening and closing", "Velocity"
ACCELERATION, CONTOUR, ENVELOPE = "Acceleration and jerk", "Base circle and contour", "Envelope"
_FIT = "fitted septic spline"
_ROOT = "root of the fitted profile, nearest the nose"
_PRACTICE = "common practice"
_SUPPORT = "support function of the contour"
_HANDBOOKS = "cam-design handbooks"
_LIFT_ONLY: frozenset[FreeOf] = frozenset({"angle error", "angle unit"})
_ANGLE_ONLY: frozenset[FreeOf] = frozenset({"lift unit"})
_BASE: frozenset[FreeOf] = frozenset({"angle error"})

CHARACTERISTICS: tuple[LobeRow, ...] = (
    LobeRow("max_lift", "mm", "length", "lobe", "greatest lift above the base circle", f"greatest value of the {_FIT}",
        _PRACTICE, free_of=_LIFT_ONLY, of=_fit(LobeCharacteristics.max_lift), table=LIFT, u_column=True),
    LobeRow("max_lift_angle", "cam deg", "angle", "lobe", "where lift is greatest", f"root of the {_FIT}'s velocity",
        _PRACTICE, period=360.0, free_of=_ANGLE_ONLY, of=_fit(LobeCharacteristics.peak_angle, circle=True), table=LIFT),
    LobeRow("centre", "cam deg", "angle", "lobe", "lobe centre: middle of the chord 1.27 mm below the peak",
        "middle of two crossings", _PRACTICE, period=360.0, of=lambda shaft, _at: centre(shaft), table=LIFT,
        u_column=True),
    LobeRow("nose_centre", "cam deg", "angle", "lobe", "the lobe centre, as one of four", "middle of two crossings",
        _PRACTICE, period=360.0, listed=False, of=lambda shaft, _at: centre(shaft), block="centres",
        named="nose_cam_deg"),
    LobeRow("chord_centre", "cam deg", "angle", "lobe", "middle of the crossings at the first checking lift",
        "middle of two crossings", _PRACTICE, period=360.0, of=lambda shaft, _at: chord_centre(shaft), table=LIFT,
        block="centres", named="chord_cam_deg"),
    LobeRow("peak_centre", "cam deg", "angle", "lobe", "top of the fit, as a centre", f"root of the {_FIT}'s velocity",
        _PRACTICE, period=360.0, free_of=_ANGLE_ONLY, of=_fit(LobeCharacteristics.peak_angle, circle=True), table=LIFT,
        block="centres", named="peak_cam_deg"),
    LobeRow("area_centre", "cam deg", "angle", "lobe", "centroid of the area under the lift",
        "integral of angle × lift over area", "plain geometry", period=360.0, free_of=_ANGLE_ONLY,
        of=_fit(lambda lobes: lobes.area_once[1], circle=True), table=LIFT, block="centres", named="area_cam_deg"),
    LobeRow("opening", "cam deg", "angle", "lobe", "where the opening flank passes the checking lift", _ROOT, _PRACTICE,
        "lift", period=360.0, of=_at_lift(OPENING), table=EVENTS, block="durations"),
    LobeRow("closing", "cam deg", "angle", "lobe", "where the closing flank passes the checking lift", _ROOT, _PRACTICE,
        "lift", period=360.0, of=_at_lift(CLOSING), table=EVENTS, block="durations"),
    LobeRow("duration_cam", "cam deg", "angle", "lobe", "cam angle over which lift exceeds the checking lift",
        "closing − opening", _PRACTICE, "lift", listed=False, of=_at_lift(DURATION, circle=False), block="durations",
        named="duration_cam_deg"),
    LobeRow("duration", "crank deg", "angle", "lobe", "crank angle over which lift exceeds the checking lift",
        "2 × (closing − opening)", _PRACTICE, "lift", of=crank_duration, table=DURATIONS, u_column=True,
        block="durations"),
    LobeRow("middle", "cam deg", "angle", "lobe", "middle of opening and closing", "middle of two crossings", _PRACTICE,
        "lift", period=360.0, listed=False, of=_at_lift(MIDDLE), table=EVENTS, block="durations",
        named="centre_cam_deg"),
    LobeRow("area", "mm cam deg", "number", "lobe", "area under the lift between the feet",
        "integral of the fit between the ends of the base-circle arc", "plain geometry", of=_fit(area), table=LIFT,
        u_column=True),
    LobeRow("velocity_max", "mm/cam deg", "number", "lobe", "greatest opening velocity",
        f"greatest first derivative of the {_FIT}", "plain calculus", of=_fit(_extreme(1, 1.0)), table=VELOCITY,
        u_column=True),
    LobeRow("velocity_min", "mm/cam deg", "number", "lobe", "greatest closing velocity (negative)",
        f"least first derivative of the {_FIT}", "plain calculus", of=_fit(_extreme(1, -1.0)), table=VELOCITY,
        u_column=True),
    LobeRow("acceleration_max", "mm/cam deg2", "number", "lobe", "greatest acceleration",
        f"greatest second derivative of the {_FIT}", "plain calculus", of=_derivative(2, _extreme(2, 1.0)),
        table=ACCELERATION, u_column=True),
    LobeRow("acceleration_min", "mm/cam deg2", "number", "lobe", "greatest deceleration (negative)",
        f"least second derivative of the {_FIT}", "plain calculus", of=_derivative(2, _extreme(2, -1.0)),
        table=ACCELERATION, u_column=True),
    LobeRow("jerk_max_abs", "mm/cam deg3", "number", "lobe", "greatest size of the jerk",
        f"third derivative of the {_FIT}; at a law's jerk step it depends on the smoothing", "plain calculus",
        of=_derivative(3, LobeCharacteristics.jerk_max_abs), table=ACCELERATION),
    LobeRow("jerk_rms", "mm/cam deg3", "number", "lobe", "root mean square jerk between the feet",
        f"third derivative of the {_FIT}", "plain calculus", of=_derivative(3, _jerk_rms), table=ACCELERATION,
        states_u=False),
    LobeRow("runout_tir", "mm", "length", "lobe", "runout of the base circle, total indicator reading",
        "range over the arc of its harmonic and smoothed form", _PRACTICE, free_of=_BASE, of=_base_circle(0),
        label="runout TIR", table=CONTOUR, block="base_circle", u_column=True),
    LobeRow("eccentricity", "mm", "length", "lobe", "base circle's centre off the axis",
        "a + b cos θ + c sin θ fitted on the arc; √(b² + c²)", "plain geometry", free_of=_BASE, of=_base_circle(1),
        table=CONTOUR, block="base_circle"),
    LobeRow("eccentricity_angle", "cam deg", "angle", "lobe", "where the base circle's centre lies", "atan2(c, b)",
        "plain geometry", listed=False, of=_base_circle(2), table=CONTOUR, block="base_circle"),
    LobeRow("noise", "um", "length", "lobe", "standard deviation of the readings about the fit",
        "restricted likelihood of the smoothing spline", "Wahba 1985", free_of=_LIFT_ONLY, of=_noise, table=LIFT,
        states_u=False),
    LobeRow("min_convex_radius", "mm", "length", "lobe", "least convex radius of the contour", _SUPPORT, _HANDBOOKS,
        of=_of_contour(LEAST_CONVEX), table=CONTOUR, block="curvature"),
    LobeRow("min_concave_radius", "mm", "length", "lobe", "tightest hollow of the contour, as a positive size",
        _SUPPORT, _HANDBOOKS, of=_of_contour(TIGHTEST_HOLLOW), table=CONTOUR, block="curvature"),
    LobeRow("min_face_radius", "mm", "length", "lobe", "reach of the contact from the middle of a flat face",
        "greatest |p′| of the support function", _HANDBOOKS, of=_of_contour(FACE_REACH), table=CONTOUR,
        block="curvature"),
    LobeRow("max_pressure_angle", "deg", "angle", "lobe", "greatest angle between normal and follower travel",
        "atan2(ρ′, ρ); 0 under a flat face", _HANDBOOKS, of=_of_contour(PRESSURE_ANGLE), table=CONTOUR,
        block="curvature"),
    LobeRow("envelope", "mm", "length", "lobe", "worst deviation from the nominal, by its share of the band",
        "named freedoms fitted out by least squares", "ISO 1101, profile of a line", of=_envelope,
        label="worst deviation", table=ENVELOPE, block="envelope", named="worst_deviation_mm"),
    LobeRow("index_error", "cam deg", "angle", "lobe", "lobe centre against its nominal place on the shaft",
        "one least-squares phase for the whole shaft", _PRACTICE, of=_index_error, block=None),
    LobeRow("lobe_separation", "cam deg", "angle", "camshaft", "intake to exhaust centre of one cylinder",
        "θ intake − θ exhaust, folded to 0…180", _PRACTICE,
        of=lambda shaft, _at: {
            Phrase("cylinder {number}", number=cylinder): found for cylinder, found in separations(shaft).items()
        },
        block=None),
    LobeRow("lobe_separation_mean", "cam deg", "angle", "camshaft", "mean lobe separation of the shaft",
        "mean over cylinders", _PRACTICE, block=None,
        of=lambda shaft, _at: {Phrase("camshaft"): mean_separation(shaft)}),
    LobeRow("max_lift_spread", "mm", "length", "camshaft", "range of lift over the lobes of one kind",
        "greatest less least", _PRACTICE, free_of=_LIFT_ONLY, block=None,
        of=lambda shaft, _at: spread(shaft, shaft.ask(LobeCharacteristics.max_lift))),
    LobeRow("duration_spread", "crank deg", "angle", "camshaft",
        "range of duration at 1.27 mm over the lobes of one kind", "greatest less least", _PRACTICE,
        of=lambda shaft, _at: spread(shaft, crank_duration(shaft, COMPARISON_LIFT_MM)), block=None),
)  # fmt: skip


def recorded() -> tuple[LobeRow, ...]:
    """The rows that a lobe's record holds."""
    return tuple(row for row in CHARACTERISTICS if row.block is not None)


def record_models() -> tuple[type[LobeResult], type[LobesResult]]:
    """The records of a lobe and of the whole answer."""
    return with_numbers(tuple((row.block or "", row.key) for row in recorded()))


def result_model() -> type[LobesResult]:
    """The record of the whole answer."""
    return record_models()[1]


def _as_uncertainties_stand(row: LobeRow) -> int:
    """Uncertainties stand thus: sizes of the fit, its places, then those of each block."""
    if row.block in {"", "centres"}:
        return int(row.period is not None)
    return 2 + ("base_circle", "curvature", "envelope").index(row.block or "")


def lobe_numbers(shaft: MeasuredShaft) -> dict[str, dict[str, dict[str, float | None]]]:
    """Each lobe's numbers by block and key, and beside the blocks their `uncertainty` by key."""
    found: dict[str, dict[str, dict[str, float | None]]] = {lobe: {"": {}, "uncertainty": {}} for lobe in shaft.kinds}
    for row in sorted((row for row in recorded() if row.needs_at is None), key=_as_uncertainties_stand):
        key = row.key
        for lobe, one in row.of(shaft, None).items():
            block = found[lobe].setdefault(row.block or "", {})
            block[key] = one.value
            # the record leaves out the uncertainty of what the contour has not, and all where no base circle was found
            left_out = row.block in {"curvature", "envelope"} or block.get("runout_tir_mm", 0.0) is None
            if row.states_u and not (one.value is None and left_out):
                found[lobe]["uncertainty"][key] = one.u
    return found


def numbers_at(shaft: MeasuredShaft, lift_mm: float) -> dict[str, dict[str, object]]:
    """Each lobe's record at one lift; a lift that a flank never passes gives None throughout."""
    found = {row.key: row.of(shaft, lift_mm) for row in recorded() if row.needs_at == "lift"}
    return {
        lobe: {
            "at_mm": lift_mm,
            **{key: each[lobe].value for key, each in found.items()},
            "uncertainty": {key: each[lobe].u for key, each in found.items()},
        }
        for lobe in shaft.kinds
    }


def measured(shaft: MeasuredShaft, row: LobeRow, at_mm: float | None = None) -> ByItem:
    """A characteristic of every item that has it, with what its reading is doubted for and its uncertainty lacks."""
    doubt = doubt_about(row.free_of, shaft.table.doubts)
    bare = frozenset() if "angle error" in row.free_of else shaft.without_angle

    def marked(item: str, found: Measured) -> Measured:
        lacks = bool(bare) if row.subject == "camshaft" else item in bare
        return replace(found, doubt=doubt or found.doubt, lacks=LACKS_ANGLE if lacks else "")

    return {item: marked(item, found) for item, found in row.of(shaft, at_mm).items()}


def items(shaft: MeasuredShaft, subject: Subject) -> list[Item]:
    """The lobes, or the shaft with its cylinders and kinds of lobe, as what limits apply to."""
    rows = {row.name: row for row in CHARACTERISTICS if row.subject == subject}
    kinds: Mapping[str, str | None] = shaft.kinds
    if subject != "lobe":
        kinds = dict.fromkeys(item for row in rows.values() for item in row.of(shaft, None))

    def look_up(item: str, name: str, at_mm: float | None) -> Measured | None:
        row = rows.get(name)
        return None if row is None else shaft.once(measured, row, at_mm).get(item)

    return [Item(item, kind, partial(look_up, item)) for item, kind in kinds.items()]
