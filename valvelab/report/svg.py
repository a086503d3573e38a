"""A drawing surface that takes what plots draw on paper and gives SVG: text stays text, lines stay lines."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from html import escape

from reportlab.lib.colors import Color

from valvelab.report.paper import BOLD

FACE = "'Noto Sans', 'DejaVu Sans', sans-serif"
_CAPS, _JOINS = ("butt", "round", "square"), ("miter", "round", "bevel")


@dataclass(frozen=True, slots=True)
class _Pen:
    """How the next thing is drawn; lengths in points."""

    fill: str = "#000000"
    stroke: str = "#000000"
    width: float = 1.0
    cap: int = 0
    join: int = 0
    dash: str = ""
    font: str = ""
    size: float = 10.0
    clip: str = ""


@dataclass(slots=True)
class SvgPath:
    """A path under construction, in points from the lower left corner."""

    height: float
    steps: list[str] = field(default_factory=list)

    def moveTo(self, x: float, y: float) -> None:
        """Begin a piece."""
        self.steps.append(f"M{x:.2f} {self.height - y:.2f}")

    def lineTo(self, x: float, y: float) -> None:
        """A straight line on."""
        self.steps.append(f"L{x:.2f} {self.height - y:.2f}")

    def rect(self, x: float, y: float, width: float, height: float) -> None:
        """A rectangle from its lower left corner."""
        self.steps.append(f"M{x:.2f} {self.height - y:.2f}h{width:.2f}v{-height:.2f}h{-width:.2f}z")

    def close(self) -> None:
        """Back to where the piece began."""
        self.steps.append("Z")


class SvgCanvas:
    """What plots ask of a PDF canvas, by the same names; sizes in points, the origin at the lower left."""

    def __init__(self, width: float, height: float) -> None:
        self.width, self.height = width, height
        self._pen = _Pen()
        self._kept: list[_Pen] = []
        self._parts: list[str] = []
        self._clips = 0

    def text(self) -> str:
        """The whole drawing."""
        size = f'width="{self.width:g}pt" height="{self.height:g}pt" viewBox="0 0 {self.width:g} {self.height:g}"'
        head = f'<svg xmlns="http://www.w3.org/2000/svg" {size}>'
        return "\n".join([head, *self._parts, "</svg>", ""])

    def setFillColor(self, colour: Color) -> None:
        """What areas and text are filled with."""
        self._pen = replace(self._pen, fill=_code(colour))

    def setStrokeColor(self, colour: Color) -> None:
        """What lines are drawn in."""
        self._pen = replace(self._pen, stroke=_code(colour))

    def setLineWidth(self, width: float) -> None:
        """How wide lines are."""
        self._pen = replace(self._pen, width=width)

    def setLineCap(self, mode: int) -> None:
        """How lines end: 0 cut off, 1 round, 2 square."""
        self._pen = replace(self._pen, cap=mode)

    def setLineJoin(self, mode: int) -> None:
        """How lines bend: 0 pointed, 1 round, 2 cut."""
        self._pen = replace(self._pen, join=mode)

    def setDash(self, *lengths: float) -> None:
        """Dashes and gaps; none for an unbroken line."""
        self._pen = replace(self._pen, dash=" ".join(f"{length:g}" for length in lengths))

    def setFont(self, name: str, size: float) -> None:
        """The font of text."""
        self._pen = replace(self._pen, font=name, size=size)

    def saveState(self) -> None:
        """Keep how things are drawn."""
        self._kept.append(self._pen)

    def restoreState(self) -> None:
        """Draw again as when it was kept."""
        self._pen = self._kept.pop()

    def drawString(self, x: float, y: float, text: str) -> None:
        """Text that begins at a place."""
        self._write(x, y, text, "start")

    def drawCentredString(self, x: float, y: float, text: str) -> None:
        """Text about a place."""
        self._write(x, y, text, "middle")

    def drawRightString(self, x: float, y: float, text: str) -> None:
        """Text that ends at a place."""
        self._write(x, y, text, "end")

    def line(self, x1: float, y1: float, x2: float, y2: float) -> None:
        """A straight line."""
        ends = f'x1="{x1:.2f}" y1="{self.height - y1:.2f}" x2="{x2:.2f}" y2="{self.height - y2:.2f}"'
        self._add(f"<line {ends} {self._stroke(1)}")

    def rect(self, x: float, y: float, width: float, height: float, stroke: int = 1, fill: int = 0) -> None:
        """A rectangle from its lower left corner."""
        self.roundRect(x, y, width, height, 0.0, stroke, fill)

    def roundRect(
        self, x: float, y: float, width: float, height: float, radius: float, stroke: int = 1, fill: int = 0
    ) -> None:
        """A rectangle with round corners."""
        box = f'x="{x:.2f}" y="{self.height - y - height:.2f}" width="{width:.2f}" height="{height:.2f}"'
        self._add(f'<rect {box} rx="{radius:.2f}" {self._look(stroke, fill)}')

    def circle(self, x: float, y: float, radius: float, stroke: int = 1, fill: int = 0) -> None:
        """A circle about a place."""
        place = f'cx="{x:.2f}" cy="{self.height - y:.2f}" r="{radius:.2f}"'
        self._add(f"<circle {place} {self._look(stroke, fill)}")

    def beginPath(self) -> SvgPath:
        """A new path."""
        return SvgPath(self.height)

    def drawPath(self, path: SvgPath, stroke: int = 1, fill: int = 0) -> None:
        """Draw a path."""
        self._add(f'<path d="{"".join(path.steps)}" {self._look(stroke, fill)}')

    def clipPath(self, path: SvgPath, stroke: int = 1, fill: int = 0) -> None:
        """Draw nothing outside a path from here on, and the path itself where it is to be seen."""
        self._clips += 1
        outline = f'<path d="{"".join(path.steps)}"/>'
        self._parts.append(f'<defs><clipPath id="clip{self._clips}">{outline}</clipPath></defs>')
        self._pen = replace(self._pen, clip=f"clip{self._clips}")
        if stroke or fill:
            self.drawPath(path, stroke, fill)

    def _write(self, x: float, y: float, text: str, anchor: str) -> None:
        weight = "bold" if self._pen.font == BOLD else "normal"
        look = f'font-family="{FACE}" font-size="{self._pen.size:g}" font-weight="{weight}" text-anchor="{anchor}"'
        place = f'x="{x:.2f}" y="{self.height - y:.2f}"'
        self._add(f'<text {place} {look} fill="{self._pen.fill}"', f">{escape(text)}</text>")

    def _look(self, stroke: int, fill: int) -> str:
        return f'fill="{self._pen.fill if fill else "none"}" {self._stroke(stroke)}'

    def _stroke(self, stroke: int) -> str:
        pen = self._pen
        if not stroke:
            return 'stroke="none"'
        ends = f'stroke-linecap="{_CAPS[pen.cap]}" stroke-linejoin="{_JOINS[pen.join]}"'
        dash = f' stroke-dasharray="{pen.dash}"' if pen.dash else ""
        return f'stroke="{pen.stroke}" stroke-width="{pen.width:g}" {ends}{dash}'

    def _add(self, begun: str, end: str = "/>") -> None:
        clip = f' clip-path="url(#{self._pen.clip})"' if self._pen.clip else ""
        self._parts.append(f"{begun}{clip}{end}")


def _code(colour: Color) -> str:
    return f"#{colour.hexval()[2:]}"
