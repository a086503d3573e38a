"""Limits made of something: of what was measured ("this camshaft ± …"), or of the cam card of the worksheet."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import fmean
from types import MappingProxyType
from typing import Any, Literal

from valvelab.errors import BadQuantity, CannotEvaluate, Reason
from valvelab.inspection.characteristics import Characteristic
from valvelab.inspection.limits import ends
from valvelab.phasing.degreeing import Card
from valvelab.phasing.timing import lobe_kind
from valvelab.phrase import Phrase
from valvelab.records.result import Result, Verdict
from valvelab.records.spec import LimitSpec, Spec
from valvelab.units import LARGEST, System, bounded, display_unit, parse_quantity, split_quantity
from valvelab.workbench import bays
from valvelab.workbench.background import answer
from valvelab.workbench.document import TYPED, BenchFile, Content, Document
from valvelab.workbench.spec_choice import SPEC
from valvelab.workbench.spec_edit import SELECTED_BY, quantity
from valvelab.workbench.state import with_item

Spread = Literal["each", "kinds"]
"""A row for each item, or one for each kind with the mean of its items."""

_USUAL_SIDES: Mapping[str, tuple[str, str]] = {"mm": ("0.05 mm", "0.002 in"), "um": ("20 %", "20 %")}
_USUAL_AT = ("1.27 mm", "0.050 in")


@dataclass(frozen=True, slots=True)
class Wish:
    """A characteristic that a limit is wanted on, the lift or height it is judged at, and the size to either side.

    sides: a quantity, a share of what was measured (`5 %`), or a multiple of its standard uncertainty (`3 u`).
    """

    characteristic: Characteristic
    at_mm: float | None
    sides: str


def usual_sides(characteristic: Characteristic, units: System) -> str:
    """A tolerance to begin with."""
    if characteristic.dimension == "angle":
        return f"1 {characteristic.unit}"
    return _USUAL_SIDES.get(characteristic.unit, ("5 %", "5 %"))[units == "inch"]


def usual_at(characteristic: Characteristic, units: System) -> str:
    """A lift to begin with; heights are the part's own."""
    return _USUAL_AT[units == "inch"] if characteristic.needs_at == "lift" else ""


def wish_of(characteristic: Characteristic, at: str, sides: str, units: System) -> Wish:
    """A wish as it is typed; BadQuantity where it can't be read."""
    at_mm = None
    if characteristic.needs_at is not None:
        stated = at.strip() or "nothing"
        name = f"{characteristic.name} at"
        unit = "" if split_quantity(stated, name)[1] else f" {display_unit('mm', units).label}"
        at_mm = bounded(parse_quantity(stated + unit, "length", name), "length", name)
        if at_mm <= 0.0:
            raise BadQuantity(name, repr(at), f"a {characteristic.needs_at} above 0")
    number, unit = split_quantity(sides, f"{characteristic.name} ±")
    if number <= 0.0:
        raise BadQuantity(f"{characteristic.name} ±", repr(sides), "a size above 0")
    wish = Wish(characteristic, at_mm, sides.strip())
    if unit not in {"u", "%"}:
        _size(wish, 1.0, None, units)
    return wish


def from_part(document: Document, wishes: Sequence[Wish], spread: Spread, units: System) -> list[dict[str, Any]]:
    """Limits, as the spec keeps them, of what the bay in front measures now: each value rounded, with its tolerance.

    Inspects again, away from the window. Raises CannotEvaluate where nothing was measured.
    """
    result = _measured(document, wishes)
    rows: list[dict[str, Any]] = []
    for wish in wishes:
        found = [
            row
            for row in result.verdicts
            if (row.characteristic, row.at_mm) == (wish.characteristic.name, wish.at_mm) and row.measured is not None
        ]
        rows += [_limit(wish, items, group, units) for items, group in _groups(wish, found, spread, result)]
    if not rows:
        names = ", ".join(wish.characteristic.name for wish in wishes)
        raise CannotEvaluate(
            Reason.MISSING_INPUT, Phrase("limits from this part: {names}: nothing was measured", names=names)
        )
    return rows


def _measured(document: Document, wishes: Sequence[Wish]) -> Result:
    """The inspection of the bay in front with a limit on every wish that nothing can miss."""
    bay = bays.by_name(document.bay)
    assert bay is not None
    work = bays.work_of(bay.name)
    used = work.spec(document)
    wide = tuple(_wide(wish) for wish in wishes)
    plain = Spec(limit=wide) if used is None else Spec(fitting=used[1].fitting, camshaft=used[1].camshaft, limit=wide)
    file = BenchFile(f"{TYPED}measured/spec.toml", kind=SPEC, text="")
    asked = replace(
        document,
        files=(*document.files, file),
        contents=with_item(document.contents, file, Content(SPEC, plain)),
        current=MappingProxyType({**document.current, SPEC: file.path}),
    )
    question = work.question(asked)
    known = None if question is None else answer(question)
    value = None if known is None else known.value
    if work.at_once is not None:
        value = work.at_once(asked, value)
    if value is None:
        why = known.failure if known is not None and known.failure else Phrase("nothing lies there")
        raise CannotEvaluate(Reason.MISSING_INPUT, Phrase("limits from this part: {why}", why=why))
    return work.result(value)


def _wide(wish: Wish) -> LimitSpec:
    row = wish.characteristic
    if row.period is not None:
        low, high = (0.0, row.period) if row.subject == "lobe" else (-0.5 * row.period, 0.5 * row.period)
        return LimitSpec(of=row.name, at_mm=wish.at_mm, min=f"{low} {row.unit}", max=f"{high} {row.unit}")
    largest = LARGEST[row.dimension]
    return LimitSpec(of=row.name, at_mm=wish.at_mm, min=-largest, max=largest)


def _groups(
    wish: Wish, found: Sequence[Verdict], spread: Spread, result: Result
) -> list[tuple[str | list[str], list[Verdict]]]:
    """The items of each row that is made, with what was measured of them."""
    if not found:
        return []
    if wish.characteristic.subject not in SELECTED_BY:
        return [("all", list(found))]
    if spread == "each" or wish.characteristic.period is not None:  # the mean of places on a circle says nothing
        return [([row.item], [row]) for row in found]
    kinds = {row.lobe: row.kind for name in ("lobes", "valves") for row in getattr(result, name, ())}
    by_kind: dict[str, list[Verdict]] = {}
    for row in found:
        by_kind.setdefault(kinds.get(row.item) or "all", []).append(row)
    if "all" in by_kind and len(by_kind) > 1:
        return [("all", list(found))]
    return list(by_kind.items())


def _limit(wish: Wish, items: str | list[str], rows: Sequence[Verdict], units: System) -> dict[str, Any]:
    values = [row.measured for row in rows if row.measured is not None]
    known = [row.standard_uncertainty for row in rows if row.standard_uncertainty is not None]
    nominal = fmean(values)
    size = _size(wish, nominal, max(known, default=None), units)
    key = SELECTED_BY.get(wish.characteristic.subject)
    relative = split_quantity(wish.sides, key or "")[1] in {"u", "%"} and wish.characteristic.dimension != "percent"
    sides = _typed(size, size, wish.characteristic, units) if relative else _stated(wish, units)
    return {
        "of": wish.characteristic.name,
        **({key: items} if key is not None and items != "all" else {}),
        **({"at": _length(wish.at_mm, units)} if wish.at_mm is not None else {}),
        "nominal": _typed(nominal, size, wish.characteristic, units),
        "below": sides,
        "above": sides,
    }


def _size(wish: Wish, nominal: float, u: float | None, units: System) -> float:
    """The tolerance in the characteristic's unit."""
    name = f"{wish.characteristic.name} ±"
    number, unit = split_quantity(wish.sides, name)
    if unit == "u":
        if u is None:
            raise BadQuantity(name, repr(wish.sides), "a size: no uncertainty is known")
        return number * u
    if unit == "%" and wish.characteristic.dimension != "percent":
        return abs(nominal) * number / 100.0
    stated = _stated(wish, units)
    limit = LimitSpec(of=wish.characteristic.name, nominal=0.0, below=stated, above=stated)
    size = ends(limit, wish.characteristic, name)[1]
    assert size is not None
    return size


def _stated(wish: Wish, units: System) -> Any:
    return quantity(wish.sides, wish.characteristic, units)


def _typed(value: float, size: float, characteristic: Characteristic, units: System) -> Any:
    """A value as a person would type it: in the unit shown, to a tenth of the tolerance's first figure."""
    display = display_unit(characteristic.unit, units)
    decimals = max(0, 1 - math.floor(math.log10(size * display.scale))) if size > 0.0 else display.decimals
    return quantity(f"{value * display.scale:.{decimals}f}", characteristic, units)


def _length(at_mm: float, units: System) -> str:
    display = display_unit("mm", units)
    return f"{at_mm * display.scale:.6g} {display.label}"


def from_card(card: Card, bay: str, sides: str) -> list[dict[str, Any]]:
    """Limits of a cam card with a tolerance in degrees of the crank: centrelines or the separation, and durations.

    The camshaft bay has no dead centre: there the card's centrelines are their lobe separation. Raises CannotEvaluate
    for a card with nothing on it, BadQuantity for a tolerance that is none.
    """
    tolerance = parse_quantity(sides.replace("crank", "").strip(), "angle", "±")
    if tolerance <= 0.0:
        raise BadQuantity("±", repr(sides), "an angle above 0")
    crank = {"below": f"{tolerance:g} crank deg", "above": f"{tolerance:g} crank deg"}
    intake, exhaust = card.centreline("intake"), card.centreline("exhaust")
    rows: list[dict[str, Any]] = []
    if bay == "phasing":
        known = (("intake_centreline", intake), ("exhaust_centreline", card.exhaust_centreline_deg))
        rows = [{"of": name, "nominal": f"{angle:g} crank deg", **crank} for name, angle in known if angle is not None]
    elif intake is not None and exhaust is not None:
        half = f"{0.5 * tolerance:g} cam deg"
        separation = f"{0.5 * (intake - exhaust):g} cam deg"
        rows = [{"of": "lobe_separation", "nominal": separation, "below": half, "above": half}]
    for one in card.duration:
        lobes = {"lobes": [one.lobe] if bay == "phasing" else lobe_kind(one.lobe) or [one.lobe]}
        nominal = f"{one.value_crank_deg:g} crank deg"
        rows.append({"of": "duration", **lobes, "at": f"{one.at_mm:g} mm", "nominal": nominal, **crank})
    if not rows:
        said = Phrase(
            "limits from the card: nothing stands on it; type centrelines and durations in the Phasing worksheet"
        )
        raise CannotEvaluate(Reason.MISSING_INPUT, said)
    return rows
