"""Holds texts of a paper against those drawn again: every word the same, every number within rounding."""

from __future__ import annotations

import re
from collections.abc import Iterator

from valvelab.records.certificate_result import Difference

_DECIMAL = re.compile(r"([^\d+\-]*)([+\-]?\d+)(?:\.(\d+))?([^\d]*)")
LONGEST = 120


def difference(where: str, stated: object, recomputed: object) -> Difference:
    """One place where two papers disagree, in few words."""
    return Difference(where=where, stated=_short(stated), recomputed=_short(recomputed))


def _short(value: object) -> str:
    text = "nothing" if value is None else f"{value:.9g}" if isinstance(value, float) else str(value)
    return text if len(text) <= LONGEST else text[: LONGEST - 1] + "…"


def compare_texts(stated: str, recomputed: str, where: str) -> Iterator[Difference | None]:
    """Two texts word by word; a number may differ by one unit of its last decimal."""
    one, other = stated.split(), recomputed.split()
    if len(one) != len(other):
        place = next((i for i, pair in enumerate(zip(one, other, strict=False)) if not _agree(*pair)), 0)
        yield difference(where, " ".join(one[place : place + 6]), " ".join(other[place : place + 6]))
        return
    for first, second in zip(one, other, strict=True):
        yield None if _agree(first, second) else difference(where, first, second)


def texts_agree(stated: str, recomputed: str) -> bool:
    """Whether two texts say the same; a number may differ by one unit of its last decimal."""
    return all(row is None for row in compare_texts(stated, recomputed, ""))


def _agree(stated: str, recomputed: str) -> bool:
    if stated == recomputed:
        return True
    one, other = (_DECIMAL.fullmatch(text.replace("−", "-")) for text in (stated, recomputed))
    if one is None or other is None or one.group(1, 4) != other.group(1, 4) or not (one.group(3) and other.group(3)):
        return False
    decimals = len(one.group(3))
    if decimals != len(other.group(3)):
        return False
    values = [float(f"{match.group(2)}.{match.group(3)}") for match in (one, other)]
    return abs(values[0] - values[1]) <= 1.01 * 10.0**-decimals
