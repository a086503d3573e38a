"""Values of a batch by the limit that they were held against, gathered file by file for the lot's report."""

from __future__ import annotations

import math
from array import array
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING, Any

from valvelab.batch.task import Found

if TYPE_CHECKING:
    from valvelab.inspection.lot.inspect import Lot

MOST_LIMITS = 200
NAMED_ITEMS = 20
APART = frozenset({"envelope"})
"""Judged against a limit of its own at each item, so that there is no lot of one limit."""
_Key = tuple[str, str, float | None, float | None, float | None]


@dataclass(slots=True)
class _Values:
    """Numbers of one limit, eight bytes each."""

    values: array[float] = field(default_factory=lambda: array("d"))
    us: array[float] = field(default_factory=lambda: array("d"))
    days: array[float] = field(default_factory=lambda: array("d"))
    items: dict[str, None] = field(default_factory=dict)
    more_items: bool = False
    missing: int = 0

    def add(self, row: Mapping[str, Any]) -> None:
        """Take a verdict in."""
        if row["item"] not in self.items:
            self.more_items = len(self.items) == NAMED_ITEMS
            if not self.more_items:
                self.items[row["item"]] = None
        if row["measured"] is None:
            self.missing += 1
            return
        self.values.append(row["measured"])
        self.us.append(math.nan if row["standard_uncertainty"] is None else row["standard_uncertainty"])
        self.days.append(math.nan if row["date"] is None else float(date.fromisoformat(row["date"]).toordinal()))


@dataclass(slots=True)
class Gathered:
    """All limits that were met, in the order in which they were. left_out: limits beyond the most that are told."""

    limits: dict[_Key, _Values] = field(default_factory=dict)
    left_out: int = 0

    def add(self, found: Found) -> None:
        """Take what was found of a file in."""
        for row in found.verdicts:
            if row["characteristic"] in APART:
                continue
            key = row["characteristic"], row["unit"], row["at_mm"], row["lower"], row["upper"]
            if key not in self.limits and len(self.limits) == MOST_LIMITS:
                self.left_out += 1
            else:
                self.limits.setdefault(key, _Values()).add(row)

    def lots(self) -> tuple[Lot, ...]:
        """What is to be told of each limit."""
        import numpy as np

        from valvelab.arrays import read_only
        from valvelab.inspection.lot.inspect import Lot

        return tuple(
            Lot(
                *key,
                items=tuple(own.items),
                more_items=own.more_items,
                values=read_only(np.array(own.values)),
                us=read_only(np.array(own.us)),
                days=read_only(np.array(own.days)),
                missing=own.missing,
            )
            for key, own in self.limits.items()
        )
