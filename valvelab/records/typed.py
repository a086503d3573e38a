"""Records that a person types: a field's name carries its unit, its key in the file does not."""

from __future__ import annotations

import re

from pydantic import ConfigDict

from valvelab.records.result import Record

_UNIT = re.compile(r"_(?:n_per_mm|mm|um|n|mpa|kg|hz|rpm|(?:cam_|crank_)?deg)$")


def key_of(field: str) -> str:
    """The key in a file of a field: its name without the unit."""
    return _UNIT.sub("", field)


class Typed(Record):
    """Base of what a person types; made by field names in the program, by keys in a file."""

    model_config = ConfigDict(alias_generator=key_of, validate_by_name=True, validate_by_alias=True)
