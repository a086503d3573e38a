"""Colours and fonts: one table, a complete palette, the scheme of the desktop unless the reader chose one."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Literal

from PySide6.QtCore import Qt
from PySide6.QtGui import QColor, QFont, QFontDatabase, QGuiApplication, QPalette, QPixmapCache
from PySide6.QtWidgets import QApplication, QProxyStyle, QStyle, QStyleOption, QWidget

from valvelab.places import resources

Scheme = Literal["system", "light", "dark"]
_CHOSEN = "valvelab scheme"
_DRAWN_KB = 64 * 1024
"""What drawn curves and axes may take to be kept: two bays full of plots on a large screen."""


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


class HouseStyle(QProxyStyle):
    """Fusion with room beside the text of a cell."""

    def pixelMetric(
        self, metric: QStyle.PixelMetric, option: QStyleOption | None = None, widget: QWidget | None = None
    ) -> int:
        """Measures of the style."""
        found = super().pixelMetric(metric, option, widget)
        roomy = {QStyle.PixelMetric.PM_FocusFrameHMargin: 4, QStyle.PixelMetric.PM_HeaderMargin: 3}
        return found + roomy.get(metric, 0)


def dress(app: QApplication) -> None:
    """Style, font and palette of the whole application."""
    app.setStyle(HouseStyle("Fusion"))
    app.setFont(text_font(app.font().pointSizeF()))
    app.setPalette(palette(current_theme()))
    QPixmapCache.setCacheLimit(_DRAWN_KB)


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
