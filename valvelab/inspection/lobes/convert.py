"""The same lobes described under another follower."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import replace

import numpy as np

from valvelab.angles import fold_scalar
from valvelab.arrays import FloatArray
from valvelab.errors import CannotEvaluate, Reason
from valvelab.follower.contour import Contour, contour
from valvelab.follower.conversion import Followed, follow
from valvelab.follower.propagation import ContactMap, FollowedPropagation
from valvelab.follower.shapes import Shape
from valvelab.frozen import frozen
from valvelab.inspection.lobes.contour import missing_for_contour
from valvelab.lobe.dense_smoothing import fit_general
from valvelab.lobe.events import extreme, unroll
from valvelab.lobe.profile import FittedLobes
from valvelab.lobe.smoothing import Smoothed, fit_uniform
from valvelab.phrase import Phrase
from valvelab.records.measurement import LiftTable
from valvelab.records.result import Note, info, warning

SEEN_BRIDGE_MM, DEEPEST_BRIDGE_MM = 1e-3, 1e-2
"""A follower that stands off the contour by less than the first touches it, for fits ring that much where arcs join;
by less than the second it is described, riding on both sides, with a warning."""
_SAME_MM = 1e-3


@frozen
class Converted:
    """Lobes under another follower, what carries the readings' noise to them, those it can't follow and why."""

    fitted: FittedLobes
    propagation: FollowedPropagation
    withheld: dict[str, str]


def convert(fitted: FittedLobes, table: LiftTable, shape: Shape, notes: list[Note]) -> Converted:
    """Lobes as `shape` would follow them, on the same knots.

    For every knot angle the place on the contour that the new follower meets there is found on the fitted profile, so
    nothing is interpolated; that the greatest lift and the base circle stay is checked. A contour that the follower
    can't touch is a finding, said in a note; such a lobe keeps its own lift here and has to be withheld. Raises
    CannotEvaluate where no contour can be derived.
    """
    reason = missing_for_contour(table)
    if reason is not None:
        raise CannotEvaluate(Reason.MISSING_INPUT, Phrase("convert: {reason}", reason=reason))
    source, base = table.follower, table.base_circle_radius_mm
    assert source is not None
    assert base is not None
    splines = fitted.splines
    count = fitted.at_knots[0].shape[1]
    knots = splines.knots()[:count]
    lifts = np.array(fitted.at_knots[0])
    maps, withheld = [ContactMap.same(count)] * len(fitted.names), dict[str, str]()
    for row, name in enumerate(fitted.names):

        def contour_at(angle: FloatArray, row: int = row) -> Contour:
            lift, velocity, acceleration = (splines.evaluate(row, angle, order) for order in range(3))
            return contour(angle, lift, velocity, acceleration, base, source)

        try:
            found = follow(contour_at, splines.start, splines.step, count, shape, periodic=splines.periodic)
            notes += _bridge_notes(name, found, shape, float(fitted.noise_mm[row]))
            notes += _end_notes(name, found, shape, knots)
        except CannotEvaluate as error:
            withheld[name] = Phrase("not described under a {follower}: {error}", follower=words_of(shape), error=error)
            notes.append(warning(name, withheld[name]))
            continue
        lifts[row] = found.lift_mm
        maps[row] = ContactMap.of(found, contour_at(found.source_cam_deg), knots, shape)
    if splines.periodic:
        smoothed = fit_uniform(lifts, splines.start)
    else:
        smoothed = fit_general(knots, lifts, np.ones(lifts.shape, dtype=np.bool_), periodic=False)
    told = Phrase(
        "lift, events and pressure angle are those of the same contour under a {words_of}", words_of=words_of(shape)
    )
    notes.append(info("convert", Phrase("{told}; curvature and face reach stay the contour's", told=told)))
    stretch = max(1.0, *(float(row.stretch.max()) for row in maps))
    converted = replace(fitted, splines=smoothed.splines, smoothed=_with_noise_of(fitted.smoothed, smoothed, stretch))
    notes += _invariant_notes(fitted, converted, withheld)
    return Converted(converted, FollowedPropagation(fitted, tuple(maps)), withheld)


def _invariant_notes(fitted: FittedLobes, converted: FittedLobes, withheld: Collection[str]) -> Iterator[Note]:
    """Warnings where the greatest lift or the base circle moved, which no follower changes."""
    tops = [extreme(unroll(part), 0, 1.0)[1] for part in (fitted, converted)]
    for row, name in enumerate(fitted.names):
        if name in withheld:
            continue
        allowed = max(_SAME_MM, float(fitted.noise_mm[row]))
        off, base = float(tops[1][row] - tops[0][row]), fitted.bases[row]
        if abs(off) > allowed:
            text = Phrase(
                "its greatest lift comes out {off} mm off the contour's own: read it at closer angles",
                off=f"{off:+.3f}",
            )
            yield warning(Phrase("{name} convert", name=name), text)
        if base is None:
            continue
        arc = np.mod(np.arange(base.first, base.last + 1), fitted.at_knots[0].shape[1])
        moved = float(np.abs(converted.at_knots[0][row, arc] - fitted.at_knots[0][row, arc]).max())
        if moved > allowed:
            yield warning(
                Phrase("{name} convert", name=name),
                Phrase("its base circle comes out up to {moved} mm off the contour's own", moved=f"{moved:.3f}"),
            )


def _with_noise_of(source: Smoothed, converted: Smoothed, stretch: float) -> Smoothed:
    """The new splines with what the readings' fit says of its noise.

    `stretch`: how many times as fine the detail of the readings can stand along the new description.
    """
    if source.splines.padded.shape != converted.splines.padded.shape:
        return converted
    return replace(source, splines=converted.splines, half_harmonic=source.half_harmonic * stretch)


def words_of(shape: Shape) -> str:
    """A follower in words."""
    return (
        Phrase("roller of {radius} mm", radius=f"{shape.radius_mm:g}")
        if shape.kind == "roller"
        else Phrase("flat follower" if shape.kind == "flat" else "point follower")
    )


def _end_notes(name: str, found: Followed, shape: Shape, knots: FloatArray) -> list[Note]:
    """Where an event-only table ends with the lobe still lifting, the other follower's range is another."""
    lost = ~found.covered
    if not lost.any():
        return []
    held = np.abs(found.lift_mm[lost]).max()
    if held <= _SAME_MM:
        return []
    known = knots[found.covered]
    text = Phrase(
        "the table ends with up to {held} mm of lift: under a {follower} it tells {first} to {last} cam deg only; "
        "beyond, the lift is held",
        held=f"{held:.3f}",
        follower=words_of(shape),
        first=f"{fold_scalar(known[0]):.1f}",
        last=f"{fold_scalar(known[-1]):.1f}",
    )
    return [warning(Phrase("{name} convert", name=name), text)]


def _bridge_notes(name: str, found: Followed, shape: Shape, noise_mm: float) -> list[Note]:
    """What to say of a stretch that the follower can't touch; raises CannotEvaluate where it stands off too far."""
    bridge = found.bridge
    if bridge is None or bridge.depth_mm <= max(SEEN_BRIDGE_MM, noise_mm):
        return []
    at, off = f"{fold_scalar(bridge.angle_cam_deg):.1f}", f"{bridge.depth_mm:.3f}"
    if shape.kind == "flat":
        cannot = Phrase(
            "a flat face cannot follow the hollow flank at {at} cam deg, where it would stand off {off} mm",
            at=at,
            off=off,
        )
    else:
        cannot = Phrase(
            "a {size} cannot enter the hollow of {radius} mm at {at} cam deg, where it would stand off {off} mm",
            size=Phrase("point") if shape.kind == "point" else words_of(shape),
            radius=f"{abs(bridge.radius_mm):.3f}",
            at=at,
            off=off,
        )
    if bridge.depth_mm > max(DEEPEST_BRIDGE_MM, 3.0 * noise_mm):
        raise CannotEvaluate(Reason.IMPOSSIBLE_CONTOUR, cannot)
    return [warning(name, Phrase("{cannot}; described as riding on both sides of it", cannot=cannot))]
