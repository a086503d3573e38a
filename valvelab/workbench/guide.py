"""The guide: how-tos in Markdown as they are bundled, and the reference of characteristics made from their table."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import groupby
from types import MappingProxyType

from valvelab.inspection.characteristics import all_characteristics
from valvelab.places import resources

REFERENCE = "characteristics"
TITLES: Mapping[str, str] = MappingProxyType(
    {
        "degree_a_cam": "Degree a cam",
        "match_a_tray": "Match a tray",
        "check_a_lift": "Check a lift",
        REFERENCE: "Characteristics",
    }
)
"""Pages by name, in the order in which they are offered."""


def page(name: str) -> str:
    """One page as Markdown; every page begins with its title as a heading."""
    return _reference() if name == REFERENCE else (resources() / "guide" / f"{name}.md").read_text(encoding="utf-8")


def _reference() -> str:
    """What each characteristic is, how it is found, and whence its definition comes, by what it is one of."""
    parts = [
        "# Characteristics",
        "The name in letters of one width is what a spec says after `of`; a bare number is in the unit given here.",
    ]
    for subject, rows in groupby(all_characteristics(), lambda row: row.subject):
        parts.append(f"## {subject.capitalize()}")
        for row in rows:
            unit = f" [{row.unit}]" if row.unit else ""
            at = f" At a {row.needs_at}." if row.needs_at else ""
            circle = f" Compared on a circle of {row.period:g} {row.unit}." if row.period else ""
            parts.append(
                f"**{row.head}** `{row.name}`{unit}: {row.meaning}.{at}{circle}  \n*Method:* {row.method}. "
                f"*Source:* {row.source}."
            )
    return "\n\n".join(parts) + "\n"
