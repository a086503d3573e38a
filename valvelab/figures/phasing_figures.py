"""What the phasing plots show: the wheel with its readings, and the valve-event diagram."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from valvelab.decimals import decimals_among
from valvelab.figures.description import Axis, Curve, Dial, Figure, Marks, Role
from valvelab.inspection.engine.phasing import PhasingInspection
from valvelab.phasing.timing import events_from_card, lobe_kind
from valvelab.phrase import Phrase, listed
from valvelab.records.phasing_result import PhasingDuration, PhasingLobe
from valvelab.units import System, display_unit, show

_INTAKE_RADIUS, _EXHAUST_RADIUS = 1.0, 0.8
_CARD_STEP = 0.07
_BREADTH = 0.06
_SPOKE = 1.08
_ROOM = 1.45
_AT_LIFT = ("opening_crank_deg", "closing_crank_deg", "duration_crank_deg")
_CENTRE = "centreline_crank_deg"


def wheel_dial(inspection: PhasingInspection, system: System = "metric") -> Dial:
    """All wheel readings where they stand on the wheel, with true dead centre; clockwise as read.

    system: units of the lifts that events are named by.
    """
    sheet, result = inspection.sheet, inspection.result
    scale = display_unit("mm", system).scale
    sign = -1.0 if sheet.sense == "reverse" else 1.0
    rows: list[tuple[float, str, Role]] = [(reading, Phrase("stop"), "readings") for reading in sheet.stop_deg]
    read = [
        (pair.lobe, word, angle)
        for pair in sheet.pairs
        for word, angle in ((Phrase("rising"), pair.rising_deg), (Phrase("falling"), pair.falling_deg))
    ]
    read += [
        (event.lobe, listed((word, f"{event.lift_mm * scale:.4g}"), " "), angle)
        for event in sheet.events
        for word, angle in ((Phrase("opens"), event.opening_deg), (Phrase("closes"), event.closing_deg))
    ]
    rows += [(angle, listed((lobe, word), " "), _role(lobe)) for lobe, word, angle in read if angle is not None]
    if result.tdc_offset_deg is not None:
        rows.append((result.tdc_offset_deg, Phrase("TDC"), "measured"))
        rows += [
            (
                result.tdc_offset_deg + sign * lobe.centreline_crank_deg,
                Phrase("{lobe} centre", lobe=lobe.lobe),
                _role(lobe.lobe),
            )
            for lobe in result.lobes
            if lobe.centreline_crank_deg is not None
        ]
    step = inspection.next_reading
    if step.expected_wheel_deg is not None:
        rows.append((step.expected_wheel_deg, Phrase("next, about here"), "guide"))
    return Dial(
        "wheel",
        Phrase(
            "Degree wheel: readings grow as the engine turns"
            if sign > 0
            else "Degree wheel: readings fall as the engine turns"
        ),
        np.array([angle % 360.0 for angle, _, _ in rows], dtype=np.float64),
        tuple(label for _, label, _ in rows),
        tuple(role for _, _, role in rows),
    )


def _role(lobe: str) -> Role:
    return lobe_kind(lobe) or "measured"


def event_diagram(inspection: PhasingInspection) -> Figure:
    """Valve-event diagram: arcs over the crank circle, dead centre on top, clockwise; the card's arcs beside them.

    The events are those of the lowest lift that was read.
    """
    circle = np.radians(np.linspace(0.0, 360.0, 181))
    curves: list[Curve] = [Curve(np.sin(circle), np.cos(circle), "guide")]
    curves += [_ray(angle, 0.0, _SPOKE, "guide") for angle in (0.0, 90.0, 180.0, 270.0)]
    marks: list[Marks] = [
        Marks(np.array([0.0, 0.0]), np.array([1.36, -1.36]), "nominal", "", ("TDC", "BDC"), bare=True, off=_SPOKE)
    ]
    lobes = inspection.result.lobes
    rows = [row for lobe in lobes for row in lobe.durations]
    counts = {key: decimals_among(rows, key, "crank deg") for key in _AT_LIFT}
    counts[_CENTRE] = decimals_among(lobes, _CENTRE, "crank deg")
    for lobe in lobes:
        row = next(iter(lobe.durations), None)
        if row is None or lobe.kind is None or row.opening_crank_deg is None or row.closing_crank_deg is None:
            continue
        radius = _INTAKE_RADIUS if lobe.kind == "intake" else _EXHAUST_RADIUS
        opening, closing = row.opening_crank_deg, row.closing_crank_deg
        span = show(row.duration_crank_deg, "crank deg", decimals=counts["duration_crank_deg"])
        curves.append(_thick_arc(opening, closing, radius, lobe.kind, listed((lobe.lobe, span), " ")))
        if row.card_duration_crank_deg is not None and lobe.card_centreline_crank_deg is not None:
            size = abs(lobe.card_centreline_crank_deg)
            card = events_from_card(lobe.kind, row.card_duration_crank_deg, size)
            curves.append(
                _arc(*card, radius - _CARD_STEP, "nominal", "" if any(c.role == "nominal" for c in curves) else "card")
            )
        if lobe.centreline_crank_deg is not None:
            curves.append(_ray(lobe.centreline_crank_deg, 0.0, radius, lobe.kind))
        marks += _ends(lobe, row, radius, counts)
    across, up = Axis("", "", (-1.3 * _ROOM, 1.3 * _ROOM)), Axis("", "", (-_ROOM, _ROOM))
    return Figure(
        "events", "Valve events", across, up, tuple(curves), marks=tuple(marks), equal_scale=True, axes="none"
    )


def _arc(start_deg: float, stop_deg: float, radius: float, role: Role, label: str) -> Curve:
    angle = np.radians(np.linspace(start_deg, stop_deg, 181))
    return Curve(radius * np.sin(angle), radius * np.cos(angle), role, label)


def _thick_arc(start_deg: float, stop_deg: float, radius: float, role: Role, label: str) -> Curve:
    """An arc as a ribbon: one line to and fro over its breadth."""
    angle = np.radians(np.linspace(start_deg, stop_deg, 121))
    radii = np.linspace(radius - 0.5 * _BREADTH, radius + 0.5 * _BREADTH, 25)
    turns = np.concatenate([angle if n % 2 == 0 else angle[::-1] for n in range(radii.size)])
    out = np.repeat(radii, angle.size)
    return Curve(out * np.sin(turns), out * np.cos(turns), role, label)


def _ray(angle_deg: float, start: float, stop: float, role: Role) -> Curve:
    turn, radii = np.radians(angle_deg), np.array([start, stop])
    return Curve(radii * np.sin(turn), radii * np.cos(turn), role)


def _ends(lobe: PhasingLobe, row: PhasingDuration, radius: float, counts: Mapping[str, int]) -> list[Marks]:
    """Events and centreline in words, outside the intake's arc and inside the exhaust's."""
    assert row.opening_crank_deg is not None
    assert row.closing_crank_deg is not None
    assert lobe.kind is not None
    outside = lobe.kind == "intake"
    angles = [row.opening_crank_deg, row.closing_crank_deg]
    texts = [
        ""
        if event is None
        else listed((show(event.angle, "crank deg", decimals=counts[key]), Phrase(event.reference)), " ")
        for event, key in zip((row.opening_event, row.closing_event), _AT_LIFT[:2], strict=True)
    ]
    if lobe.centreline_crank_deg is not None:
        angles.append(lobe.centreline_crank_deg)
        side = Phrase("ATDC" if lobe.centreline_crank_deg >= 0 else "BTDC")
        texts.append(listed((show(abs(lobe.centreline_crank_deg), "crank deg", decimals=counts[_CENTRE]), side), " "))
    turns = np.radians(np.array(angles))
    # words are wide and low: farther out at the sides than above and below
    gap = 0.14 + 0.32 * np.abs(np.sin(turns))
    away = radius + gap if outside else radius - gap
    dots = Marks(radius * np.sin(turns[:2]), radius * np.cos(turns[:2]), lobe.kind)
    off = radius + _BREADTH if outside else radius - _CARD_STEP
    words = Marks(away * np.sin(turns), away * np.cos(turns), lobe.kind, "", tuple(texts), bare=True, off=off)
    return [dots, words]
