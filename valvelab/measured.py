"""What was measured: one number, or one for each item of a group, with its uncertainty or the reason it is missing.

The one shape of a result from the numerical rooms to paper. `u` is the standard uncertainty, k = 1 (JCGM 100, 2.3.1),
in the unit of the value; which unit that is, the characteristic says.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import field
from functools import wraps
from math import isfinite, nan
from typing import TYPE_CHECKING, Any, ParamSpec, TypeVar

from valvelab.errors import CannotEvaluate
from valvelab.frozen import frozen
from valvelab.pieces import rest

if TYPE_CHECKING:
    from valvelab.arrays import BoolArray, FloatArray

T = TypeVar("T")
P = ParamSpec("P")


@frozen
class Measured:
    """A value with its standard uncertainty, in the characteristic's unit; None with the reason it is missing.

    u: None where it is not known. doubt: why the reading itself is doubtful, so that no verdict may rest on it. lacks:
    a source of uncertainty that matters and is unknown; the verdict stands, its row says so.
    """

    value: float | None
    u: float | None = None
    reason: str = ""
    doubt: str = ""
    lacks: str = ""

    @classmethod
    def of(cls, value: float | None, u: float | None = None, reason: str = "") -> Measured:
        """A computed number: what is not finite is missing, and a missing value has no uncertainty."""
        known = finite(value)
        return cls(known, None if known is None else finite(u), "" if known is not None else reason)

    def times(self, factor: float) -> Measured:
        """The same in another unit, or a multiple of it."""
        value, u = (None if number is None else factor * number for number in (self.value, self.u))
        return Measured(value, None if u is None else abs(u), self.reason, self.doubt, self.lacks)


def missing(reason: str) -> Measured:
    """No value, and why."""
    return Measured(None, None, reason)


def or_reason(work: Callable[P, Measured]) -> Callable[P, Measured]:
    """Work that measures; what it refuses is missing, for the reason it says."""

    @wraps(work)
    def tried(*args: P.args, **kwargs: P.kwargs) -> Measured:
        try:
            return work(*args, **kwargs)
        except CannotEvaluate as error:
            return missing(str(error))

    return tried


_NOT_ASKED: Any = object()


@frozen(eq=False)
class Once:
    """Something whose answers are kept."""

    _once: dict[object, Any] = field(default_factory=dict, init=False, repr=False)

    def once(self, work: Callable[..., T], *of: object) -> T:
        """What is asked for more than once, worked out once: `work(self, *of)`."""
        key, kept = (work, of) if of else work, self._once
        found: T = kept.get(key, _NOT_ASKED)
        if found is _NOT_ASKED:
            rest()
            found = kept[key] = work(self, *of)
        return found


def finite(value: float | None) -> float | None:
    """A plain float, or None where there is none or it is not finite."""
    return None if value is None or not isfinite(value) else float(value)


@frozen
class Each:
    """One characteristic of each item of a group: value and u, both (n,), NaN where missing; why: (n,) reasons."""

    value: FloatArray
    u: FloatArray
    why: Sequence[str] = ()

    def __getitem__(self, row: int) -> Measured:
        """What was measured of one item."""
        return Measured.of(self.value[row], self.u[row], self.why[row] if self.why else "")

    def without(self, out: BoolArray, why: Sequence[str]) -> Each:
        """The same with no value where `out` holds, (n,), for the reasons `why`, (n,)."""
        told = tuple(new if gone else old for gone, new, old in zip(out, why, self.why or why, strict=True))
        value, u = self.value.copy(), self.u.copy()
        value[out] = u[out] = nan
        return Each(value, u, told)
