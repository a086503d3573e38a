"""Recovery files of version 0.2.0: choices by name, from which the states of the bays are made."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any, TypeVar

from valvelab.workbench.lobes_bay import LobesState
from valvelab.workbench.sets import AT_FIRST, Proof, SpringsState

Choices = Mapping[str, str | float | bool]
Value = TypeVar("Value")
_UNSET = -1e9
_PROOF = tuple(name for name in Proof.__dataclass_fields__ if name != "asked")


def states_of(choices: Mapping[str, Choices]) -> dict[str, dict[str, Any]]:
    """States as the recovery file has them now; ValueError where readings that were typed can't be read."""
    return {name: _STEPS[name](chosen) for name, chosen in choices.items() if name in _STEPS}


def _taken(choices: Choices, kind: type[Value], **named: str) -> dict[str, Value]:
    """Choices of a type under the names of fields; one of another type is left at its default."""
    return {field: value for field, name in named.items() if isinstance(value := choices.get(name), kind)}


def _switched(choices: Choices, mark: str, at_first: frozenset[str]) -> list[str]:
    """What is on of what each was switched by itself."""
    switches = {name.removeprefix(mark): on for name, on in choices.items() if name.startswith(mark)}
    return sorted(name for name in {*at_first, *switches} if switches.get(name, name in at_first))


def _lobes(choices: Choices) -> dict[str, Any]:
    return {
        **_taken(choices, str, lobe="lobe", map="map", page="list"),
        **_taken(choices, float, checking_lift_mm="checking_lift_mm"),
        "plots": _switched(choices, "plot ", LobesState().plots),
    }


def _springs(choices: Choices) -> dict[str, Any]:
    numbers = _taken(choices, float, size="size", time_limit_s="time_limit_s")
    if not numbers.get("size"):
        numbers.pop("size", None)
    limits = {name.removeprefix("limit "): value for name, value in choices.items() if name.startswith("limit ")}
    groupings = {
        name.removeprefix("grouping "): _grouping(str(text))
        for name, text in choices.items()
        if name.startswith("grouping ")
    }
    return {
        **_taken(choices, str, spring="spring", page="list"),
        **numbers,
        **_taken(choices, bool, thorough="thorough"),
        "plots": _switched(choices, "plot ", SpringsState().plots),
        "matched_by": _switched(choices, "match ", frozenset(AT_FIRST)),
        "limits": {name: value for name, value in limits.items() if value},
        "groupings": {readings: found for readings, found in groupings.items() if found is not None},
    }


def _grouping(text: str) -> dict[str, Any] | None:
    """Sets and what was proven of them; None where the text holds none."""
    try:
        found = json.loads(text)
        sets = [[str(name) for name in one] for one in found["sets"]]
        proof = dict(zip(_PROOF, found["proof"], strict=True)) if found["proof"] else None
        return {"sets": sets, "proof": proof, "edited": bool(found["edited"])}
    except (ValueError, TypeError, LookupError):
        return None


def _shaft(choices: Choices) -> dict[str, Any]:
    return _taken(choices, str, journal="journal", undulations="undulations", page="list")


def _texture(choices: Choices) -> dict[str, Any]:
    asked = _taken(choices, float, cutoff_mm="cutoff_mm", short_cutoff_um="short_cutoff_mm", sections="sections")
    kept = {name: value for name, value in asked.items() if value > 0.0 or (name == "short_cutoff_um" and value == 0.0)}
    if "short_cutoff_um" in kept:
        kept["short_cutoff_um"] = round(1000.0 * kept["short_cutoff_um"], 6)
    return kept


def _gauge(choices: Choices) -> dict[str, Any]:
    names = {name: f"plan {name}" for name in ("parts", "appraisers", "trials", "seed")}
    width = _taken(choices, float, tolerance="tolerance")
    return {
        **_taken(choices, str, page="list"),
        **_taken(choices, float, **names),
        **{name: value for name, value in width.items() if value > 0.0},
    }


def _phasing(choices: Choices) -> dict[str, Any]:
    sheets = {
        name.removeprefix("sheet").removeprefix(" "): text
        for name, text in choices.items()
        if name.startswith("sheet") and text
    }
    twice = [_cell(name) for name in choices if name.startswith("read twice ")]
    return {
        **_taken(choices, str, drawing="drawing", page="list", beside="new sheet beside"),
        "sheets": sheets,
        "read_twice": twice,
    }


def _cell(name: str) -> tuple[dict[str, Any], float]:
    """The cell and the value of `read twice pair 0 rising 78.5`."""
    part, row, field, value = name.removeprefix("read twice ").split(" ")
    return {"part": part, "row": int(row), "name": field}, float(value)


def _motion(choices: Choices) -> dict[str, Any]:
    names = {"lash_mm": "lash", "ratio": "ratio", "advance_deg": "advance", "seat_force_n": "seat"}
    tried = _taken(choices, float, **{field: f"trial {name}" for field, name in names.items()})
    trial = {name: value for name, value in tried.items() if value != _UNSET}
    valves = [name.removeprefix("read ") for name in choices if name.startswith("read ")]
    return {
        **_taken(choices, str, page="page", valve="valve"),
        **_taken(choices, bool, dynamic="dynamic"),
        "trial": {**trial, **_taken(choices, str, spring="trial spring")},
        "readings": {valve: _typed(choices, valve) for valve in valves if choices[f"read {valve}"] != "?"},
    }


def _typed(choices: Choices, valve: str) -> dict[str, Any]:
    """One valve's readings; `?` said that none were typed, a u of 0 that the indicator's is not known."""
    u = float(choices.get(f"u {valve}", 0.0))
    aside = [line.partition(" ") for line in str(choices.get(f"aside {valve}", "")).splitlines()]
    return {
        "values_mm": [float(word) for word in str(choices[f"read {valve}"]).split()],
        "u_mm": u if u > 0.0 else None,
        "set_aside": [(int(place), reason) for place, _, reason in aside],
    }


_STEPS = {
    "lobes": _lobes, "springs": _springs, "shaft": _shaft, "texture": _texture, "gauge": _gauge, "phasing": _phasing,
    "motion": _motion,
}  # fmt: skip
