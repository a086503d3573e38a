"""A PDF in a preview before it is printed, its pages drawn as pictures."""

from __future__ import annotations

import pypdfium2  # type: ignore[import-untyped]
from PySide6.QtCore import QRectF, QSizeF, Qt
from PySide6.QtGui import QImage, QPageLayout, QPageSize, QPaintEngine, QPainter
from PySide6.QtPrintSupport import QPrinter, QPrintPreviewDialog
from PySide6.QtWidgets import QWidget

from valvelab.language import say

_SEEN_DPI, _PRINTED_DPI = 150.0, 300.0
_POINTS_PER_INCH = 72.0


class PrintPreview(QPrintPreviewDialog):
    """Shows the pages of a PDF and prints those that are asked for."""

    def __init__(self, pdf: bytes, name: str, parent: QWidget, what: str = "") -> None:
        self._printer = QPrinter(QPrinter.PrinterMode.HighResolution)
        self._document = pypdfium2.PdfDocument(pdf)
        wide, high = self._document[0].get_size()
        size = QPageSize(QSizeF(min(wide, high), max(wide, high)), QPageSize.Unit.Point)
        landscape = QPageLayout.Orientation.Landscape
        self._printer.setPageSize(size)
        self._printer.setPageOrientation(landscape if wide > high else QPageLayout.Orientation.Portrait)
        self._printer.setFullPage(True)
        self._printer.setDocName(name)
        super().__init__(self._printer, parent)
        self.setWindowTitle(say("Print {name}").format(name=f"{what}: {name}" if what else name))
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        screen = parent.screen().availableGeometry()
        self.resize(round(0.6 * screen.width()), round(0.9 * screen.height()))
        self.paintRequested.connect(self.paint)
        self.finished.connect(lambda _how: self._document.close())

    def paint(self, printer: QPrinter) -> None:
        """Draw the pages asked for, each over the whole sheet."""
        seen = printer.paintEngine().type() == QPaintEngine.Type.Picture
        last = len(self._document)
        first, end = max(1, printer.fromPage()), min(printer.toPage() or last, last)
        with QPainter(printer) as painter:
            for number in range(first, end + 1):
                if number > first:
                    printer.newPage()
                sheet = QRectF(printer.paperRect(QPrinter.Unit.DevicePixel))
                painter.drawImage(sheet, self._picture(number - 1, _SEEN_DPI if seen else _PRINTED_DPI))

    def _picture(self, number: int, dpi: float) -> QImage:
        drawn = self._document[number].render(scale=dpi / _POINTS_PER_INCH).to_pil().convert("RGB")
        wide, high = drawn.size
        return QImage(drawn.tobytes(), wide, high, 3 * wide, QImage.Format.Format_RGB888).copy()
