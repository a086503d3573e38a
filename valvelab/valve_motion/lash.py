"""Valve lash, hot and cold."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from valvelab.errors import CannotEvaluate, Reason


@dataclass(frozen=True, slots=True)
class Lash:
    """Clearance of the gear at the valve, mm; which of the two counts is `use`."""

    hot_mm: float | None = None
    cold_mm: float | None = None
    use: Literal["hot", "cold"] = "hot"

    @property
    def counted_mm(self) -> float:
        """The lash that counts: the one named by `use`; 0 where neither is stated. Refuses a use not stated."""
        if self.hot_mm is None and self.cold_mm is None:
            return 0.0
        value = self.hot_mm if self.use == "hot" else self.cold_mm
        if value is None:
            raise CannotEvaluate(Reason.MISSING_INPUT, f"lash: use = {self.use!r}, but no {self.use} lash is stated")
        if value < 0.0:
            raise CannotEvaluate(Reason.OUT_OF_RANGE, f"lash: found {value:g} mm, expected 0 or more")
        return value
