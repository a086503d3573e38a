"""The record of each use's part, imported when it is wanted; `records.job` has them all at once."""

from __future__ import annotations

from importlib import import_module

from valvelab.records.parts.part import JobPart

KINDS = {
    "lobes": ("lobes", "LobesPart"),
    "shaft": ("shaft", "ShaftPart"),
    "texture": ("texture", "TexturePart"),
    "springs": ("springs", "SpringsPart"),
    "sets": ("springs", "SetsPart"),
    "shims": ("springs", "ShimsPart"),
    "lash": ("lash", "LashPart"),
    "phasing": ("phasing", "PhasingPart"),
    "motion": ("motion", "MotionPart"),
    "gauge": ("gauge", "GaugePart"),
    "compare": ("compare", "ComparePart"),
    "liftcheck": ("liftcheck", "LiftCheckPart"),
}
"""The use's name → its part's module and class."""


def part_kind(name: str) -> type[JobPart]:
    """The record of a use's part; KeyError for a name that is none."""
    module, kind = KINDS[name]
    found: type[JobPart] = getattr(import_module(f"{__package__}.{module}"), kind)
    return found
