"""The guide: how-tos in Markdown as they are bundled, and the reference of characteristics made from their table."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from itertools import groupby
from types import MappingProxyType

from valvelab.inspection.characteristics import Characteristic, all_characteristics
from valvelab.places import resources

REFERENCE, GALLERY = "characteristics", "gallery"
TITLES: Mapping[str, str] = MappingProxyType(
    {
        "degree_a_cam": "Degree a cam",
        "match_a_tray": "Match a tray",
        "check_a_lift": "Check a lift",
        REFERENCE: "Characteristics",
        "files": "Files",
        "specs": "Specs",
        "lift_check": "The lift-check sheet",
        "results": "Commands and results",
        "signing": "Signed certificates",
        "records": "The record store",
        "numbers": "How the numbers come about",
        "python": "From Python",
        GALLERY: "Gallery",
    }
)
"""Pages by name, in the order in which they are offered."""


def page(name: str, picture: Callable[[Characteristic], str] = lambda _row: "") -> str:
    """One page as Markdown, which begins with its title as a heading; `picture`: of a characteristic, its address."""
    return _reference(picture) if name == REFERENCE else (resources() / "guide" / f"{name}.md").read_text("utf-8")


def _reference(picture: Callable[[Characteristic], str]) -> str:
    """What each characteristic is, how it is found, and whence its definition comes, by what it is one of."""
    parts = [
        "# Characteristics",
        "The name in letters of one width is what a spec says after `of`; a bare number is in the unit given here.",
    ]
    for subject, rows in groupby(all_characteristics(), lambda row: row.subject):
        parts.append(f"## {subject.capitalize()}")
        for row in rows:
            parts.append(
                f"**{row.head}** `{row.name}`{_unit(row)}: {row.meaning}.{told_of(row)}  \n"
                f"*Method:* {row.method}. *Source:* {row.source}."
            )
            if address := picture(row):
                parts.append(f"![{row.head}]({address})")
    return "\n\n".join(parts) + "\n"


def _unit(row: Characteristic) -> str:
    return f" [{row.unit}]" if row.unit else ""


def told_of(row: Characteristic) -> str:
    """What else is to be known of its value: what it is at, and whether it lies on a circle."""
    at = f" At a {row.needs_at}." if row.needs_at else ""
    return at + (f" Compared on a circle of {row.period:g} {row.unit}." if row.period else "")


def meant(words: str, unit: str, subjects: Collection[str]) -> Characteristic | None:
    """The characteristic that words name, by its name or its printed name and whatever follows that, such as a unit.

    Of several that of the unit, then that of a subject which is judged where the words stand.
    """
    words = " ".join(words.split())
    found = [row for row in all_characteristics() if words == row.name or f"{words} ".startswith(f"{row.head} ")]
    return max(found, key=lambda row: (len(row.head), row.unit == unit, row.subject in subjects), default=None)
