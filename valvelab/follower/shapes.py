"""Follower shapes, as plane figures: a flat face, a roller of some radius, a point. Source: plain geometry."""

from __future__ import annotations

from typing import Literal

from valvelab.errors import BadQuantity
from valvelab.frozen import frozen
from valvelab.units import parse_quantity

ShapeKind = Literal["flat", "roller", "point"]


@frozen
class Shape:
    """A follower: `radius_mm` for a roller, 0 for a point, None for a flat face."""

    kind: ShapeKind
    radius_mm: float | None = None


def parse_shape(text: str, field: str = "follower") -> Shape:
    """`flat`, `point`, or `roller 9.525 mm` (the radius); anything else is refused."""
    words = text.strip().split(maxsplit=1)
    kind = words[0].lower() if words else ""
    if kind == "flat" and len(words) == 1:
        return Shape("flat")
    if kind == "point" and len(words) == 1:
        return Shape("point", 0.0)
    if kind == "roller" and len(words) == 2:
        radius = parse_quantity(words[1], "length", field)
        if radius > 0.0:
            return Shape("roller", radius)
    raise BadQuantity(field, repr(text), "flat, point, or roller with its radius (roller 9.525 mm)")
