"""Edits of a spec's text by what a person typed in the cells of one row.

Each gives the new text. It raises `Unfinished` where the row still lacks something, and another ValvelabError with its
sentence where what was typed can't stand.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from difflib import get_close_matches
from typing import Any, Literal

from valvelab.errors import BadQuantity, BadSpec, ValvelabError
from valvelab.files.spec_file import nominal_path, parse_toml
from valvelab.files.spec_text import spec_keys, spec_toml, with_band_piece, with_key, with_row
from valvelab.inspection.characteristics import Characteristic, all_characteristics, named
from valvelab.inspection.judging import ENVELOPE
from valvelab.inspection.limits import readings_of
from valvelab.phrase import Phrase
from valvelab.records.spec import LimitSpec, Spec
from valvelab.units import INCH_MM, System, display_unit, parse_quantity, split_quantity

Column = Literal["of", "items", "at", "nominal", "sides", "min", "max", "clause"]
COLUMNS: tuple[Column, ...] = ("of", "items", "at", "nominal", "sides", "min", "max", "clause")
Cells = Mapping[str, str]
Keys = Mapping[str, Any]

_SELECTIONS = ("lobes", "springs", "stations", "valves")
SELECTED_BY = {"lobe": "lobes", "event": "lobes", "valve": "valves", "spring": "springs", "station": "stations"}
_OTHER_FORM = {
    **dict.fromkeys(("nominal", "sides"), ("min", "max")),
    **dict.fromkeys(("min", "max"), ("nominal", "below", "above")),
}
_ORDER = tuple(info.alias or name for name, info in LimitSpec.model_fields.items())
_STEP_MM, _STEP_IN = 0.001, 0.00005 * INCH_MM
_SIDE = re.compile(r"\s*([+\-−])\s*([^+\-−/]+)/?")
_NEAREST = 4
_SEVERAL = re.compile(r"\s*[,;]\s*|\s+")


class Unfinished(ValvelabError):
    """A row that still lacks something; the sentence says what."""


class UnknownCharacteristic(ValvelabError):
    """A word that names no characteristic of what is inspected; the sentence names the nearest."""

    def __init__(self, of: str, near: Sequence[str]) -> None:
        told = Phrase("no characteristic is called {of}", of=repr(of))
        super().__init__(Phrase("{told}; nearest: {near}", told=told, near=", ".join(near)) if near else told)


def offered(subjects: Collection[str], *, envelope: bool = False) -> tuple[Characteristic, ...]:
    """The characteristics that limits may be on, by subject in their order; an envelope is no limit."""
    return tuple(row for row in all_characteristics() if answers(row, subjects) and (envelope or row.name != ENVELOPE))


def answers(row: Characteristic, subjects: Collection[str]) -> bool:
    """Whether limits on a characteristic are among these subjects."""
    return row.subject in subjects or f"{row.subject} {row.name}" in subjects


def meant(of: str, subjects: Collection[str]) -> Characteristic | None:
    """The characteristic that a name means among these subjects."""
    return next((row for row in offered(subjects) if row.name == of), None)


def limit_cells(limit: Keys, characteristic: Characteristic | None, units: System) -> dict[str, str]:
    """The cells of a limit as they are typed; a bare number stands with the unit that it counts in."""
    unit = "" if characteristic is None else characteristic.unit

    def shown(key: str, unit: str = unit) -> str:
        value = limit.get(key)
        if value is None or isinstance(value, str):
            return value or ""
        return bare(float(value), unit, units)

    key = _selection_key(limit, characteristic)
    selected = limit.get(key, "all") if key else "–"
    return {
        "of": str(limit.get("of", "")),
        "items": selected if isinstance(selected, str) else ", ".join(map(str, selected)),
        "at": shown("at", "mm"),
        "nominal": shown("nominal"),
        "sides": _sides_text(shown("below"), shown("above")),
        "min": shown("min"),
        "max": shown("max"),
        "clause": str(limit.get("clause", "")),
    }


def bare(value: float, unit: str, units: System) -> str:
    """A number that stands without a unit: its unit beside it, a compound one as the window shows it."""
    display = display_unit(unit, units if _compound(unit) else "metric")
    return f"{value * display.scale:.{9 if display.scale == 1.0 else 5}g} {display.label}".rstrip()


def _compound(unit: str) -> bool:
    return unit.startswith(("mm ", "mm/"))


def _sides_text(below: str, above: str) -> str:
    if below == above:
        return below
    return " ".join(sign + size for sign, size in (("+", above), ("−", below)) if size)


def _selection_key(limit: Keys, characteristic: Characteristic | None) -> str:
    own = "" if characteristic is None else SELECTED_BY.get(characteristic.subject, "")
    return next((key for key in _SELECTIONS if key in limit and limit[key] != "all"), own)


def with_limit(text: str, number: int | None, typed: Cells, subjects: Collection[str], units: System) -> str:
    """The text after cells of a limit were typed; None for a row that is new, which comes last.

    Cells that are not in `typed` stay. A nominal typed into a row with min or max takes their place, and the other way
    round. Raises Unfinished, BadQuantity, BadSpec.
    """
    rows = spec_keys(text).get("limit", [])
    old: Keys = {} if number is None else rows[number]
    row = _typed_limit(old, typed, subjects, units)
    checked(row, subjects)
    if number is None:
        return with_row(text, "limit", row)
    for key in (*(key for key in old if key not in row), *row):
        if old.get(key) != row.get(key):
            text = with_key(text, ("limit", number), key, row.get(key))
    return text


def with_rows(text: str, rows: Sequence[Keys]) -> str:
    """The text with more limits at its end."""
    for row in rows:
        text = with_row(text, "limit", row)
    return text


def _typed_limit(old: Keys, typed: Cells, subjects: Collection[str], units: System) -> dict[str, Any]:
    row = dict(old)
    of = typed["of"].strip() if "of" in typed else str(old.get("of", ""))
    if not of:
        raise Unfinished("still to type: a characteristic")
    characteristic = _known(of, subjects)
    row["of"] = of
    for column, text in typed.items():
        stated = text.strip()
        if stated:
            _leave(row, _OTHER_FORM.get(column, ()))
        if column == "items":
            _select(row, stated, characteristic)
        elif column != "of":
            for key, value in _keys_of(column, stated, characteristic, units).items():
                _set(row, key, value)
    return {key: row[key] for key in _ORDER if key in row}


def _keys_of(column: str, stated: str, characteristic: Characteristic, units: System) -> dict[str, Any]:
    """What a cell says, under the keys of the spec."""
    if column == "sides":
        below, above = _sides(stated, characteristic, units)
        return {"below": below, "above": above}
    if column == "at":
        return {"at": _at(stated, units)}
    return {column: (stated or None) if column == "clause" else quantity(stated, characteristic, units)}


def _leave(row: dict[str, Any], keys: Sequence[str]) -> None:
    for key in keys:
        row.pop(key, None)


def _set(row: dict[str, Any], key: str, value: Any) -> None:
    if value is None:
        row.pop(key, None)
    else:
        row[key] = value


def _known(of: str, subjects: Collection[str]) -> Characteristic:
    known = meant(of, subjects)
    if known is not None:
        return known
    elsewhere = named(of)
    if elsewhere:
        raise BadQuantity(of, f"a characteristic of a {elsewhere[0].subject}", "one of what is inspected here")
    names = [row.name for row in offered(subjects)]
    raise UnknownCharacteristic(of, nearest(of, names))


def nearest(typed: str, names: Sequence[str]) -> tuple[str, ...]:
    """Names that a word may have been meant for: those that hold it first, then those written nearly so."""
    word = typed.lower().replace(" ", "_")
    holding = [name for name in names if word in name]
    return tuple(dict.fromkeys([*holding, *get_close_matches(word, names, n=_NEAREST, cutoff=0.5)]))[:_NEAREST]


def _select(row: dict[str, Any], text: str, characteristic: Characteristic) -> None:
    key = _selection_key(row, characteristic) or SELECTED_BY.get(characteristic.subject, "")
    _leave(row, _SELECTIONS)
    if text in {"", "all", "–"}:
        return
    if not key:
        raise BadQuantity("items", repr(text), f"none: {characteristic.name} is of the whole {characteristic.subject}")
    row[key] = selection(text)


def selection(text: str) -> str | list[str]:
    """Items as they are typed: all, a kind, or names with commas or spaces between."""
    names = [name for name in _SEVERAL.split(text.strip()) if name]
    return names[0] if len(names) == 1 and names[0] in {"all", "intake", "exhaust"} else names


def _at(text: str, units: System) -> Any:
    if not text:
        return None
    return text if split_quantity(text, "at")[1] else f"{text} {display_unit('mm', units).label}"


def quantity(text: str, characteristic: Characteristic, units: System) -> Any:
    """A value as the spec keeps it: as it was typed, its unit beside it; a bare number is in the unit shown.

    None for nothing typed. What has no unit, or a compound one, stays a plain number.
    """
    if not text:
        return None
    number, stated = split_quantity(text, characteristic.name)
    display = display_unit(characteristic.unit, units)
    if _compound(characteristic.unit):
        if stated and stated not in {display.label, characteristic.unit}:
            raise BadQuantity(characteristic.name, f"unit {stated!r}", display.label)
        scale = display.scale if stated != characteristic.unit else 1.0
        return float(f"{number / scale:.9g}")
    if characteristic.dimension in {"number", "percent"} and not stated:
        return int(number) if number.is_integer() else number
    return text if stated else f"{text} {display.label}"


def _sides(text: str, characteristic: Characteristic, units: System) -> tuple[Any, Any]:
    """Sizes below and above a nominal: one for both, or each with its sign."""
    if not text:
        return None, None
    parts = _SIDE.findall(text) if _SIDE.match(text) else []
    if not parts:
        size = quantity(text, characteristic, units)
        return size, size
    sizes = {"+" if sign == "+" else "−": size.strip() for sign, size in parts}
    if len(sizes) != len(parts) or "".join(_SIDE.sub("", text).split()) or set(sizes) == {"−"}:
        expected = "a size of 0 or more, or both sides such as +0.05 −0.02"
        raise BadQuantity("±", repr(text), expected)
    unit = next((found for size in sizes.values() if (found := split_quantity(size, "±")[1])), "")
    whole = {sign: size if split_quantity(size, "±")[1] else f"{size} {unit}".strip() for sign, size in sizes.items()}
    below, above = (whole.get(sign, "") for sign in ("−", "+"))
    return quantity(below, characteristic, units), quantity(above, characteristic, units)


def checked(limit: Keys, subjects: Collection[str]) -> None:
    """Refuses a limit that lacks something or can't be read."""
    characteristic = _known(str(limit.get("of", "")), subjects)
    missing = []
    if characteristic.needs_at is not None and "at" not in limit:
        missing.append(f"at, the {characteristic.needs_at} it is judged at")
    if "nominal" in limit and not {"below", "above"} & limit.keys():
        missing.append("± beside the nominal")
    if not {"nominal", "below", "above", "min", "max"} & limit.keys():
        missing.append("a nominal with ±, or min or max")
    if {"below", "above"} & limit.keys() and "nominal" not in limit:
        missing.append("the nominal")
    if missing:
        raise Unfinished(f"still to type: {' and '.join(missing)}")
    (stated,) = spec_of({"limit": [limit]}).limit
    try:
        readings_of(1, stated, "spec")
    except BadSpec as refusal:
        raise _without_place(refusal) from None


def spec_of(keys: Keys) -> Spec:
    """The spec that keys say; BadQuantity where they say none."""
    try:
        return parse_toml(spec_toml(keys).encode(), "spec", Spec, BadSpec)
    except BadSpec as refusal:
        raise _without_place(refusal) from None


def _without_place(refusal: BadSpec) -> BadQuantity:
    """The refusal of a row that stands by itself: without the row's number, which says nothing there."""
    where = re.sub(r"^\[\[?(?:limit|envelope)\]?\]( 1)? ?", "", refusal.place) or "limit"
    return BadQuantity(where, refusal.found, refusal.expected)


def with_band(text: str, number: int, piece: int, column: str, typed: str, units: System, path: str) -> str:
    """The text after a cell of an envelope's row was typed; `path`: where the spec lies. Raises BadQuantity."""
    envelope = dict(spec_keys(text)["envelope"][number])
    stated = typed.strip()
    if column in {"from", "to", "below", "above"}:
        value: Any
        if column in {"from", "to"}:
            value = parse_quantity(stated.removesuffix("deg").removesuffix("cam ").strip(), "number", column)
        else:
            value = _at(stated, units)
        band = [dict(one) for one in envelope["band"]]
        band[piece] = {**band[piece], column: value}
        _check_envelope({**envelope, "band": band}, path)
        return with_band_piece(text, number, piece, band[piece])
    key = "lobes" if column == "items" else column
    if key == "lobes":
        found: Any = None if stated in {"", "all"} else selection(stated)
    elif key == "fit":
        found = [name for name in _SEVERAL.split(stated) if name]
    else:
        found = stated or None
    changed = dict(envelope)
    _set(changed, key, found)
    _check_envelope(changed, path)
    return with_key(text, ("envelope", number), key, found)


def with_side(
    text: str, number: int, piece: int, side: Literal["below", "above"], size_mm: float, units: System
) -> str:
    """The text with an edge of an envelope's band at a size, to a round step of the unit that it was typed in."""
    old = dict(spec_keys(text)["envelope"][number]["band"][piece])
    stated = split_quantity(old[side], side)[1] if isinstance(old.get(side), str) else ""
    unit = stated or display_unit("mm", units).label
    one = parse_quantity(f"1 {unit}", "length", side)
    step = (_STEP_IN if unit.lower().startswith(("in", "th", '"')) else _STEP_MM) / one
    size = round(max(0.0, size_mm) / one / step) * step
    return with_band_piece(text, number, piece, {**old, side: f"{size:.6g} {unit}"})


def with_envelope(text: str, nominal: str, lobes: str, path: str, units: System) -> str:
    """The text with one more envelope about a nominal lift table: one band from −60 to 60 cam deg, ± 0.05 mm."""
    size = "0.002 in" if units == "inch" else "0.05 mm"
    envelope: dict[str, Any] = {} if lobes == "all" else {"lobes": selection(lobes)}
    band = [{"from": -60.0, "to": 60.0, "below": size, "above": size}]
    envelope |= {"nominal": nominal, "fit": ["angle"], "band": band}
    _check_envelope(envelope, path)
    return with_row(text, "envelope", envelope)


def with_split_piece(text: str, number: int, piece: int) -> str:
    """The text with a piece of a band divided in the middle, to be given sizes of their own."""
    band = [dict(one) for one in spec_keys(text)["envelope"][number]["band"]]
    first, last = (parse_quantity(band[piece][key], "angle", key) for key in ("from", "to"))
    middle = float(f"{0.5 * (first + last):.6g}")
    band[piece : piece + 1] = [{**band[piece], "to": middle}, {**band[piece], "from": middle}]
    return with_key(text, ("envelope", number), "band", band)


def without_piece(text: str, number: int, piece: int) -> str:
    """The text without a piece of a band."""
    band = [dict(one) for one in spec_keys(text)["envelope"][number]["band"]]
    return with_key(text, ("envelope", number), "band", [*band[:piece], *band[piece + 1 :]])


def _check_envelope(envelope: Keys, path: str) -> None:
    (stated,) = spec_of({"envelope": [envelope]}).envelope
    try:
        nominal_path(path, stated)
    except BadSpec as refusal:
        raise _without_place(refusal) from None


Head = Literal["title", "revision", "rule", "confidence", "installed_height", "valve_lift"]
_HEADS: dict[str, tuple[str, ...]] = {
    "title": (), "revision": (), "rule": ("decision",), "confidence": ("decision",),
    "installed_height": ("fitting",), "valve_lift": ("fitting",),
}  # fmt: skip


def head_value(keys: Keys, name: Head) -> str:
    """What stands at the head of a spec, as it is typed; a confidence in percent."""
    table = _HEADS[name]
    here = keys.get(table[0], {}) if table else keys
    value = here.get(name) if isinstance(here, Mapping) else None
    if name == "confidence":
        return f"{100.0 * float(0.95 if value is None else value):.6g} %"
    if name == "rule":
        return str(value or "guarded")
    if value is not None and not isinstance(value, str):
        return bare(float(value), "mm", "metric")
    return str(value or "")


def with_head(text: str, name: Head, typed: str, units: System) -> str:
    """The text with another title, revision, decision rule, confidence or height. Raises BadQuantity."""
    stated, table = typed.strip(), _HEADS[name]
    value: Any = stated or None
    if name == "confidence" and stated:
        share = parse_quantity(stated, "percent", "confidence")
        value = float(f"{share / 100.0 if share > 1.0 else share:.9g}")
    elif table == ("fitting",) and stated:
        value = _at(stated, units)
    if value is not None:
        spec_of({table[0]: {name: value}} if table else {name: value})
    return with_key(text, table, name, value)  # type: ignore[arg-type]
