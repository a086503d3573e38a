"""Colours, fonts and measures of the printed page."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from typing import Any, Literal, cast

from reportlab.lib.colors import Color, HexColor
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from valvelab.figures.description import Role
from valvelab.places import resources
from valvelab.units import System

MM = 72.0 / 25.4
MARGIN = 17.0 * MM
"""Blank at each side of a page."""
REGULAR = "valvelab-regular"
BOLD = "valvelab-bold"


def sheet_size(system: System) -> tuple[float, float]:
    """Width and height of the sheet in points: US Letter where units are inches, A4 otherwise."""
    return LETTER if system == "inch" else A4


@dataclass(frozen=True, slots=True)
class Paper:
    """The colour table of `resources/certificate.toml`, looked up by what a colour is for.

    size: how many times the usual size text and marks have.
    """

    colours: dict[str, Color]
    series: tuple[Color, ...]
    size: float = 1.0

    def of(self, name: str) -> Color:
        """Colour for a purpose; raises KeyError for a name the table lacks."""
        return self.colours[name]

    def role(self, role: Role, series: int = 0) -> Color:
        """Colour of a plot role."""
        if role == "series":
            return self.series[series % len(self.series)]
        return self.colours["reject" if role == "outside" else role]


@cache
def paper() -> Paper:
    """The palette, and the bundled fonts registered with the PDF library."""
    for name, file in ((REGULAR, "NotoSans-Regular.ttf"), (BOLD, "NotoSans-Bold.ttf")):
        pdfmetrics.registerFont(TTFont(name, str(resources() / "fonts" / file)))
    pdfmetrics.registerFontFamily(REGULAR, normal=REGULAR, bold=BOLD, italic=REGULAR, boldItalic=BOLD)
    table = tomllib.loads((resources() / "certificate.toml").read_text(encoding="utf-8"))
    series = tuple(HexColor(code) for code in table.pop("series"))
    return Paper({name: HexColor(code) for name, code in table.items()}, series)


def text_width(text: str, size: float, font: str = REGULAR) -> float:
    """Width of a line of text in points."""
    return float(pdfmetrics.stringWidth(text, font, size))


def fitted(text: str, size: float, width: float, font: str = REGULAR) -> str:
    """The text, cut with an ellipsis where it is wider than `width` points."""
    if text_width(text, size, font) <= width:
        return text
    while text and text_width(text + "…", size, font) > width:
        text = text[:-1]
    return text.rstrip() + "…"


def write(
    canvas: Canvas,
    text: str,
    place: tuple[float, float],
    size: float,
    colour: Color,
    *,
    font: str = REGULAR,
    end: Literal["left", "middle", "right"] = "left",
    width: float | None = None,
) -> None:
    """A line of text with that end of it at `place`, in points; cut with an ellipsis where it is wider than `width`."""
    shown = text if width is None else fitted(text, size, width, font)
    if not shown:
        return
    left = place[0] - {"left": 0.0, "middle": 0.5, "right": 1.0}[end] * (
        end != "left" and text_width(shown, size, font)
    )
    fill_with(canvas, colour)
    if not hasattr(canvas, "_doc"):  # no page of a PDF
        canvas.setFont(font, size)
        canvas.drawString(left, place[1], shown)
        return
    face, inner = cast("Any", pdfmetrics.getFont(font)), cast("Any", canvas)
    pieces = (
        f"{face.getSubsetInternalName(subset, inner._doc)} {size:.2f} Tf ({inner._escape(codes)}) Tj"
        for subset, codes in face.splitString(shown, inner._doc)
    )
    canvas.addLiteral(f"BT 1 0 0 1 {left:.2f} {place[1]:.2f} Tm {' '.join(pieces)} ET")


def fill_with(canvas: Canvas, colour: Color) -> None:
    """Fill with a colour from here on; nothing is said twice."""
    if cast("Any", canvas)._fillColorObj is not colour:
        canvas.setFillColor(colour)


def stroke_with(canvas: Canvas, colour: Color, width: float) -> None:
    """Draw lines of a colour and a width in points from here on; nothing is said twice."""
    inner = cast("Any", canvas)
    if inner._strokeColorObj is not colour:
        canvas.setStrokeColor(colour)
    if inner._lineWidth != width:
        canvas.setLineWidth(width)


def rule(canvas: Canvas, colour: Color, width: float, *lines: tuple[float, float, float, float]) -> None:
    """Straight lines of one width, each from a place to another, in points."""
    stroke_with(canvas, colour, width)
    if lines:
        steps = (f"{x:.2f} {y:.2f} m {to_x:.2f} {to_y:.2f} l" for x, y, to_x, to_y in lines)
        canvas.addLiteral(f"{' '.join(steps)} S")
