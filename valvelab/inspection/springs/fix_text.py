"""What stays at a position as `--fix` states it: `1I=Q07; shims 0.50 mm + 0.25 mm; packer none; keeper 1.27 mm`.

Names stand in quotes where they need it (`valvelab/quoting.py`).
"""

from __future__ import annotations

from valvelab.errors import BadQuantity, WrongUsage
from valvelab.inspection.springs.shim_case import Lock
from valvelab.inspection.springs.shim_work import Setting
from valvelab.quoting import cut, in_quotes, pieces, written
from valvelab.records.spring_readings import PartKind
from valvelab.units import parse_quantity


def lock_of(text: str) -> tuple[str, Lock]:
    """The position of such a text and what stays there: a spring, parts, or both."""
    position, rest = cut(text, "=") or ("", "")
    stated = pieces(rest, ";")
    if not (position and stated):
        raise WrongUsage(f'--fix {text!r}: expected POSITION=SPRING, such as "1I=Q07" or "1I=Q07; shims 0.50 mm"')
    spring: str | None = None
    parts: dict[PartKind, tuple[float, ...]] = {}
    for number, (piece, quoted) in enumerate(stated):
        word, _, sizes = piece.partition(" ")
        kind = None if quoted else _PARTS.get(word.casefold())
        if kind is not None and sizes:
            parts[kind] = _sizes(text, kind, sizes)
        elif number == 0:
            spring = piece
        else:
            raise WrongUsage(
                f"--fix {text!r}: found {piece!r}, expected shims, packer, keeper or retainer with its size"
            )
    return position, Lock(spring, parts)


def fix_text(setting: Setting) -> str:
    """The text that fixes all of a setting."""
    parts = Lock.of(setting).parts
    sizes = {kind: " + ".join(f"{size!r} mm" for size in found) or "none" for kind, found in parts.items()}
    told = "; ".join(f"{'shims' if kind == 'shim' else kind} {size}" for kind, size in sizes.items())
    spring = setting.spring
    called = in_quotes(spring) if spring.partition(" ")[0].casefold() in _PARTS else written(spring)
    return f"{written(setting.position)}={called}; {told}"


_PARTS: dict[str, PartKind] = {
    "shim": "shim", "shims": "shim", "packer": "packer", "keeper": "keeper", "keepers": "keeper",
    "retainer": "retainer",
}  # fmt: skip


def _sizes(text: str, kind: PartKind, sizes: str) -> tuple[float, ...]:
    """The sizes of a part, thickest first; none is an empty tuple."""
    if sizes.strip().casefold() == "none":
        return ()
    try:
        found = [
            parse_quantity(one.strip(), "length", kind) for one in (sizes.split("+") if kind == "shim" else [sizes])
        ]
    except BadQuantity as error:
        raise WrongUsage(f"--fix {text!r}: found {error.found}, expected {error.expected}") from None
    if kind in {"shim", "packer"} and min(found) <= 0.0:
        raise WrongUsage(f"--fix {text!r}: found {min(found):g} mm, expected thicknesses above 0")
    return tuple(sorted(found, reverse=True))
