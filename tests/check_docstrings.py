"""Reads the docstrings of the numerical rooms: shapes, units, refusals and sources are told, or the run fails.

Run `python tests/check_docstrings.py`. For every public function and method of the rooms below:

- arrays, taken or given, are told with their shape: `(n,)`, `(lobes, angles)`;
- numbers are told with their unit: by the name (`lift_mm`), in the docstring, or as a number without one ("ratio");
- what the function itself refuses is told: "Raises CannotEvaluate …";
- the function or its module says where the method comes from: "Source: …" ("common practice", "own" count).
"""

from __future__ import annotations

import ast
import re
import sys
from collections.abc import Iterator
from pathlib import Path

PACKAGE = Path(__file__).resolve().parent.parent / "valvelab"
ROOMS = ("lobe", "follower", "camshaft", "springs", "sets", "valve_motion", "phasing", "dynamics", "conformity")

ARRAY = re.compile(r"\b(Float|Int|Bool|Complex)Array\b|\bNDArray\b|\bndarray\b")
NUMBER = re.compile(r"(?<![\w.])float\b")
SHAPE = re.compile(r"\([\w +*\-/×…]*,[\w +*\-/×…, ]*\)|\b([Ss]hapes?|scalars?|any shape|same length)\b")
UNIT = re.compile(
    r"\b(mm|mm[²³]|µm|um|nm|cm|inch(es)?|kN|MPa|GPa|Pa|lbf|kg|ms|rad|radians?|[Dd]eg|degrees?|rpm|Hz|degC|N/mm|arcmin)\b|%|°"
    r"|(, |\b[Ii]n |\(|\. )(N|K|s|g|J|m|in)\b|\bunits? of\b"
    r"|\b([Nn]o|without|one|[Aa]ny|same|per|readings'|own) units?\b"
    r"|\b([Pp]lain numbers?|[Rr]atios?|[Ss]hares?|[Ff]actors?|[Pp]robabilit(y|ies)|0 to 1|counts?|[Ww]eights?)\b"
    r"|\b([Ss]tandard deviations?|degrees of freedom)\b"
)
NAMED_UNIT = re.compile(
    r"_(mm\d?|um|nm|n|kn|mpa|gpa|kg|g|s|ms|rad\d?|deg\d?|rpm|hz|k|degc|percent|ratio|share|factor|level|count|per_\w+"
    r"|n_per_mm|cam_deg\d?|crank_deg\d?)$"
)
REFUSAL = re.compile(r"\b(Raises|Refuses|refused|refusal)\b")
SOURCE = re.compile(r"\bSources?:")


def public_functions(tree: ast.Module) -> Iterator[ast.FunctionDef]:
    """Functions and methods whose names are public, with their class where they have one."""
    for node in tree.body:
        holders = node.body if isinstance(node, ast.ClassDef) and not node.name.startswith("_") else [node]
        for held in holders:
            if isinstance(held, ast.FunctionDef) and not held.name.startswith("_"):
                yield held


def lacks(function: ast.FunctionDef, module_text: str) -> list[str]:
    """What the docstring of a function leaves out."""
    text = ast.get_docstring(function)
    if text is None:
        return ["docstring"]
    arguments = [*function.args.posonlyargs, *function.args.args, *function.args.kwonlyargs]
    types = {a.arg: ast.unparse(a.annotation) for a in arguments if a.annotation is not None}
    given = "" if function.returns is None else ast.unparse(function.returns)
    property_like = any("property" in ast.unparse(row) for row in function.decorator_list)
    found = []
    if any(ARRAY.search(kind) for kind in (*types.values(), given)) and not SHAPE.search(text):
        found.append("shape")
    unnamed = [name for name, kind in types.items() if NUMBER.search(kind) or ARRAY.search(kind)]
    told = UNIT.search(text) is not None
    if any(not NAMED_UNIT.search(name) for name in unnamed) and not told:
        found.append("units")
    elif (NUMBER.search(given) or ARRAY.search(given)) and not (told or NAMED_UNIT.search(function.name)):
        found.append("unit of what it gives")
    raises = any(
        isinstance(node, ast.Raise) and node.exc is not None and "CannotEvaluate" in ast.unparse(node.exc)
        for node in ast.walk(function)
    )
    if raises and not REFUSAL.search(text):
        found.append("refusal")
    if not property_like and not SOURCE.search(text) and not SOURCE.search(module_text):
        found.append("source")
    return found


def complaints(rooms: tuple[str, ...] = ROOMS) -> list[str]:
    """One line a function that leaves something out."""
    lines = []
    for room in rooms:
        for path in sorted((PACKAGE / room).glob("*.py")):
            tree = ast.parse(path.read_text(encoding="utf-8"))
            module_text = ast.get_docstring(tree) or ""
            for function in public_functions(tree):
                if left_out := lacks(function, module_text):
                    place = f"{path.relative_to(PACKAGE.parent)}:{function.lineno}"
                    lines.append(f"{place}: {function.name}: {', '.join(left_out)}")
    return lines


def main() -> int:
    """Print every complaint; 1 where there is one."""
    found = complaints(tuple(sys.argv[1:]) or ROOMS)
    print("\n".join([*found, f"{len(found)} public functions leave something out"]))
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
