"""Canonical values back to TOML, under the keys that their fields are read from."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from valvelab.records.typed import key_of


def toml_string(text: str) -> str:
    """A text as a basic string, which takes the escapes of a JSON string."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def toml_table(head: str, values: Mapping[str, Any]) -> str:
    """A table, or one of a list of tables, of the values by their fields' names."""
    return "\n".join([head, *toml_keys(values)])


def toml_keys(values: Mapping[str, Any]) -> list[str]:
    """`key = value` of what is stated, lengths with their unit; numbers are written in full."""
    return [f"{key_of(name)} = {_value(name, value)}" for name, value in values.items() if value is not None]


def _value(name: str, value: Any) -> str:
    if isinstance(value, tuple):
        return f"[{', '.join(_value(name, one) for one in value)}]"
    if isinstance(value, str):
        return toml_string(value)
    number = repr(value if isinstance(value, int) else float(value))
    return f'"{number} mm"' if name.endswith("_mm") else number
