"""A QR code (ISO/IEC 18004) of a paper's number, to be read by a camera."""

from __future__ import annotations

from typing import Any

from reportlab.graphics.barcode.qrencoder import QRCode, QRErrorCorrectLevel
from reportlab.lib.colors import Color
from reportlab.pdfgen.canvas import Canvas


def draw_code(canvas: Canvas, text: str, corner: tuple[float, float], side: float, colour: Color) -> None:
    """Draw a text of digits, capitals, spaces and hyphens, its upper left corner at `corner`; lengths in points."""
    code: Any = QRCode(None, QRErrorCorrectLevel.M)
    code.addData(text)
    code.make()
    count = code.getModuleCount()
    unit = side / count
    path = canvas.beginPath()
    for row in range(count):
        for column in range(count):
            if code.isDark(row, column):
                path.rect(corner[0] + column * unit, corner[1] - (row + 1) * unit, unit, unit)
    canvas.setFillColor(colour)
    canvas.drawPath(path, stroke=0, fill=1)
