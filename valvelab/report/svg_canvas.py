"""The part of the PDF library's canvas that plots are drawn with, as SVG 1.1: drawn here as on paper."""

from __future__ import annotations

from dataclasses import dataclass, replace
from xml.sax.saxutils import escape

from reportlab.lib.colors import Color

from valvelab.report.paper import BOLD, text_width

CAPS = ("butt", "round", "square")
JOINS = ("miter", "round", "bevel")
_BLACK = Color(0, 0, 0)


@dataclass(frozen=True, slots=True)
class _Pen:
    """How the next thing is drawn."""

    fill: Color = _BLACK
    stroke: Color = _BLACK
    width: float = 1.0
    cap: int = 0
    join: int = 0
    dash: tuple[float, ...] = ()
    font: str = ""
    size: float = 10.0
    groups: int = 0


class SvgPath:
    """Straight pieces and rectangles, y downward."""

    def __init__(self, height: float) -> None:
        self._height = height
        self.steps: list[str] = []

    def moveTo(self, x: float, y: float) -> None:
        """Begin at a place."""
        self.steps.append(f"M{x:.2f} {self._height - y:.2f}")

    def lineTo(self, x: float, y: float) -> None:
        """Go on to a place."""
        self.steps.append(f"L{x:.2f} {self._height - y:.2f}")

    def close(self) -> None:
        """Back to where it began."""
        self.steps.append("Z")

    def rect(self, x: float, y: float, width: float, height: float) -> None:
        """A rectangle from its lower left corner."""
        self.steps.append(f"M{x:.2f} {self._height - y:.2f}h{width:.2f}v{-height:.2f}h{-width:.2f}Z")


class SvgCanvas:
    """A page of a width and a height in points; its methods bear the PDF library's names, origin at the lower left."""

    def __init__(self, width: float, height: float) -> None:
        self._width = width
        self._height = height
        self._pen = _Pen()
        self._kept: list[_Pen] = []
        self._clips = 0
        self._parts: list[str] = []

    @property
    def _fillColorObj(self) -> Color:
        """By the name that `paper` asks a PDF page by, as the next two."""
        return self._pen.fill

    @property
    def _strokeColorObj(self) -> Color:
        return self._pen.stroke

    @property
    def _lineWidth(self) -> float:
        return self._pen.width

    def addLiteral(self, steps: str) -> None:
        """Straight pieces in the operators of PDF: places with m or l, h, then S or f."""
        drawn, numbers = SvgPath(self._height), list[float]()
        for word in steps.split():
            match word:
                case "m":
                    drawn.moveTo(*numbers)
                case "l":
                    drawn.lineTo(*numbers)
                case "h":
                    drawn.close()
                case "S" | "f":
                    self.drawPath(drawn, int(word == "S"), int(word == "f"))
                case _:
                    numbers.append(float(word))
                    continue
            numbers.clear()

    def text(self) -> str:
        """The whole document."""
        size = f'width="{self._width:.2f}pt" height="{self._height:.2f}pt"'
        box = f'viewBox="0 0 {self._width:.2f} {self._height:.2f}"'
        ground = '<rect width="100%" height="100%" fill="#ffffff"/>'
        look = f'{size} {box} font-family="Noto Sans, sans-serif"'
        head = f'<svg xmlns="http://www.w3.org/2000/svg" version="1.1" {look}>'
        return "\n".join([head, ground, *self._parts, "</svg>", ""])

    def setFillColor(self, colour: Color) -> None:
        """Colour of areas and letters."""
        self._pen = replace(self._pen, fill=colour)

    def setStrokeColor(self, colour: Color) -> None:
        """Colour of lines."""
        self._pen = replace(self._pen, stroke=colour)

    def setLineWidth(self, width: float) -> None:
        """Width of lines in points."""
        self._pen = replace(self._pen, width=width)

    def setLineCap(self, cap: int) -> None:
        """How a line ends: 0 flat, 1 round, 2 square."""
        self._pen = replace(self._pen, cap=cap)

    def setLineJoin(self, join: int) -> None:
        """How lines meet: 0 pointed, 1 round, 2 cut."""
        self._pen = replace(self._pen, join=join)

    def setDash(self, *dash: float) -> None:
        """Lengths of dashes and gaps in points; without any the line is whole."""
        self._pen = replace(self._pen, dash=dash)

    def setFont(self, name: str, size: float) -> None:
        """Font and size of the letters."""
        self._pen = replace(self._pen, font=name, size=size)

    def saveState(self) -> None:
        """Keep the pen and the clipping."""
        self._kept.append(self._pen)
        self._pen = replace(self._pen, groups=0)

    def restoreState(self) -> None:
        """Back to what was kept."""
        self._parts += ["</g>"] * self._pen.groups
        self._pen = self._kept.pop()

    def beginPath(self) -> SvgPath:
        """A new path."""
        return SvgPath(self._height)

    def clipPath(self, path: SvgPath, stroke: int = 0, fill: int = 0) -> None:
        """Draw within a path alone until the state is restored."""
        self._clips += 1
        name = f"clip{self._clips}"
        self._parts.append(f'<clipPath id="{name}"><path d="{"".join(path.steps)}"/></clipPath>')
        self._parts.append(f'<g clip-path="url(#{name})">')
        self._pen = replace(self._pen, groups=self._pen.groups + 1)
        if stroke or fill:
            self.drawPath(path, stroke, fill)

    def drawPath(self, path: SvgPath, stroke: int = 1, fill: int = 0) -> None:
        """A path."""
        self._shape(f'path d="{"".join(path.steps)}"', stroke, fill)

    def line(self, x1: float, y1: float, x2: float, y2: float) -> None:
        """A straight line."""
        ends = f'x1="{x1:.2f}" y1="{self._height - y1:.2f}" x2="{x2:.2f}" y2="{self._height - y2:.2f}"'
        self._shape(f"line {ends}", 1, 0)

    def rect(self, x: float, y: float, width: float, height: float, stroke: int = 1, fill: int = 0) -> None:
        """A rectangle from its lower left corner."""
        self.roundRect(x, y, width, height, 0.0, stroke, fill)

    def roundRect(
        self, x: float, y: float, width: float, height: float, radius: float, stroke: int = 1, fill: int = 0
    ) -> None:
        """A rectangle with round corners, from its lower left one."""
        left, low, width, height = min(x, x + width), min(y, y + height), abs(width), abs(height)
        place = f'x="{left:.2f}" y="{self._height - low - height:.2f}" width="{width:.2f}" height="{height:.2f}"'
        self._shape(f"rect {place}" + (f' rx="{radius:.2f}"' if radius else ""), stroke, fill)

    def circle(self, x: float, y: float, radius: float, stroke: int = 1, fill: int = 0) -> None:
        """A circle about a place."""
        self._shape(f'circle cx="{x:.2f}" cy="{self._height - y:.2f}" r="{radius:.2f}"', stroke, fill)

    def _shape(self, element: str, stroke: int, fill: int) -> None:
        pen = self._pen
        style = _colour("fill", pen.fill) if fill else ' fill="none"'
        if stroke:
            style += f'{_colour("stroke", pen.stroke)} stroke-width="{pen.width:.2f}"'
            style += f' stroke-linecap="{CAPS[pen.cap]}" stroke-linejoin="{JOINS[pen.join]}"'
            if pen.dash:
                style += f' stroke-dasharray="{" ".join(map(str, pen.dash))}"'
        self._parts.append(f"<{element}{style}/>")

    def drawString(self, x: float, y: float, text: str) -> None:
        """A line of text that begins at a place, as wide as on paper, whatever font the reader has."""
        pen = self._pen
        wide = text_width(text, pen.size, pen.font)
        style = f'font-size="{pen.size:.2f}"' + (' font-weight="bold"' if pen.font == BOLD else "")
        style += f' text-anchor="start" textLength="{wide:.2f}" lengthAdjust="spacingAndGlyphs"'
        place = f'x="{x:.2f}" y="{self._height - y:.2f}"'
        self._parts.append(f"<text {place} {style}{_colour('fill', pen.fill)}>{escape(text)}</text>")


def _colour(what: str, colour: Color) -> str:
    code = f' {what}="#{colour.hexval()[2:]}"'
    return code if colour.alpha >= 1.0 else f'{code} {what}-opacity="{colour.alpha:.3f}"'
