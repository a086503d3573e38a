"""Units at the edges: typed quantities and column units to canonical values, and back for display.

Canonical: mm, N, N/mm, MPa, kg, s, Hz, deg, degC, 1/min. Inside the program nothing else exists.
The conversion factors follow from the inch (25.4 mm) and the pound-force (4.4482216152605 N), both exact.
"""

from __future__ import annotations

import math
import re
from dataclasses import replace
from functools import lru_cache
from typing import Literal

from valvelab.errors import BadQuantity
from valvelab.frozen import frozen
from valvelab.language import figures, word

Dimension = Literal[
    "length", "force", "rate", "stress", "mass", "time", "frequency", "speed",
    "angle", "temperature", "number", "percent",
]  # fmt: skip
System = Literal["metric", "inch"]

INCH_MM = 25.4
POUND_FORCE_N = 4.4482216152605
POUND_KG = 0.45359237
PSI_MPA = POUND_FORCE_N / INCH_MM**2

CANONICAL: dict[Dimension, str] = {
    "length": "mm",
    "force": "N",
    "rate": "N/mm",
    "stress": "MPa",
    "mass": "kg",
    "time": "s",
    "frequency": "Hz",
    "speed": "rpm",
    "angle": "deg",
    "temperature": "degC",
    "number": "",
    "percent": "%",
}

FACTORS: dict[Dimension, dict[str, float]] = {
    "length": {"mm": 1.0, "um": 1e-3, "µm": 1e-3, "μm": 1e-3, "nm": 1e-6, "cm": 10.0, "m": 1000.0,
               "in": INCH_MM, "inch": INCH_MM, "inches": INCH_MM, '"': INCH_MM, "thou": INCH_MM / 1000.0,
               "uin": INCH_MM / 1e6, "µin": INCH_MM / 1e6, "μin": INCH_MM / 1e6},
    "force": {"N": 1.0, "kN": 1000.0, "lbf": POUND_FORCE_N, "lb": POUND_FORCE_N, "lbs": POUND_FORCE_N,
              "kgf": 9.80665},
    "rate": {"N/mm": 1.0, "N/m": 1e-3, "kN/m": 1.0, "lbf/in": POUND_FORCE_N / INCH_MM,
             "lb/in": POUND_FORCE_N / INCH_MM, "kgf/mm": 9.80665},
    "stress": {"MPa": 1.0, "N/mm2": 1.0, "N/mm²": 1.0, "Pa": 1e-6, "GPa": 1000.0, "psi": PSI_MPA,
               "ksi": 1000.0 * PSI_MPA, "kpsi": 1000.0 * PSI_MPA, "Mpsi": 1e6 * PSI_MPA},
    "mass": {"kg": 1.0, "g": 1e-3, "lb": POUND_KG, "oz": POUND_KG / 16.0},
    "time": {"s": 1.0, "ms": 1e-3, "min": 60.0},
    "frequency": {"Hz": 1.0, "kHz": 1000.0, "1/s": 1.0, "cpm": 1.0 / 60.0},
    "speed": {"rpm": 1.0, "1/min": 1.0, "rev/min": 1.0},
    "angle": {"deg": 1.0, "°": 1.0, "degree": 1.0, "degrees": 1.0, "rad": 180.0 / math.pi},
    "temperature": {"degC": 1.0, "°C": 1.0, "C": 1.0},
    "number": {"": 1.0},
    "percent": {"%": 1.0, "": 1.0},
}  # fmt: skip

LARGEST: dict[Dimension, float] = {
    "length": 1000.0, "force": 1e6, "rate": 1e6, "stress": 1e6, "mass": 1000.0, "time": 1e6, "frequency": 1e6,
    "speed": 1e6, "angle": 1e8, "temperature": 1e4, "number": 1e12, "percent": 1e6,
}  # fmt: skip
"""Greatest size of a quantity of a valvetrain part, canonical; what lies beyond was mistyped (ours; no source)."""

MEANT: dict[tuple[Dimension, str], str] = {
    ("force", "psi"): "lbf", ("force", "pounds"): "lbf", ("force", "pound"): "lbf", ("force", "#"): "lbf",
    ("force", "kg"): "kgf", ("force", "kilo"): "kgf", ("force", "lbs/in"): "lbf", ("force", "n/mm"): "N",
    ("rate", "lbs"): "lbf/in", ("rate", "lb"): "lbf/in", ("rate", "lbf"): "lbf/in", ("rate", "psi"): "lbf/in",
    ("rate", "lbs/in"): "lbf/in", ("rate", "lbs/inch"): "lbf/in", ("rate", "lb/inch"): "lbf/in", ("rate", "n"): "N/mm",
    ("rate", "kg/mm"): "kgf/mm", ("length", "th"): "thou", ("length", "mil"): "thou", ("length", "mils"): "thou",
    ("length", "tenths"): "in", ("length", "micron"): "um", ("length", "microns"): "um", ("length", "mic"): "um",
    ("stress", "bar"): "MPa", ("speed", "revs"): "rpm", ("speed", "r/min"): "rpm", ("temperature", "celsius"): "degC",
    ("temperature", "fahrenheit"): "degF",
}  # fmt: skip
"""What a person says and likely means; asked, never taken."""

_SIGN = r"[+\-−]?\s*"
_DECIMAL = r"(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+\-]?\d+)?"
_FRACTION = r"(?:(?P<whole>\d+)(?:\s+|-))?(?P<part>\d+)\s*[/⁄](?P<of>\d+)"
_QUANTITY = re.compile(rf"\s*(?P<sign>{_SIGN})(?:{_FRACTION}|(?P<decimal>{_DECIMAL}))\s*(?:[,;]\s*)?(?P<unit>.*?)\s*")
_NEGATIVE = frozenset("-−")


def split_quantity(text: str, field: str) -> tuple[float, str]:
    """Split `"0.050 in"` into its number and its unit (the unit may be empty).

    A decimal comma is read as a decimal point; `15/32 in` and `1 15/32 in` are fractions. A gauge that types sets its
    sign apart and its unit behind a comma: `+ 0.0275 IN`, `-0.0275,IN`. Refuses text without a leading finite number.
    """
    match = _QUANTITY.fullmatch(text)
    if match is None:
        raise BadQuantity(field, f"{text!r}", "a number, with or without a unit")
    decimal, of = match["decimal"], match["of"]
    if of is not None and int(of) == 0:
        raise BadQuantity(field, f"{text!r}", "a fraction of something")
    size = float(decimal.replace(",", ".")) if of is None else int(match["whole"] or 0) + int(match["part"]) / int(of)
    number = -size if match["sign"].strip() in _NEGATIVE else size
    if not math.isfinite(number):
        raise BadQuantity(field, f"{text!r}", "a finite number")
    return number, match["unit"]


def factor(unit: str, dimension: Dimension, field: str) -> float:
    """Canonical units per one `unit`; refuses a unit of another dimension with the field's name."""
    table = FACTORS[dimension]
    if unit in table:
        return table[unit]
    lowered = {name.lower(): value for name, value in table.items()}
    if unit.lower() in lowered:
        return lowered[unit.lower()]
    wanted = ", ".join(dict.fromkeys(name for name in table if name.isascii() and name not in {"", '"'}))
    meant = MEANT.get((dimension, unit.lower()))
    asked = f"; {meant}?" if meant else ""
    raise BadQuantity(field, f"unit {unit!r}", f"a {dimension} unit ({wanted}){asked}")


def parse_quantity(value: str | float, dimension: Dimension, field: str) -> float:
    """Canonical value of a quantity as a person types it: `"0.050 in"` → 1.27; a bare number is canonical.

    Refuses booleans, non-finite numbers and units of a wrong dimension, naming `field`.
    """
    if isinstance(value, bool):
        raise BadQuantity(field, f"{value!r}", f"a {dimension}")
    if isinstance(value, int | float):
        if not math.isfinite(value):
            raise BadQuantity(field, f"{value!r}", "a finite number")
        return float(value)
    if dimension == "temperature":
        return _temperature(value, field)
    number, unit = split_quantity(value, field)
    if not unit:
        return number
    return number * factor(unit, dimension, field)


def bounded(value: float, dimension: Dimension, field: str) -> float:
    """The canonical value; refuses one beyond what any valvetrain part has (`LARGEST`), naming `field`."""
    if abs(value) > LARGEST[dimension]:
        unit = CANONICAL[dimension]
        raise BadQuantity(field, f"{value:g} {unit}".rstrip(), f"at most {LARGEST[dimension]:g} {unit}".rstrip())
    return value


def _temperature(text: str, field: str) -> float:
    number, unit = split_quantity(text, field)
    if unit in {"°F", "degF", "F"}:
        return (number - 32.0) / 1.8
    if unit == "K":
        return number - 273.15
    return number * (factor(unit, "temperature", field) if unit else 1.0)


AngleKind = Literal["cam", "crank"]


def parse_angle(value: str | float, wanted: AngleKind, field: str) -> float:
    """Angle in cam or crank deg: `"232 crank deg"` asked for in cam degrees is 116; a bare number is in `wanted`."""
    if isinstance(value, bool | int | float):
        return parse_quantity(value, "angle", field)
    number, unit = split_quantity(value, field)
    words = unit.lower().split()
    kind: AngleKind = wanted
    for name in ("cam", "crank"):
        if name in words:
            words.remove(name)
            kind = "cam" if name == "cam" else "crank"
    scale = factor(" ".join(words), "angle", field) if words else 1.0
    return number * scale * angle_ratio(kind, wanted)


def angle_ratio(found: AngleKind, wanted: AngleKind) -> float:
    """1 cam deg = 2 crank deg."""
    if found == wanted:
        return 1.0
    return 2.0 if wanted == "crank" else 0.5


@frozen
class DisplayUnit:
    """How one dimension is shown: value shown = canonical × `scale`, with `decimals` decimals by default."""

    label: str
    scale: float
    decimals: int


_INCH_DISPLAY: dict[str, DisplayUnit] = {
    "mm": DisplayUnit("in", 1.0 / INCH_MM, 5),
    "um": DisplayUnit("µin", 1000.0 / INCH_MM, 1),
    "N": DisplayUnit("lbf", 1.0 / POUND_FORCE_N, 1),
    "N/mm": DisplayUnit("lbf/in", INCH_MM / POUND_FORCE_N, 1),
    "MPa": DisplayUnit("ksi", 1.0 / (1000.0 * PSI_MPA), 2),
    "kg": DisplayUnit("lb", 1.0 / POUND_KG, 4),
}
_DECIMALS = {
    "mm": 4, "um": 2, "N": 1, "N/mm": 2, "MPa": 0, "kg": 4, "Hz": 1, "rpm": 0, "%": 1,
    "mm cam deg": 2, "mm/cam deg": 5, "mm/cam deg2": 6, "mm/cam deg3": 7,
}  # fmt: skip
_INCH_MORE_DECIMALS = 1


def display_unit(unit: str, system: System) -> DisplayUnit:
    """Display unit for a canonical unit string, compound units (`mm/cam deg2`) included."""
    if system == "inch" and unit in _INCH_DISPLAY:
        return _INCH_DISPLAY[unit]
    plain = _in_english(unit, system)
    label = word(plain.label)
    return plain if label == plain.label else replace(plain, label=label)


@lru_cache(maxsize=256)
def _in_english(unit: str, system: System) -> DisplayUnit:
    if system == "inch" and unit.startswith(("mm ", "mm/")):
        decimals = _DECIMALS.get(unit, 4) + _INCH_MORE_DECIMALS
        return DisplayUnit(_raised("in" + unit.removeprefix("mm")), 1.0 / INCH_MM, decimals)
    label = "µm" if unit == "um" else _raised(unit)
    return DisplayUnit(label, 1.0, _DECIMALS.get(unit, 3 if "deg" in unit else 4))


def _raised(unit: str) -> str:
    return unit.removesuffix("2") + "²" if unit.endswith("deg2") else unit.replace("deg3", "deg³")


def show(value: float | None, unit: str, system: System = "metric", decimals: int | None = None) -> str:
    """Number as a reader sees it, without its unit; a true minus sign; an en dash for a missing value."""
    if value is None:
        return "–"
    display = display_unit(unit, system)
    text = f"{value * display.scale:.{display.decimals if decimals is None else decimals}f}"
    if text.startswith("-"):
        text = text[1:] if float(text) == 0.0 else "−" + text[1:]
    return figures(text)


def with_unit(value: float | None, unit: str, system: System, metric: int, inch: int) -> str:
    """The same with its unit, to so many decimals in either system."""
    return f"{show(value, unit, system, inch if system == 'inch' else metric)} {display_unit(unit, system).label}"


def as_stated(value: float, unit: str, system: System) -> str:
    """A size with its unit as it was stated: no more decimals than it has; in inches those of its unit."""
    if system == "metric":
        return f"{value:g} {display_unit(unit, system).label}"
    return with_unit(value, unit, system, 0, {"mm": 4, "um": 0}[unit])
