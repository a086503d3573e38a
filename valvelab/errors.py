"""One exception tree: each carries a machine-readable reason and one clear sentence."""

from __future__ import annotations

import re
from enum import StrEnum

from valvelab.phrase import Phrase, listed, whole

_UNSHOWN = re.compile(r"[\x00-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff]")


def one_line(text: str) -> str:
    r"""Text of foreign origin made safe to print: control signs, line ends and turned writing become `\x1b`, `\n`.

    Whatever reaches a terminal goes through here: a file's name or a cell may hold signs that move its cursor.
    """
    return _UNSHOWN.sub(lambda found: found.group().encode("unicode_escape").decode("ascii"), text)


def utf8(text: str) -> str:
    r"""Text that any file or paper can hold: bytes of a file's name that are no UTF-8 become `\udcff`, as on screen."""
    return text if text.isascii() else text.encode("utf-8", "backslashreplace").decode("utf-8")


class ValvelabError(Exception):
    """Base of everything the program raises on purpose; `str()` is the sentence shown."""


class Reason(StrEnum):
    """Why a quantity could not be evaluated."""

    NOT_REACHED = "not reached"
    TOO_FEW_READINGS = "too few readings"
    MISSING_INPUT = "missing input"
    IMPOSSIBLE_CONTOUR = "impossible contour"
    OUT_OF_RANGE = "out of range"
    NOT_FEASIBLE = "not feasible"
    BAD_VALUES = "bad values"


class CannotEvaluate(ValvelabError):
    """A computation that refuses its input, with the reason and a sentence."""

    def __init__(self, reason: Reason, sentence: str) -> None:
        super().__init__(sentence)
        self.reason = reason


def refuse_unless_above_zero(value: float, name: str, unit: str = "") -> None:
    """Refuses a number in some unit that is not above 0, NaN among them. Raises CannotEvaluate(OUT_OF_RANGE)."""
    if not value > 0.0:
        found = f"{value:g} {unit}".rstrip()
        raise CannotEvaluate(
            Reason.OUT_OF_RANGE, Phrase("{name}: found {found}, expected above 0", name=name, found=found)
        )


def _found(where: str, found: str, expected: str) -> Phrase:
    """What was found somewhere, and what was expected."""
    return Phrase(
        "{where}: found {found}, expected {expected}", where=where, found=whole(found), expected=whole(expected)
    )


class BadFile(ValvelabError):
    """An input that can't be used: which file, where in it, what was found, what was expected.

    `place` is a line ("line 12"), a cell ("B7"), a key ("[stop] readings") or "" for the whole file.
    """

    def __init__(self, file: str, place: str, found: str, expected: str) -> None:
        super().__init__(_found(listed((file, whole(place))) if place else file, found, expected))
        self.file = file
        self.place = place
        self.found = found
        self.expected = expected

    @property
    def within(self) -> str:
        """The sentence without the file's name."""
        if self.place:
            return _found(whole(self.place), self.found, self.expected)
        return Phrase("found {found}, expected {expected}", found=whole(self.found), expected=whole(self.expected))


class BadSpec(BadFile):
    """A spec that can't be used."""


class BadQuantity(ValvelabError, ValueError):
    """A typed quantity that can't be read: field, what was found, what was expected.

    A ValueError too, so that a record being made of typed keys tells it with the place where it stands.
    """

    def __init__(self, field: str, found: str, expected: str) -> None:
        super().__init__(_found(whole(field), found, expected))
        self.field = field
        self.found = found
        self.expected = expected


class WrongUsage(ValvelabError):
    """A command line that asks for something the program does not do (exit 2)."""


class CannotWrite(ValvelabError):
    """A file that can't be written: which, and why; what was there before is untouched."""

    def __init__(self, file: str, reason: str) -> None:
        super().__init__(Phrase("{file}: can't be written: {reason}", file=file, reason=whole(reason)))
        self.file = file
        self.reason = reason


class ClusterError(ValvelabError):
    """The workers beyond this machine can't do what was asked: at which address, and why."""

    def __init__(self, address: str, found: str, expected: str) -> None:
        super().__init__(f"--scheduler {address}: found {found}, expected {expected}")


class StoreError(ValvelabError):
    """The record store can't do what was asked: which store, and why; nothing in it is half written."""

    def __init__(self, store: str, reason: str) -> None:
        super().__init__(listed((store, whole(reason)), ": "))
        self.store = store
        self.reason = reason
