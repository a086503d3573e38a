"""The degree wheel, drawn: every reading where it stands, the spans the valves are open, the next one to look for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from PySide6.QtCore import QPointF, Qt
from PySide6.QtGui import QPainter, QPen

from valvelab.figures.description import Dial
from valvelab.window.dial import DialView
from valvelab.window.painting import arc, polar, turning
from valvelab.window.plot_menu import Shown
from valvelab.window.theme import current_theme
from valvelab.workbench.phasing_bay import Worksheet
from valvelab.workbench.worksheet import value_of

_ARC, _NARROW_ARC, _ARC_BREADTH = 0.58, 0.44, 0.055
"""Radius of the outermost arc of an open valve, on a small wheel too, and how broad it is, of the rim."""
_TICKS = 0.10


@dataclass(frozen=True, slots=True)
class Arc:
    """A span on the wheel, from one reading to the other as the engine turns; `colour` is a theme's name."""

    start_deg: float
    span_deg: float
    colour: str


def open_arcs(shown: Worksheet) -> tuple[Arc, ...]:
    """Where each lobe's valve is open, at the lowest lift with both events; signed spans, positive clockwise."""
    sheet = shown.inspection.sheet
    sign = -1.0 if sheet.sense == "reverse" else 1.0
    arcs = []
    for lobe in shown.inspection.degreeing.lobes:
        rows = [
            e for e in sheet.events if e.lobe == lobe.lobe and e.opening_deg is not None and e.closing_deg is not None
        ]
        if not rows or lobe.kind is None:
            continue
        row = min(rows, key=lambda event: event.lift_mm)
        assert row.opening_deg is not None
        assert row.closing_deg is not None
        span = (sign * (row.closing_deg - row.opening_deg)) % 360.0
        arcs.append(Arc(row.opening_deg, sign * span, lobe.kind))
    return tuple(arcs)


class DegreeWheel(DialView):
    """A dial whose rim is a degree wheel; readings are pointers at the rim, dead centre a hand from the hub."""

    inner_share, outer_share, breadth, words_ems = 0.91, 1.06, 2.6, 4.4

    def __init__(self, name: str) -> None:
        super().__init__(name)
        self._arcs: tuple[Arc, ...] = ()
        self._sense = 1.0
        self._doubtful: tuple[float, ...] = ()

    def show_wheel(self, dial: Dial, shown: Worksheet) -> None:
        """Draw a wheel with its readings."""
        step, sheet = shown.inspection.next_reading, shown.inspection.sheet
        self._arcs = open_arcs(shown)
        running = -1.0 if sheet.sense == "reverse" else 1.0
        self._sense = running * {"forward": 1.0, "backward": -1.0, None: 0.0}[step.turn]
        self._doubtful = tuple(_readings(shown))
        self.show_dial(dial)

    def on_paper(self) -> Shown | None:
        """Nothing: its readings are the window's alone."""
        return None

    def _draw_rim(self, painter: QPainter, dial: Dial, centre: QPointF, radius: float) -> None:
        theme = current_theme()
        quiet, line = theme.colour("quiet"), theme.colour("line")
        for angle in range(0, 360, 1 if radius > 150 else 2 if radius > 85 else 5):
            length = _TICKS if angle % 30 == 0 else 0.07 if angle % 10 == 0 else 0.05 if angle % 5 == 0 else 0.03
            painter.setPen(QPen(quiet if angle % 10 == 0 else line, 1.2 if angle % 10 == 0 else 0.8))
            self._tick(painter, centre, radius, angle, length)
        hands = [angle for angle, role in zip(dial.angles_deg, dial.roles, strict=True) if role == "measured"]
        roomy = 0.80 * radius > 3.6 * self.fontMetrics().height()
        wide, narrow = ((of + 0.5 * _ARC_BREADTH, _TICKS) for of in (_ARC, _NARROW_ARC))
        fits = self._figures_fit(radius, wide)
        self._number(painter, centre, radius, wide if fits else narrow, 30 if roomy else 90, hands)
        for number, span in enumerate(self._arcs):
            painter.setPen(
                QPen(
                    theme.colour(span.colour, 0.55),
                    _ARC_BREADTH * radius,
                    Qt.PenStyle.SolidLine,
                    Qt.PenCapStyle.FlatCap,
                )
            )
            arc(
                painter,
                centre,
                ((_ARC if fits else _NARROW_ARC) - 0.085 * number) * radius,
                span.start_deg,
                span.span_deg,
            )
        for doubtful in self._doubtful:
            painter.setPen(QPen(theme.colour("undecided"), 2.0))
            painter.setBrush(theme.colour("undecided", 0.25))
            painter.drawEllipse(polar(centre, 0.95 * radius, doubtful), 0.055 * radius, 0.055 * radius)

    def _draw_hub(self, painter: QPainter, centre: QPointF, radius: float) -> None:
        super()._draw_hub(painter, centre, radius)
        if self._sense != 0.0:
            colour = current_theme().colour("accent")
            turning(
                painter,
                centre,
                0.27 * radius,
                self._sense,
                colour,
                width=max(2.0, 0.03 * radius),
                start_deg=120.0,
                head_deg=105.0,
                size=0.10 * radius,
            )


def _readings(shown: Worksheet) -> Sequence[float]:
    sheet = shown.inspection.sheet
    values = [value_of(sheet, cell) for cell in shown.doubts if cell.part in {"stop", "pair", "event"}]
    return [value for value in values if isinstance(value, float)]
