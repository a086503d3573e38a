"""Colours and fonts: one table, a complete palette, the scheme of the desktop unless the reader chose one."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Literal, TypeVar

from PySide6.QtCore import QEvent, QPointF, QRect, QRectF, QSize, Qt
from PySide6.QtGui import (
    QColor,
    QFont,
    QFontDatabase,
    QFontMetrics,
    QGuiApplication,
    QPainter,
    QPalette,
    QPen,
    QPixmapCache,
    QPolygonF,
)
from PySide6.QtWidgets import (
    QAbstractSpinBox,
    QApplication,
    QComboBox,
    QDockWidget,
    QGridLayout,
    QLabel,
    QLayout,
    QMainWindow,
    QProxyStyle,
    QSpinBox,
    QStyle,
    QStyleOption,
    QStyleOptionComboBox,
    QStyleOptionComplex,
    QStyleOptionHeader,
    QStyleOptionSpinBox,
    QWidget,
)
from shiboken6 import isValid

from valvelab.places import resources
from valvelab.window import garbage

Scheme = Literal["system", "light", "dark"]
_CHOSEN, _POINTS, _SPACED = "valvelab scheme", "valvelab points", "valvelab spaced"
_DRAWN_KB = 64 * 1024
"""What drawn curves and axes may take to be kept: two bays full of plots on a large screen."""
TEXT_SIZES = (80, 90, 100, 115, 130, 150, 175, 200)
"""Per cent of the desktop's size of text."""
_UNBOUND = 16777215
_ICON_EMS = 0.88
"""Side of the icons of rows and of buttons."""


@dataclass(frozen=True, slots=True)
class Theme:
    """The colours of one scheme by name, and the series of data colours."""

    name: str
    colours: Mapping[str, str]
    series: tuple[str, ...]

    def colour(self, name: str, alpha: float = 1.0) -> QColor:
        """A colour by name; `alpha` from 0 to 1."""
        colour = QColor(self.colours[name])
        colour.setAlphaF(alpha)
        return colour


@cache
def load_themes() -> Mapping[str, Theme]:
    """The light and the dark theme."""
    table = tomllib.loads((resources() / "theme.toml").read_text(encoding="utf-8"))
    return {
        name: Theme(name, {key: value for key, value in rows.items() if key != "series"}, tuple(rows["series"]))
        for name, rows in table.items()
    }


def current_theme() -> Theme:
    """The theme chosen, else that of the desktop's scheme."""
    application = QGuiApplication.instance()
    chosen = application.property(_CHOSEN) if application is not None else None
    if chosen in {"light", "dark"}:
        return load_themes()[str(chosen)]
    dark = QGuiApplication.styleHints().colorScheme() == Qt.ColorScheme.Dark
    return load_themes()["dark" if dark else "light"]


def set_scheme(scheme: Scheme) -> None:
    """Follow the desktop, or keep to one scheme; kept on the application, because not every desktop takes the wish."""
    application = QGuiApplication.instance()
    if application is not None:
        application.setProperty(_CHOSEN, scheme)
    wanted = {"system": Qt.ColorScheme.Unknown, "light": Qt.ColorScheme.Light, "dark": Qt.ColorScheme.Dark}[scheme]
    QGuiApplication.styleHints().setColorScheme(wanted)


_ROLES = {
    QPalette.ColorRole.Window: "window", QPalette.ColorRole.WindowText: "text", QPalette.ColorRole.Base: "panel",
    QPalette.ColorRole.AlternateBase: "stripe", QPalette.ColorRole.ToolTipBase: "raised",
    QPalette.ColorRole.ToolTipText: "text", QPalette.ColorRole.PlaceholderText: "quiet",
    QPalette.ColorRole.Text: "text", QPalette.ColorRole.Button: "raised", QPalette.ColorRole.ButtonText: "text",
    QPalette.ColorRole.BrightText: "reject", QPalette.ColorRole.Light: "panel", QPalette.ColorRole.Midlight: "stripe",
    QPalette.ColorRole.Dark: "line", QPalette.ColorRole.Mid: "line", QPalette.ColorRole.Shadow: "line",
    QPalette.ColorRole.Highlight: "chosen", QPalette.ColorRole.HighlightedText: "text",
    QPalette.ColorRole.Accent: "accent", QPalette.ColorRole.Link: "accent", QPalette.ColorRole.LinkVisited: "accent",
}  # fmt: skip
_TEXT_ROLES = (
    QPalette.ColorRole.WindowText, QPalette.ColorRole.Text, QPalette.ColorRole.ButtonText,
    QPalette.ColorRole.PlaceholderText, QPalette.ColorRole.ToolTipText, QPalette.ColorRole.Link,
    QPalette.ColorRole.LinkVisited, QPalette.ColorRole.BrightText,
)  # fmt: skip


def palette(theme: Theme) -> QPalette:
    """Every role of every group from the colour table."""
    made = QPalette()
    for group in (QPalette.ColorGroup.Active, QPalette.ColorGroup.Inactive, QPalette.ColorGroup.Disabled):
        for role, name in _ROLES.items():
            made.setColor(group, role, theme.colour(name))
    for role in _TEXT_ROLES:
        made.setColor(QPalette.ColorGroup.Disabled, role, theme.colour("disabled"))
    made.setColor(QPalette.ColorGroup.Disabled, QPalette.ColorRole.Highlight, theme.colour("line"))
    made.setColor(QPalette.ColorGroup.Disabled, QPalette.ColorRole.HighlightedText, theme.colour("text"))
    return made


_AT_LEAST_EMS = {QStyle.PixelMetric.PM_SmallIconSize: _ICON_EMS, QStyle.PixelMetric.PM_MenuButtonIndicator: 0.65}
"""What is at least so many heights of a line."""
_ROOMY = {QStyle.PixelMetric.PM_FocusFrameHMargin: 4, QStyle.PixelMetric.PM_HeaderMargin: 3}


_TURNS = {
    QStyle.PrimitiveElement.PE_IndicatorArrowDown: 0.0, QStyle.PrimitiveElement.PE_IndicatorArrowLeft: 90.0,
    QStyle.PrimitiveElement.PE_IndicatorArrowUp: 180.0, QStyle.PrimitiveElement.PE_IndicatorArrowRight: 270.0,
}  # fmt: skip
"""Degrees that an arrow is turned by from one that points down."""
_ARROW = 0.24, 0.13
"""Half an arrow, across and along, of the height of a line."""
_STEPS_EMS, _STEPS_WIDE = 0.8, 14
"""Width of the buttons of a field of whole numbers, in heights of a line, and in pixels as Qt has them."""
_ARROW_FILLS = 1.4
"""Height of the line, of the width of a place that does not grow, at which an arrow grows no more."""


_STEPS = (
    (QStyle.SubControl.SC_SpinBoxUp, QAbstractSpinBox.StepEnabledFlag.StepUpEnabled, 180.0),
    (QStyle.SubControl.SC_SpinBoxDown, QAbstractSpinBox.StepEnabledFlag.StepDownEnabled, 0.0),
)
"""The arrows of a field of whole numbers: their parts, when they may be used, and how they are turned."""


class HouseStyle(QProxyStyle):
    """Fusion with room beside the text of a cell, and an ellipsis where a text is longer than its room."""

    def pixelMetric(
        self, metric: QStyle.PixelMetric, option: QStyleOption | None = None, widget: QWidget | None = None
    ) -> int:
        """Measures of the style."""
        found = QProxyStyle.pixelMetric(self, metric, option, widget)
        ems = _AT_LEAST_EMS.get(metric)
        if ems is not None:
            return max(found, round(ems * QFontMetrics(QApplication.font()).height()))
        return found + _ROOMY.get(metric, 0)

    def _draw_head(self, option: QStyleOptionHeader, painter: QPainter, widget: QWidget | None) -> None:
        """The head of the column that is sorted by, its words beside the arrow."""
        whole = QRect(option.rect)
        margin = self.pixelMetric(QStyle.PixelMetric.PM_HeaderMargin, option, widget)
        self.drawControl(QStyle.ControlElement.CE_HeaderSection, option, painter, widget)
        words, side = whole.adjusted(margin, 0, -margin, 0), arrow_wide(option.fontMetrics) - 5
        option.rect = QRect(whole.right() - side - 3, whole.center().y() - side // 2, side, side)
        self.drawPrimitive(QStyle.PrimitiveElement.PE_IndicatorHeaderArrow, option, painter, widget)
        words.setRight(whole.right() - side - 5)
        option.rect = words
        self.drawControl(QStyle.ControlElement.CE_HeaderLabel, option, painter, widget)
        option.rect = whole

    def drawControl(
        self,
        element: QStyle.ControlElement,
        option: QStyleOption,
        painter: QPainter,
        widget: QWidget | None = None,
    ) -> None:
        """The style's own, but for heads of columns, and an ellipsis where there is more of a closed choice."""
        if element == QStyle.ControlElement.CE_Header and _sorted_by(option):
            assert isinstance(option, QStyleOptionHeader)
            self._draw_head(option, painter, widget)
            return
        if element == QStyle.ControlElement.CE_HeaderEmptyArea:
            rest = QStyleOptionHeader()
            rest.rect, rest.palette, rest.direction = option.rect, option.palette, option.direction
            rest.state, rest.position = option.state, QStyleOptionHeader.SectionPosition.End
            self.drawControl(QStyle.ControlElement.CE_HeaderSection, rest, painter, widget)
            return
        if element == QStyle.ControlElement.CE_ComboBoxLabel and isinstance(option, QStyleOptionComboBox):
            field = QStyle.SubControl.SC_ComboBoxEditField
            whole = self.subControlRect(QStyle.ComplexControl.CC_ComboBox, option, field, widget)  # type: ignore[arg-type]
            room = whole.width() - 4
            option.currentText = option.fontMetrics.elidedText(option.currentText, Qt.TextElideMode.ElideRight, room)
        elif element == QStyle.ControlElement.CE_HeaderLabel and (spared := getattr(widget, "spared", 0)):
            option.rect = option.rect.adjusted(-spared, 0, spared, 0)
        super().drawControl(element, option, painter, widget)

    def drawComplexControl(
        self,
        control: QStyle.ComplexControl,
        option: QStyleOptionComplex,
        painter: QPainter,
        widget: QWidget | None = None,
    ) -> None:
        """The style's own, with the arrow of a choice, and the edge of a field about one that has arrows."""
        arrow = QStyle.SubControl.SC_ComboBoxArrow
        if control == QStyle.ComplexControl.CC_ComboBox and option.subControls & arrow:
            place = self.subControlRect(control, option, arrow, widget)  # type: ignore[arg-type]
            option.subControls &= ~arrow
            super().drawComplexControl(control, option, painter, widget)
            option.subControls |= arrow
            self._draw_arrow(option, painter, 0.0, place)
            return
        super().drawComplexControl(control, option, painter, widget)
        if control == QStyle.ComplexControl.CC_SpinBox:
            self._draw_steps(option, painter, widget)
            self._draw_edge(option, painter)

    def _draw_steps(self, option: QStyleOptionComplex, painter: QPainter, widget: QWidget | None) -> None:
        """The arrows of a field of whole numbers, over those of a fixed size."""
        assert isinstance(option, QStyleOptionSpinBox)
        enabled = option.state
        for part, may, turn in _STEPS:
            place = self.subControlRect(QStyle.ComplexControl.CC_SpinBox, option, part, widget)  # type: ignore[arg-type]
            painter.fillRect(place.adjusted(1, 1, -1, -1), option.palette.button())
            if not option.stepEnabled & may:
                option.state &= ~QStyle.StateFlag.State_Enabled
            self._draw_arrow(option, painter, turn, place)
            option.state = enabled

    def drawPrimitive(
        self,
        element: QStyle.PrimitiveElement,
        option: QStyleOption,
        painter: QPainter,
        widget: QWidget | None = None,
    ) -> None:
        """The style's own, but for arrows, and for the ground of a field, whose edge is seen in either scheme."""
        if element == QStyle.PrimitiveElement.PE_IndicatorBranch:
            if option.state & QStyle.StateFlag.State_Children:
                self._draw_arrow(option, painter, 0.0 if option.state & QStyle.StateFlag.State_Open else 270.0)
            return
        if element in _TURNS:
            self._draw_arrow(option, painter, _TURNS[element])
            return
        if element != QStyle.PrimitiveElement.PE_PanelLineEdit or getattr(option, "lineWidth", 0) <= 0:
            super().drawPrimitive(element, option, painter, widget)
            return
        painter.fillRect(
            option.rect,
            option.palette.base() if option.state & QStyle.StateFlag.State_Enabled else option.palette.window(),
        )
        self._draw_edge(option, painter)

    @staticmethod
    def _draw_arrow(option: QStyleOption, painter: QPainter, turn: float, place: QRect | None = None) -> None:
        """An arrow that grows with the text beside it, in the middle of a place."""
        em = float(option.fontMetrics.height())
        wide, high = (part * (em if place is None else min(em, _ARROW_FILLS * place.width())) for part in _ARROW)
        enabled = option.state & QStyle.StateFlag.State_Enabled
        painter.save()
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.translate(QRectF(place or option.rect).center())
        painter.rotate(turn)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(current_theme().colour("quiet" if enabled else "disabled"))
        painter.drawPolygon(QPolygonF([QPointF(-wide, -high), QPointF(wide, -high), QPointF(0.0, high)]))
        painter.restore()

    @staticmethod
    def _draw_edge(option: QStyleOption, painter: QPainter) -> None:
        state = option.state
        name = "line" if not state & QStyle.StateFlag.State_Enabled else "edge"
        painter.save()
        painter.setPen(QPen(current_theme().colour("accent" if state & QStyle.StateFlag.State_HasFocus else name), 1.0))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawRect(QRectF(option.rect).adjusted(0.5, 0.5, -0.5, -0.5))
        painter.restore()


class _StepsStyle(HouseStyle):
    """For fields of whole numbers alone, which ask where their arrows are: these are as wide as the text is high.

    A style of their own, for every control would ask it.
    """

    def subControlRect(
        self,
        control: QStyle.ComplexControl,
        option: QStyleOptionComplex,
        part: QStyle.SubControl,
        widget: QWidget | None = None,
    ) -> QRect:
        """The style's own, with buttons that grow with the text."""
        found = super().subControlRect(control, option, part, widget)  # type: ignore[arg-type]
        if control != QStyle.ComplexControl.CC_SpinBox:
            return found
        more = _steps_more(option.fontMetrics)
        if part == QStyle.SubControl.SC_SpinBoxEditField:
            return found.adjusted(0, 0, -more, 0)
        return found.adjusted(-more, 0, 0, 0) if part in {step[0] for step in _STEPS} else found


def _steps_more(metrics: QFontMetrics) -> int:
    """By how much the buttons are wider than Qt has them."""
    return max(0, round(_STEPS_EMS * metrics.height()) - _STEPS_WIDE)


@cache
def _steps_style() -> _StepsStyle:
    return _StepsStyle("Fusion")


class CountField(QSpinBox):
    """A field of whole numbers whose arrows grow with its text."""

    def __init__(self, parent: QWidget, *, minimum: int, maximum: int) -> None:
        super().__init__(parent, minimum=minimum, maximum=maximum)
        self.setStyle(_steps_style())

    def sizeHint(self) -> QSize:
        """With room for the arrows."""
        return self._with_steps(super().sizeHint())

    def minimumSizeHint(self) -> QSize:
        """With room for the arrows."""
        return self._with_steps(super().minimumSizeHint())

    def _with_steps(self, size: QSize) -> QSize:
        return QSize(size.width() + _steps_more(self.fontMetrics()), size.height())


def arrow_wide(metrics: QFontMetrics) -> int:
    """Width that the arrow of the column that is sorted by takes beside its head."""
    return round(0.6 * metrics.height()) + 5


def _sorted_by(option: QStyleOption) -> bool:
    """Whether a head shows the arrow of what is sorted by it."""
    none = QStyleOptionHeader.SortIndicator.None_
    return isinstance(option, QStyleOptionHeader) and option.sortIndicator != none


def dress(app: QApplication) -> None:
    """Style, font and palette of the whole application."""
    app.setStyle(HouseStyle("Fusion"))
    app.setFont(text_font(app.font().pointSizeF()))
    app.setProperty(_POINTS, app.font().pointSizeF())
    app.setPalette(palette(current_theme()))
    QPixmapCache.setCacheLimit(_DRAWN_KB)


def set_text_size(percent: int) -> None:
    """Write all text in per cent of the desktop's size, within the sizes there are.

    What widgets hold that was measured by the size before (fonts of a rank, bounds of a size) grows and shrinks along.
    """
    application = QApplication.instance()
    assert isinstance(application, QApplication)
    before = application.font().pointSizeF()
    usual = application.property(_POINTS) or before
    now = float(usual) * min(max(percent, TEXT_SIZES[0]), TEXT_SIZES[-1]) / 100.0
    if now == before:
        return
    with garbage.waits():
        _write_larger(application, now, now / before)


def _write_larger(application: QApplication, points: float, factor: float) -> None:
    ranked = {w: w.font() for w in _living(application) if w.testAttribute(Qt.WidgetAttribute.WA_SetFont)}
    application.setFont(text_font(points))
    for widget in _living(application):  # at once: by itself it comes with the next turn of the event loop
        QApplication.sendEvent(widget, QEvent(QEvent.Type.ApplicationFontChange))
    for widget, font in ranked.items():
        if isValid(widget):
            widget.setFont(scaled(font, factor, strong=font.weight() >= QFont.Weight.DemiBold))
    for widget in _living(application):
        if isinstance(widget, QComboBox):  # keeps the least size that it had with larger text (Qt 6.11)
            QApplication.sendEvent(widget, QEvent(QEvent.Type.StyleChange))
        elif isinstance(widget, QLabel):  # so does one that has no words yet
            widget.setWordWrap(widget.wordWrap())
        if not isinstance(widget, QDockWidget | QMainWindow):  # whose own layouts bind them
            _scale_bounds(widget, factor)
    for window in filter(isValid, application.topLevelWidgets()):
        for layout in window.findChildren(QLayout):  # of a page that isn't seen nobody else tells it
            _space_out(layout)
            layout.invalidate()


Spaced = TypeVar("Spaced", bound=QLayout)


def in_ems(layout: Spaced) -> Spaced:
    """Have margins and spacing of a layout, as they are now, follow the size of text."""
    em, margins = QFontMetrics(QApplication.font()).height(), layout.contentsMargins()
    sides = (margins.left(), margins.top(), margins.right(), margins.bottom())
    layout.setProperty(_SPACED, [side / em for side in (*sides, *_spacings(layout))])
    return layout


def _spacings(layout: QLayout) -> tuple[int, int]:
    """Room between parts beside one another and above one another."""
    if isinstance(layout, QGridLayout):
        return layout.horizontalSpacing(), layout.verticalSpacing()
    return layout.spacing(), layout.spacing()


def _space_out(layout: QLayout) -> None:
    ems = layout.property(_SPACED)
    if ems is None:
        return
    em = QFontMetrics(QApplication.font()).height()
    left, top, right, bottom, across, down = (round(side * em) for side in ems)
    layout.setContentsMargins(left, top, right, bottom)
    if isinstance(layout, QGridLayout):
        layout.setHorizontalSpacing(across)
        layout.setVerticalSpacing(down)
    else:
        layout.setSpacing(across)


def _living(application: QApplication) -> Iterator[QWidget]:
    """Every widget that is there when its turn comes: what one is told may close another."""
    return filter(isValid, application.allWidgets())


def _scale_bounds(widget: QWidget, factor: float) -> None:
    """Scale the least and the greatest sizes that a widget was given, and a label's margin, which are in pixels."""
    if isinstance(widget, QLabel) and widget.margin() > 0:
        widget.setMargin(round(factor * widget.margin()))
    least, most = widget.minimumSize(), widget.maximumSize()
    if least.width() > 0:
        widget.setMinimumWidth(max(1, round(factor * least.width())))
    if least.height() > 0:
        widget.setMinimumHeight(max(1, round(factor * least.height())))
    if most.width() < _UNBOUND:
        widget.setMaximumWidth(round(factor * most.width()))
    if most.height() < _UNBOUND:
        widget.setMaximumHeight(round(factor * most.height()))


@cache
def _family() -> str:
    families: list[str] = []
    for file in sorted((resources() / "fonts").glob("*.ttf")):
        number = QFontDatabase.addApplicationFont(str(file))
        families += QFontDatabase.applicationFontFamilies(number) if number >= 0 else []
    return next((family for family in families if "Mono" not in family), QFont().family())


def text_font(points: float = 10.0, *, strong: bool = False) -> QFont:
    """The bundled font with figures of one width."""
    font = QFont(_family())
    font.setPointSizeF(points if points > 0 else 10.0)
    font.setFeature(QFont.Tag("tnum"), 1)
    if strong:
        font.setWeight(QFont.Weight.DemiBold)
    return font


def scaled(font: QFont, factor: float, *, strong: bool = False) -> QFont:
    """A font of the same kind, larger or smaller."""
    return text_font(font.pointSizeF() * factor, strong=strong)
