"""Geometry of arrows on a circle; angles clockwise from the top."""

from __future__ import annotations

import math

from PySide6.QtCore import QPointF
from PySide6.QtGui import QPolygonF


def polar(centre: QPointF, radius: float, angle_deg: float) -> QPointF:
    """A point on a circle."""
    turn = math.radians(angle_deg)
    return QPointF(centre.x() + radius * math.sin(turn), centre.y() - radius * math.cos(turn))


def arrow_head(centre: QPointF, radius: float, angle_deg: float, sense: float, size: float) -> QPolygonF:
    """An arrow's head on a circle with its point ahead of `angle_deg` in the sense (+1 clockwise)."""
    ahead = math.degrees(size / radius) * sense
    return QPolygonF([
        polar(centre, radius, angle_deg + ahead),
        polar(centre, radius + 0.62 * size, angle_deg - 0.25 * ahead),
        polar(centre, radius - 0.62 * size, angle_deg - 0.25 * ahead),
    ])  # fmt: skip
