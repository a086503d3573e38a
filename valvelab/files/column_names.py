"""What column headers mean: title and unit taken apart, names compared as a reader would, the trade's words known.

A name is compared without case, punctuation and plural. What a word means depends on who asks: `No.` is the spring's
name to a table of springs and nothing to a lift table, so words are looked up by the name wanted (`rank`).
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from functools import lru_cache
from itertools import chain

from valvelab.errors import BadQuantity
from valvelab.frozen import frozen
from valvelab.units import FACTORS, Dimension, parse_quantity, split_quantity

# Other words for a column, best first; all of one rank mean the same, and two of them in one table are refused.
WORDS: dict[str, tuple[tuple[str, ...], ...]] = {
    "angle": (
        ("cam angle", "crank angle", "cam deg", "crank deg", "cam degree", "crank degree", "degree", "deg",
         "wheel angle", "angle cam", "angle crank", "camshaft angle", "crankshaft angle", "cad"),
    ),
    "lift": (("cam lift", "lobe lift", "follower lift", "tappet lift", "lifter lift"),),
    "lobe": (("lobe no", "lobe number", "lobe name", "lobe id", "cam lobe"),),
    "sweep": (("sweep no", "sweep number"),),
    "spring": (
        ("spring no", "spring number", "spring id", "spring name", "spring serial", "valve spring"),
        ("no", "number", "nr", "id", "item", "serial", "name"),
    ),
    "height": (("spring height", "test height", "compressed height", "checking height"),),
    "force": (
        ("load", "pressure", "spring force", "spring load", "spring pressure", "test load", "test force"),
        ("lbs", "lbf", "lb", "kgf"),
    ),
    "position": (("valve position", "valve no", "valve number", "valve", "pos"),),
    "stage": (("condition",),),
    "date": (("day", "measured on", "date measured", "test date"),),
    "squareness": (("out of square", "perpendicularity"),),
    "stroke": (("direction",),),
    "solid height": (("coil bind", "coil bind height", "height solid", "solid"),),
    "installed height": (("installed", "fitted height", "height installed", "assembled height"),),
    "free length": (("free height", "free", "length free"),),
    "offset": (("seat offset",),),
    "shims": (("shim", "shim fitted", "fitted shim"),),
    "packer": (("packer fitted", "fitted packer"),),
    "keeper": (("keeper offset", "keeper fitted", "lock offset", "collet offset"),),
    "retainer": (("retainer offset", "retainer fitted"),),
    "retainer to seal": (("retainer to guide", "seal clearance"),),
    "clearance": (("lash", "valve clearance", "measured clearance", "measured lash"),),
    "station": (("station no", "journal", "journal no", "bearing", "bearing no"),),
    "reading": (("dial reading", "indicator reading", "indicator", "dial", "probe"),),
    "part": (("part no", "part number", "sample", "piece"),),
    "appraiser": (("operator", "inspector"),),
    "trial": (("trial no", "repeat"),),
}  # fmt: skip

_INCH_MARKS = ('"', "”", "″", "''")
_UNIT_WORD = re.compile(r"(.*[^\s_\-.])[\s_]+([^\s_\d]+)\.?")
_LOBE_WORDS = {
    "intake": "I",
    "int": "I",
    "in": "I",
    "inlet": "I",
    "exhaust": "E",
    "exh": "E",
    "ex": "E",
    "i": "I",
    "e": "E",
}
_FILLING = {"lobe", "no", "number", "nr", "cyl", "cylinder", "valve", "cam", "lift"}
_AT = r"(?:(?:force|load|pressure)s?\s*(?:at|@)?\s*|(?:at|@)\s*)?"
_LENGTH = re.compile(_AT + r"([+\-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)\s*.*)", re.IGNORECASE)


@lru_cache(maxsize=4096)
def plain_name(title: str) -> str:
    """A title as it is compared: `Spring #` and `springs No.` are both `spring no`."""
    words = re.sub(r"[^\w]+|_+", " ", title.casefold().replace("#", " no ").replace("№", " no ")).split()
    return " ".join(_singular(word) for word in words) or title.strip().casefold()


def _singular(word: str) -> str:
    return word[:-1] if len(word) > 3 and word.endswith("s") and not word.endswith(("ss", "us", "is", "ous")) else word


def rank(wanted: str, name: str) -> int | None:
    """How well a plain name answers to a wanted one: 0 the name itself, then the trade's words; None not at all."""
    if name == wanted:
        return 0
    return next((place for place, words in enumerate(WORDS.get(wanted, ()), start=1) if name in words), None)


def answers_to(names: Iterable[str], wanted: str) -> bool:
    """Whether one of these plain names means the column wanted."""
    return any(rank(wanted, name) is not None for name in names)


_KNOWN = frozenset({"x", "z", "value", "element", "stage", "stroke", "sweep"}).union(WORDS, *chain(*WORDS.values()))


def is_known(title: str) -> bool:
    """Whether a header's title is a column of some table: a known name, a lobe, or a force at a height."""
    return plain_name(title) in _KNOWN or lobe_name(title) is not None or height_of(title) is not None


@lru_cache(maxsize=4096)
def lobe_name(title: str) -> str | None:
    """`1I`, `2E`, `1I2` for a lobe as people write it (`Intake 1`, `EX no.2`, `1 exh`); None for anything else."""
    compact = re.fullmatch(r"\s*(\d{1,3})\s*([IE])\s*(\d{0,2})\s*", title, re.IGNORECASE)
    if compact is not None:
        cylinder, kind, number = compact.groups()
        return f"{int(cylinder)}{kind.upper()}{number}" if int(cylinder) else None
    if re.search(r"\d[.,]\d", title):
        return None
    words = re.findall(r"[a-z]+|\d+", title.casefold())
    if len(re.sub(r"[^\w]|_", "", title)) != sum(map(len, words)):
        return None  # letters that are none of ours
    kept = [word for word in words if word not in _FILLING]
    numbers = [word for word in kept if word.isdigit()]
    kinds = [_LOBE_WORDS.get(word) for word in kept if not word.isdigit()]
    if len(kinds) != 1 or kinds[0] is None or not 1 <= len(numbers) <= 2 or any(len(one) > 2 for one in numbers):
        return None
    if kept[-1] == "in":
        return None  # `1 in` is a length
    return f"{int(numbers[0])}{kinds[0]}{int(numbers[1]) if len(numbers) > 1 else ''}" if int(numbers[0]) else None


@frozen
class HeaderHeight:
    """The height in `force at 1.800 in`: in mm, the unit as written (None without one)."""

    mm: float
    unit: str | None
    written: str


@lru_cache(maxsize=4096)
def height_of(title: str) -> HeaderHeight | None:
    """The height at which a column's forces were read; None where the title is no such thing.

    `force at 46` counts as 46 mm; a number alone needs its unit (`46 mm`, `1.800"`) to be a height.
    """
    match = _LENGTH.fullmatch(title.strip())
    if match is None:
        return None
    text = match.group(1).strip()
    for mark in _INCH_MARKS[1:]:
        text = text.replace(mark, '"')
    try:
        _, unit = split_quantity(text, "height")
        if not unit and match.group(1).strip() == title.strip():
            return None
        return HeaderHeight(parse_quantity(text, "length", "height"), unit or None, text)
    except BadQuantity:
        return None


def split_header(header: str) -> tuple[str, str | None]:
    """Title and unit of `lift [mm]`, `height (in)`, `load, lbf`, `lift "`, `force_N`, `crank deg`.

    Square brackets always hold a unit. Otherwise it counts only when it is a unit that is known, and a last word only
    when what stands before it is a known name.
    """
    header = " ".join(header.split())
    for opening, closing in ("[]", "()"):
        title, bracket, unit = header.rpartition(opening)
        if bracket and unit.endswith(closing):
            unit = unit.removesuffix(closing).strip()
            if closing == "]" or is_unit(unit):
                return _with_turn(title.strip(), unit or None)
    title, comma, unit = header.rpartition(",")
    if comma and is_unit(unit.strip()) and title.strip():
        return _with_turn(title.strip(), unit.strip())
    for mark in _INCH_MARKS:
        title = header.removesuffix(mark).strip()
        if title != header and title and not title[-1].isdigit():
            return title, '"'
    if rank("force", plain_name(header)) == len(WORDS["force"]) and is_unit(header, "force"):
        return header, header  # `lbs` is a force and its unit
    match = _UNIT_WORD.fullmatch(header)
    if match is not None and is_unit(match.group(2)) and is_known(match.group(1)) and not height_of(header):
        return _with_turn(*match.groups())
    return _with_turn(header, None)


def _with_turn(title: str, unit: str | None) -> tuple[str, str | None]:
    """An angle whose title says cam or crank carries it in its unit: `crank angle [deg]` is in crank deg."""
    name = plain_name(title)
    if rank("angle", name) is None:
        return title, unit
    turn = next((word for word in ("cam", "crank") if word in re.sub("shaft", "", name).split()), None)
    if name == "cad":
        turn = "crank"  # crank-angle degrees
    bare = unit
    if bare is None and name.split()[-1] in {"deg", "degree"}:
        bare = "deg"
    if turn is None or (bare is not None and {"cam", "crank"} & set(bare.lower().split())):
        return title, bare
    if bare is None or is_unit(bare, "angle"):
        return title, f"{turn} {bare or 'deg'}"
    return title, bare


def is_unit(text: str, dimension: Dimension | None = None) -> bool:
    """Whether a text is a unit, of one dimension or of any."""
    bare = re.sub(r"\b(cam|crank)\b", "", text.lower()).strip()
    tables = FACTORS.values() if dimension is None else (FACTORS[dimension],)
    return bool(bare) and any(bare in map(str.lower, units) for units in tables)


def are_units(cells: Sequence[str]) -> bool:
    """Whether a row below the header holds nothing but units: `deg; mm; mm`, bare or in brackets."""
    held = [cell for cell in cells if cell]
    return bool(held) and all(is_unit(bare_unit(cell)) for cell in held)


def bare_unit(cell: str) -> str:
    """A unit without the brackets round it."""
    cell = cell.strip()
    return cell[1:-1].strip() if len(cell) > 2 and cell[0] + cell[-1] in {"[]", "()"} else cell
