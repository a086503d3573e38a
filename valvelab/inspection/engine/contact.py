"""Contact of lobe and follower for the inspection: where pressure peaks and film thins, at a few speeds."""

from __future__ import annotations

import math

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.dynamics.control import cam_speed_rad_per_s, contact_force
from valvelab.errors import CannotEvaluate
from valvelab.follower.contact import (
    ContactAlong,
    ContactSetting,
    LobeGeometry,
    contact_along,
    lobe_geometry,
    reversals,
)
from valvelab.follower.film import film_ratio
from valvelab.frozen import frozen
from valvelab.inspection.engine.sides import Side
from valvelab.inspection.engine.train import MotionQuestion
from valvelab.phrase import Phrase
from valvelab.records.motion_result import ContactExtreme
from valvelab.records.result import Note, info, warning
from valvelab.valve_motion.valve_lift import LobeProfile

SHARES_OF_MAX_SPEED = (0.25, 0.5, 0.75, 1.0)


@frozen
class ContactCurve:
    """Contact over crank angle at one crank speed.

    `by_guide`: the same from the profile without its finest detail. Where curvature jumps a fit swings over, and its
    greatest pressure is that of the swing; extremes are therefore found on this one and read from `along` there.
    """

    crank_rpm: float
    crank_deg: FloatArray
    along: ContactAlong
    by_guide: ContactAlong


def contact_extremes(question: MotionQuestion, side: Side) -> tuple[tuple[ContactExtreme, ...], list[Note]]:
    """Extremes of pressure and film turning by hand and at shares of the greatest speed; nothing without [contact]."""
    if question.train.contact is None:
        return (), []
    try:
        curves, notes = contact_curves(question, side)
    except CannotEvaluate as error:
        return (), [warning(side.lobe.name, str(error))]
    return tuple(_extreme(question, side, curve) for curve in curves), notes


def contact_curves(question: MotionQuestion, side: Side) -> tuple[list[ContactCurve], list[Note]]:
    """Contact along the lobe; empty with a note where something needed is not stated."""
    train, name = question.train, side.lobe.name
    contact = train.contact
    if contact is None:
        return [], []
    if not side.opens:
        return [], []
    if question.lift_at == "valve":
        return [], [info(name, Phrase("contact needs the lift at the follower: left open"))]
    base = contact.base_circle_radius_mm or question.base_radius_mm
    own = contact.follower
    flat = question.flat_follower if own is None else own.kind == "flat"
    roller = question.roller_radius_mm if own is None else own.radius_mm
    if base is None or (roller is None and not flat):
        return [], [
            info(name, Phrase("contact needs the base circle radius and the follower, flat or roller: left open"))
        ]
    if train.spring.seat_force_n is None or train.spring.rate_n_per_mm is None:
        return [], [info(name, Phrase("contact needs [spring] seat_force and rate: left open"))]
    setting = ContactSetting(base, None if flat else roller, contact.length_mm, contact.combined_modulus_mpa)
    geometry, by_guide = (_geometry(side, profile, setting) for profile in (side.lobe.profile, side.lobe.guide))
    speeds = [0.0]
    if train.valve.effective_mass_kg is not None and train.crank.max_speed_rpm is not None:
        speeds += [share * train.crank.max_speed_rpm for share in SHARES_OF_MAX_SPEED]
    cycle, curves = side.cycle, []
    for rpm in speeds:
        at_valve = contact_force(
            cycle.lift_mm,
            cycle.acceleration_mm_per_crank_deg2,
            train.valve.effective_mass_kg or 0.0,
            train.spring.seat_force_n,
            train.spring.rate_n_per_mm,
            rpm,
        )
        force = np.where(cycle.lift_mm > 0.0, at_valve * cycle.ratio, 0.0)
        oil = contact.oil if rpm > 0.0 else None
        along, guided = (
            contact_along(shape, force, cam_speed_rad_per_s(rpm), setting, oil) for shape in (geometry, by_guide)
        )
        curves.append(ContactCurve(rpm, cycle.crank_deg, along, guided))
    notes = []
    last = curves[-1].along
    bad = np.flatnonzero((last.load_n > 0.0) & ~np.isfinite(by_guide.relative_radius_mm))
    if bad.size:
        text = Phrase(
            "at {angle} cam deg the contour is hollow, or too hollow for this follower: no line contact there; check "
            "the base circle radius and the follower",
            angle=f"{cycle.cam_deg[bad[0]]:.0f}",
        )
        notes.append(warning(name, text))
    if contact.oil is not None and reversals(last.entrainment_m_per_s, last.load_n > 0.0):
        text = Phrase(
            "the surfaces' mean speed passes through zero on the flanks, where a steady film has no thickness and "
            "squeezing keeps what film there is: the film at the nose stands"
        )
        notes.append(info(name, text))
    return curves, notes


def _geometry(side: Side, profile: LobeProfile | None, setting: ContactSetting) -> LobeGeometry:
    """Where lobe and follower touch, by the slopes of one profile of the lobe (its own if None)."""
    slope, bend = _lobe_slopes(side, profile or side.lobe.profile)
    return lobe_geometry(side.cycle.follower_lift_mm, slope, bend, setting)


def _lobe_slopes(side: Side, profile: LobeProfile) -> tuple[FloatArray, FloatArray]:
    """First and second derivative of follower lift by cam angle in radians."""
    cam = side.cycle.cam_deg
    if profile.period is None:
        cam = profile.start_cam_deg + np.mod(cam - profile.start_cam_deg, 360.0)
    per_rad = 180.0 / math.pi
    return np.asarray(profile.value(cam, 1)) * per_rad, np.asarray(profile.value(cam, 2)) * per_rad**2


def _extreme(question: MotionQuestion, side: Side, curve: ContactCurve) -> ContactExtreme:
    contact = question.train.contact
    assert contact is not None
    along = curve.along
    pressure, film = along.pressure_mpa, along.film_um
    guided = curve.by_guide
    nose = int(np.argmax(side.cycle.drive_mm))
    worst = int(np.nanargmax(guided.pressure_mpa)) if np.isfinite(guided.pressure_mpa).any() else None
    turns = reversals(along.entrainment_m_per_s, along.load_n > 0.0)
    thin = None
    if guided.film_um is not None and not turns and np.isfinite(guided.film_um).any():
        thin = int(np.nanargmin(guided.film_um))
    ratio = None
    if film is not None and contact.lobe_rq_um is not None and contact.follower_rq_um is not None:
        at_nose = float(film_ratio(film[nose], contact.lobe_rq_um, contact.follower_rq_um))
        ratio = at_nose if math.isfinite(at_nose) else None

    def angle(index: int | None) -> float | None:
        return None if index is None or not side.tdc_known else float(curve.crank_deg[index])

    def finite(values: FloatArray | None, index: int | None) -> float | None:
        return None if values is None or index is None or not np.isfinite(values[index]) else float(values[index])

    return ContactExtreme(
        crank_rpm=curve.crank_rpm,
        max_pressure_mpa=finite(pressure, worst),
        max_pressure_at_crank_deg=angle(worst),
        nose_pressure_mpa=finite(pressure, nose),
        min_film_um=finite(film, thin),
        min_film_at_crank_deg=angle(thin),
        nose_film_um=finite(film, nose),
        nose_film_ratio=ratio,
        entrainment_reversals_crank_deg=tuple(float(curve.crank_deg[i]) for i in turns) if side.tdc_known else (),
    )
