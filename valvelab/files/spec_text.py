"""Edits of a spec's text: one key, one row; every other line stays as it was typed, comments too.

    text = with_key(text, ("limit", 2), "max", "0.04 mm")
    text = with_row(text, "limit", {"of": "tir", "max": "0.04 mm"})

A table is named by its key and, in a list of tables, its place counted from 0: `("limit", 2)`, `("decision",)`; the
keys above all tables by `()`. Each edit is read back: where lines can't be changed one by one (tables written as inline
lists, texts over several lines), the whole is written anew from its keys, with the comment at its head.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from copy import deepcopy
from typing import Any

from valvelab.errors import BadSpec
from valvelab.files.spec_file import toml_keys_of
from valvelab.files.toml_text import toml_string

Table = tuple[()] | tuple[str] | tuple[str, int]
Keys = Mapping[str, Any]

_HEADER = re.compile(r"\s*(\[\[?)\s*([A-Za-z0-9_\-.]+)\s*\]\]?\s*(?:#.*)?")
_COMMENT = re.compile(r"""\s*(?:"(?:[^"\\]|\\.)*"|'[^']*'|[^#"']*)(\s*\#.*)""")
_PIECE = re.compile(r"\{[^{}]*\}")
_WIDE = 88


def spec_keys(text: str, file: str = "spec") -> dict[str, Any]:
    """What the text says, as TOML has it, quantities as they were typed; BadSpec where it is no TOML."""
    return toml_keys_of(text.encode(), file, BadSpec)


def with_key(text: str, table: Table, key: str, value: Any) -> str:
    """The text with another value at a key of a table; None takes the key out. A missing table is made."""
    wanted = deepcopy(spec_keys(text))
    here = _table(wanted, table)
    if value is None:
        here.pop(key, None)
    else:
        here[key] = value
    return _first_that_says(wanted, text, _with_line(text, table, key, value))


def with_row(text: str, name: str, row: Keys) -> str:
    """The text with one more row at the end of a list of tables."""
    wanted = deepcopy(spec_keys(text))
    wanted.setdefault(name, []).append(dict(row))
    lines = text.rstrip("\n").split("\n") if text.strip() else []
    starts = [first for first, last, where in _sections(lines) if where[:1] == (name,)]
    ends = [last for first, last, where in _sections(lines) if where[:1] == (name,)]
    at = _content_end(lines, starts[-1], ends[-1]) if ends else len(lines)
    block = _written(f"[[{name}]]", row)
    new = [*lines[:at], *([""] if at else []), *block, *lines[at:]]
    return _first_that_says(wanted, text, "\n".join(new) + "\n")


def without_row(text: str, name: str, number: int) -> str:
    """The text without one row of a list of tables."""
    wanted = deepcopy(spec_keys(text))
    del wanted[name][number]
    if not wanted[name]:
        del wanted[name]
    lines = text.split("\n")
    found = [(first, last) for first, last, where in _sections(lines) if where[:2] == (name, number)]
    if not found:
        return spec_toml(wanted, head_of(text))
    first, last = found[0][0], _content_end(lines, found[-1][0], found[-1][1])
    rest = lines[last:]
    while rest and not rest[0].strip() and (first == 0 or not lines[first - 1].strip()):
        rest = rest[1:]
    return _first_that_says(wanted, text, "\n".join([*lines[:first], *rest]).rstrip("\n") + "\n")


def with_moved_row(text: str, name: str, number: int, by: int) -> str:
    """The text with a row of a list of tables before or after its neighbour."""
    rows = spec_keys(text)[name]
    to = number + by
    if not 0 <= to < len(rows):
        return text
    wanted = deepcopy(spec_keys(text))
    wanted[name].insert(to, wanted[name].pop(number))
    lines = text.split("\n")
    spans: dict[str | int, list[tuple[int, int]]] = {}
    for first, last, where in _sections(lines):
        if len(where) > 1 and where[0] == name:
            spans.setdefault(where[1], []).append((first, _content_end(lines, first, last)))
    moved = ""
    if number in spans and to in spans:
        early, late = sorted((number, to))
        (a, b), (c, d) = ((spans[one][0][0], spans[one][-1][1]) for one in (early, late))
        moved = "\n".join([*lines[:a], *lines[c:d], *lines[b:c], *lines[a:b], *lines[d:]])
    return _first_that_says(wanted, text, moved)


def with_band_piece(text: str, envelope: int, number: int, piece: Keys) -> str:
    """The text with another piece in the band of an envelope; the comment behind it stays."""
    wanted = deepcopy(spec_keys(text))
    band = wanted["envelope"][envelope]["band"]
    band[number] = dict(piece)
    lines = text.split("\n")
    for first, last, where in _sections(lines):
        span = _span(lines, first, last, "band") if where == ("envelope", envelope) else None
        if span is not None:
            whole = "\n".join(lines[slice(*span)])
            pieces = list(_PIECE.finditer(whole))
            if number < len(pieces):
                start, end = pieces[number].span()
                changed = whole[:start] + _value(piece) + whole[end:]
                return _first_that_says(wanted, text, "\n".join([*lines[: span[0]], changed, *lines[span[1] :]]))
    return with_key(text, ("envelope", envelope), "band", band)


def comments_lost(old: str, new: str) -> bool:
    """Whether a text was written anew and comments of the old one went by it, other than that at its head."""
    remarks = [line for line in old.removeprefix(head_of(old)).split("\n") if "#" in line]
    return len(remarks) > 1 and not any("#" in line for line in new.removeprefix(head_of(new)).split("\n"))


def head_of(text: str) -> str:
    """The comment at the head of a text, as it stands."""
    lines: list[str] = []
    for line in text.split("\n"):
        if not line.lstrip().startswith("#"):
            break
        lines.append(line)
    return "\n".join(lines)


def spec_toml(keys: Keys, head: str = "") -> str:
    """A whole spec written anew from its keys, below a comment."""
    plain = {key: value for key, value in keys.items() if not _is_tables(value)}
    blocks = ["\n".join([*([head] if head else []), *_lines(plain)])]
    for key, value in keys.items():
        if isinstance(value, Mapping):
            blocks.append("\n".join(_written(f"[{key}]", value)))
        elif _is_tables(value):
            blocks += ["\n".join(_written(f"[[{key}]]", row)) for row in value]
    return "\n\n".join(block for block in blocks if block) + "\n"


def _first_that_says(wanted: Keys, old: str, changed: str) -> str:
    """The changed text where it says what is wanted, else the whole written anew."""
    try:
        if changed and tomllib.loads(changed) == wanted:
            return changed
    except tomllib.TOMLDecodeError:
        pass
    return spec_toml(wanted, head_of(old))


def _table(keys: dict[str, Any], table: Table) -> dict[str, Any]:
    here: Any = keys
    for part in table:
        here = here.setdefault(part, {}) if isinstance(part, str) and len(table) == 1 else here[part]
    assert isinstance(here, dict)
    return here


def _sections(lines: Sequence[str]) -> list[tuple[int, int, tuple[str | int, ...]]]:
    """First line, line after the last, and name of every table; a table in a row's table bears that row's place."""
    found: list[tuple[int, tuple[str | int, ...]]] = [(0, ())]
    counts: dict[str, int] = {}
    for number, line in enumerate(lines):
        match = _HEADER.fullmatch(line)
        if match is None:
            continue
        parts = match.group(2).split(".")
        if match.group(1) == "[[" and len(parts) == 1:
            counts[parts[0]] = counts.get(parts[0], -1) + 1
        name: tuple[str | int, ...] = (parts[0],)
        if parts[0] in counts:
            name = (parts[0], counts[parts[0]])
        found.append((number, (*name, *parts[1:])))
    ends = [number for number, _ in found[1:]] + [len(lines)]
    return [(first, end, where) for (first, where), end in zip(found, ends, strict=True)]


def _content_end(lines: Sequence[str], first: int, end: int) -> int:
    """The line after the last one of a table that says something; comments after it belong to what follows."""
    while end > first + 1 and (not lines[end - 1].strip() or lines[end - 1].lstrip().startswith("#")):
        end -= 1
    return end


def _span(lines: Sequence[str], first: int, last: int, key: str) -> tuple[int, int] | None:
    """The lines that a key stands in: as few as can be read."""
    start = re.compile(rf"\s*{re.escape(key)}\s*=")
    for number in range(first, last):
        if start.match(lines[number]):
            for end in range(number + 1, last + 1):
                try:
                    tomllib.loads("\n".join(lines[number:end]))
                except tomllib.TOMLDecodeError:
                    continue
                return number, end
    return None


def _with_line(text: str, table: Table, key: str, value: Any) -> str:
    lines = text.split("\n")
    line = [] if value is None else _lines({key: value})
    for first, last, where in _sections(lines):
        if where != table:
            continue
        span = _span(lines, first, last, key)
        if span is None:
            end = _content_end(lines, first, last) if first or table else _last_key(lines, first, last)
            return "\n".join([*lines[:end], *line, *lines[end:]])
        comment = _COMMENT.fullmatch(lines[span[0]].partition("=")[2])
        if line and comment is not None and span[1] == span[0] + 1:
            line = [line[0] + comment.group(1)]
        return "\n".join([*lines[: span[0]], *line, *lines[span[1] :]])
    if len(table) != 1 or value is None:
        return ""
    block = _written(f"[{table[0]}]", {key: value})
    sections = _sections(lines)
    at = sections[1][0] if len(sections) > 1 else len(lines)
    while at and lines[at - 1].lstrip().startswith("#") and at > 1:
        at -= 1
    return "\n".join([*lines[:at], *block, "", *lines[at:]])


def _last_key(lines: Sequence[str], first: int, last: int) -> int:
    """Where a key above all tables goes: after the last one there, or the comment at the head."""
    end = _content_end(["", *lines[first:last]], 0, last - first + 1) - 1
    if end <= first:
        while end < last and lines[end].lstrip().startswith("#"):
            end += 1
    return end


def _written(header: str, row: Keys) -> list[str]:
    return [header, *_lines(row)]


def _lines(row: Keys) -> list[str]:
    return [f"{key} = {_value(value, len(key) + 3)}" for key, value in row.items()]


def _value(value: Any, taken: int = 0) -> str:
    """A value of a spec as TOML; a list of tables has a line for each."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return toml_string(value)
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{key} = {_value(one)}" for key, one in value.items()) + " }"
    if isinstance(value, list | tuple):
        parts = [_value(one) for one in value]
        flat = f"[{', '.join(parts)}]"
        if len(flat) + taken <= _WIDE and not any(isinstance(one, Mapping) for one in value):
            return flat
        return "[\n" + "".join(f"    {part},\n" for part in parts) + "]"
    return repr(value)


def _is_tables(value: Any) -> bool:
    return isinstance(value, Mapping) or (
        isinstance(value, list) and bool(value) and all(isinstance(row, Mapping) for row in value)
    )
