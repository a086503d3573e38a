"""Measures within phrases, in the units that are shown: `0.035 mm above` becomes `0.0014 in above`.

A phrase is put together where no units are known, of canonical measures: a number at a place with its unit behind it
(`{off} mm`, `{low} to {high} mm`), or both at one place; or it says them itself (`1.27 mm`). Where inches stand beside
millimetres (`1.5 mm (0.060 in)`) those alone are shown. The result that keeps the phrase, and JSON, stay canonical.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping

from valvelab.language import show_measures
from valvelab.phrase import Phrase
from valvelab.units import System, display_unit

_UNIT = r"N/mm|N|MPa|kg|µm|mm(?:(?:/| )(?:cam|crank) deg[²³]?)?"
_END = r"(?![\w/²³·])"
_PLACE = re.compile(rf"\{{(?P<place>\w+)\}}(?: (?P<unit>{_UNIT}){_END})?")
_STATED = re.compile(rf"(?<![\w.,])(?P<size>\d+(?:[.,]\d+)?) (?P<unit>{_UNIT}){_END}(?: \((?P<inches>[\d.,]+ in)\))?")
_QUOTED = re.compile(r"(?<!\w)'[^']*'|\"[^\"]*\"")
_BOTH = re.compile(r"\{\w+\} in \((?P<metric>\{\w+\})\)")
_BETWEEN = frozenset({" and ", " to ", " or ", ", ", " und ", " bis ", " oder "})
"""Words between two numbers that share the unit behind the second."""
_NUMBER = r"[+\-−]?\d[\d,]*(?:\.\d+)?(?:e[+\-]?\d+)?"
_NUMBERS = re.compile(rf"[<>≤≥±]?{_NUMBER}(?:(?:, | and | to |; ){_NUMBER})*")
_FIGURE = re.compile(r"(?P<sign>[+\-−]?)(?P<size>\d+(?:,\d{3})*(?:\.(?P<decimals>\d+))?(?:e[+\-]?\d+)?)")
_MEASURE = re.compile(rf"(?P<numbers>{_NUMBERS.pattern}) (?P<unit>{_UNIT}){_END}(?P<rest>.*)")
_LEAST_FIGURES, _FIGURES_OF_WHOLE = 3, 4
"""Significant figures of what was rounded hardest, and of a whole number: sizes of 38 mm are exact."""
_THOUSANDTHS = 3
"""Decimals that an inch keeps though they are zero, as the trade counts it."""
_CANONICAL = {"µm": "um", "mm/cam deg²": "mm/cam deg2", "mm/cam deg³": "mm/cam deg3"}


def show_in(system: System) -> None:
    """Have phrases said in these units from now on."""
    show_measures(in_inches if system == "inch" else None)


def in_units(text: str, system: System) -> str:
    """A phrase in English with its measures in these units; any other text as it is."""
    if system == "metric" or not isinstance(text, Phrase):
        return text
    template, fields = in_inches(text.template, text.fields)
    return template.format(**{place: in_units(part, system) for place, part in fields.items()})


def in_inches(template: str, fields: Mapping[str, str]) -> tuple[str, Mapping[str, str]]:
    """A template and what stands at its places, with lengths in inches, forces in pounds and so on."""
    template = _with_stated(_BOTH.sub(r"\g<metric>", template))
    units = _units_of_places(template, fields)
    turned = {place: _turned(part, units.get(place, "")) for place, part in fields.items()}

    def unit_shown(found: re.Match[str]) -> str:
        unit = found["unit"]
        known = unit and units.get(found["place"])
        return (
            found[0].removesuffix(unit) + display_unit(_CANONICAL.get(unit, unit), "inch").label if known else found[0]
        )

    return _PLACE.sub(unit_shown, template), turned


def _with_stated(template: str) -> str:
    """A template whose own measures are turned, but not those that it quotes."""
    told, end = "", 0
    for quoted in _QUOTED.finditer(template):
        told += _STATED.sub(_stated, template[end : quoted.start()]) + quoted[0]
        end = quoted.end()
    return told + _STATED.sub(_stated, template[end:])


def _stated(found: re.Match[str]) -> str:
    """A measure that a template says itself."""
    unit, comma = _CANONICAL.get(found["unit"], found["unit"]), "," in found["size"]
    size = _turned(found["size"].replace(",", "."), unit)
    return found["inches"] or f"{size.replace('.', ',') if comma else size} {display_unit(unit, 'inch').label}"


def _units_of_places(template: str, fields: Mapping[str, str]) -> dict[str, str]:
    """The unit of the number at each place that has one: behind it, or behind the next number of its row."""
    found: dict[str, str] = {}
    after = None
    for place in reversed([*_PLACE.finditer(template)]):
        unit = place["unit"] or ""
        if not unit and after is not None and template[place.end() : after.start()] in _BETWEEN:
            unit = found.get(after["place"], "")
        if unit and _holds_numbers(fields.get(place["place"], "")):
            found[place["place"]] = unit
        after = place
    return found


def _holds_numbers(text: str) -> bool:
    if isinstance(text, Phrase):
        return bool(text.fields) and all(_holds_numbers(part) for part in text.fields.values())
    return _NUMBERS.fullmatch(text) is not None


def _turned(text: str, unit: str) -> str:
    """What stands at a place: numbers of the unit behind it, or a measure with a unit of its own."""
    if isinstance(text, Phrase):
        if not unit:
            return text
        return Phrase(text.template, **{place: _turned(part, unit) for place, part in text.fields.items()})
    if unit:
        return _FIGURE.sub(lambda found: _figure(found, _CANONICAL.get(unit, unit)), text)
    measure = _MEASURE.fullmatch(text)
    if measure is None:
        return text
    own = _CANONICAL.get(measure["unit"], measure["unit"])
    return f"{_turned(measure['numbers'], own)} {display_unit(own, 'inch').label}{measure['rest']}"


def _figure(found: re.Match[str], unit: str) -> str:
    """A number of a canonical unit in the unit that is shown, no surer than it was told."""
    size = float(found["size"].replace(",", "")) * display_unit(unit, "inch").scale
    if size == 0.0:
        return "0"
    told = found["size"].partition("e")[0].replace(",", "").replace(".", "").lstrip("0")
    least = _LEAST_FIGURES if found["decimals"] or unit == "um" else _FIGURES_OF_WHOLE
    decimals = max(0, max(len(told), least) - 1 - math.floor(math.log10(size)))
    kept = min(decimals, _THOUSANDTHS) if unit == "mm" else 0
    whole, _, after = f"{size:.{decimals}f}".partition(".")
    after = after[:kept] + after[kept:].rstrip("0")
    return found["sign"] + (f"{whole}.{after}" if after else whole)
