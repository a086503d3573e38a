"""One machine for every test run: the project's own fonts without hinting, no desktop's settings, no user's folders.

Approved pictures and sizes of text then depend on nothing that a computer's owner may have chosen.
"""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

FONTS = Path(__file__).resolve().parent.parent / "resources" / "fonts"

#: fontconfig's own format: the bundled fonts and no others, drawn grey and unhinted
FONT_CONFIGURATION = """<?xml version="1.0"?>
<!DOCTYPE fontconfig SYSTEM "fonts.dtd">
<fontconfig>
  <dir>{fonts}</dir>
  <cachedir>{cache}</cachedir>
  <match target="pattern">
    <edit name="family" mode="append" binding="weak"><string>Noto Sans</string></edit>
  </match>
  <match target="font">
    <edit name="antialias" mode="assign"><bool>true</bool></edit>
    <edit name="hinting" mode="assign"><bool>false</bool></edit>
    <edit name="autohint" mode="assign"><bool>false</bool></edit>
    <edit name="hintstyle" mode="assign"><const>hintnone</const></edit>
    <edit name="rgba" mode="assign"><const>none</const></edit>
    <edit name="lcdfilter" mode="assign"><const>lcdnone</const></edit>
  </match>
</fontconfig>
"""
#: beginnings of the names under which desktops hand their settings to programs
DESKTOP = (
    "QT_",
    "QML",
    "KDE_",
    "GTK_",
    "GDK_",
    "GNOME_",
    "XDG_CURRENT_DESKTOP",
    "XDG_SESSION",
    "DESKTOP_SESSION",
    "LC_",
)


def settle(environment: os._Environ[str] | dict[str, str], place: Path) -> None:
    """Set an environment for a test run; `place` is an empty folder that outlives it. Before Qt is loaded."""
    for name in [name for name in environment if name.startswith(DESKTOP)]:
        del environment[name]
    configuration = place / "fonts.conf"
    configuration.write_text(FONT_CONFIGURATION.format(fonts=FONTS, cache=place / "font_cache"), encoding="utf-8")
    environment.pop("FONTCONFIG_PATH", None)
    environment.pop("LANGUAGE", None)
    environment.update(
        QT_QPA_PLATFORM="offscreen", FONTCONFIG_FILE=str(configuration), LANG="C.UTF-8", LC_ALL="C.UTF-8"
    )
    for kind in ("CONFIG", "DATA", "STATE", "CACHE"):
        environment[f"XDG_{kind}_HOME"] = str(place / kind.lower())
    environment["VALVELAB_KEYS"] = str(place / "keys")


def settled_folder() -> tempfile.TemporaryDirectory[str]:
    """Settle this process; the folder goes with the answer."""
    folder = tempfile.TemporaryDirectory(prefix="valvelab_tests_")
    settle(os.environ, Path(folder.name))
    return folder
