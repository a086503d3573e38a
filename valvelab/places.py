"""Where the bundled resources and samples lie: in a wheel, or beside the package in a checkout."""

from __future__ import annotations

from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent


def _bundled(name: str) -> Path:
    inside = _PACKAGE / "_bundled" / name
    return inside if inside.is_dir() else _PACKAGE.parent / name


def resources() -> Path:
    """Folder of fonts, icons, colour tables and material tables."""
    return _bundled("resources")


def sample_profiles() -> Path:
    """Folder of the invented sample jobs."""
    return _bundled("sample_profiles")
