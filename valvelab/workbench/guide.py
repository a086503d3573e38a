"""The guide: how-tos in Markdown as they are bundled, and the reference of characteristics made from their table."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from itertools import groupby
from types import MappingProxyType

from valvelab.inspection.characteristics import Characteristic, all_characteristics
from valvelab.language import marked, say
from valvelab.places import resources

REFERENCE, GALLERY = "characteristics", "gallery"
TITLES: Mapping[str, str] = MappingProxyType(
    {
        "degree_a_cam": marked("Degree a cam"),
        "match_a_tray": marked("Match a tray"),
        "check_a_lift": marked("Check a lift"),
        REFERENCE: marked("Characteristics"),
        "files": marked("Files"),
        "specs": marked("Specs"),
        "lift_check": marked("The lift-check sheet"),
        "results": marked("Commands and results"),
        "signing": marked("Signed certificates"),
        "records": marked("The record store"),
        "numbers": marked("How the numbers come about"),
        "python": marked("From Python"),
        GALLERY: marked("Gallery"),
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
    told = ""
    if row.needs_at:
        told += " " + (say("At a lift.") if row.needs_at == "lift" else say("At a height."))
    if row.period:
        told += " " + say("Compared on a circle of {size} {unit}.").format(size=f"{row.period:g}", unit=row.unit)
    return told


def meant(words: str, unit: str, subjects: Collection[str]) -> Characteristic | None:
    """The characteristic that words name, by its name or its printed name and whatever follows that, such as a unit.

    Of several that of the unit, then that of a subject which is judged where the words stand.
    """
    words = " ".join(words.split())
    heads = ((row, head) for row in all_characteristics() for head in {row.head, say(row.head)})
    found = [row for row, head in heads if words == row.name or f"{words} ".startswith(f"{head} ")]
    return max(found, key=lambda row: (len(row.head), row.unit == unit, row.subject in subjects), default=None)
