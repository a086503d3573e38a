"""Every characteristic once: name, unit, what it means, how it is computed, where that comes from.

The listing command, the window's column tips, the certificate's method page and the README table read this.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Collection, Iterable, Iterator
from functools import lru_cache
from importlib import import_module
from itertools import islice
from typing import Literal

from valvelab.frozen import frozen
from valvelab.measured import Measured, missing
from valvelab.phrase import Phrase
from valvelab.units import Dimension

FreeOf = Literal["angle error", "angle unit", "lift unit", "height unit"]
Subject = Literal[
    "lobe", "camshaft", "spring", "station", "shaft", "trace", "valve", "event", "phasing", "gauge", "comparison",
]  # fmt: skip


@frozen
class Characteristic:
    """One entry of the table.

    `unit` is the unit of the JSON key and of a bare number in a spec; `needs_at` names what `at` is
    ("lift", "height") for characteristics that need one. `period`: of an angle that is a place on a circle, in `unit`;
    its limits are compared on the circle. None for sizes and differences. free_of: what of a table does not touch
    it: an error of its angles, a doubt about their unit, about the lifts' unit, about the heights' unit.
    listed: False for what a record holds and no limit applies to.

    label: its printed name, by default its name; table: the title of the table that it stands in; u_column: whether
    tables have room for its uncertainty; named: its key in a record, by default the name with its unit.
    """

    name: str
    unit: str
    dimension: Dimension
    subject: Subject
    meaning: str
    method: str
    source: str
    needs_at: Literal["lift", "height"] | None = None
    period: float | None = None
    free_of: frozenset[FreeOf] = frozenset()
    listed: bool = True
    label: str = ""
    table: str = ""
    u_column: bool = False
    named: str = ""

    @property
    def key(self) -> str:
        """Its key in a record."""
        unit = self.unit.lower().replace("/", "_per_").replace(" ", "_")
        return self.named or (f"{self.name}_{unit}" if unit else self.name)

    @property
    def head(self) -> str:
        """Its printed name: the same on every table, list and paper."""
        return self.label or self.name.replace("_", " ")

    @property
    def explained(self) -> str:
        """What it is, how it is found and where that comes from, a line each."""
        return f"{self.meaning}\n{self.method}\nSource: {self.source}"

    @property
    def listing(self) -> dict[str, object]:
        """What a listing says of it."""
        return {name: getattr(self, name) for name in _TOLD}


@frozen(kw_only=True)
class Row(Characteristic):
    """A row with its function: what was measured of a thing of its subject, at a lift or height where it needs one.

    states_u: whether the record holds its uncertainty.
    """

    of: Callable[..., Measured]
    states_u: bool = True

    def measured(self, thing: object, at_mm: float | None = None) -> Measured:
        """What was measured of a thing."""
        if self.needs_at is None:
            return self.of(thing)
        return (
            missing(Phrase("no {needs_at} `at` is given", needs_at=self.needs_at))
            if at_mm is None
            else self.of(thing, at_mm)
        )


_TOLD = ("name", "unit", "dimension", "subject", "meaning", "method", "source", "needs_at", "period")
_TABLES: dict[str, tuple[Subject, ...]] = {
    "valvelab.inspection.lobes.characteristics": ("lobe", "camshaft"),
    "valvelab.inspection.springs.characteristics": ("spring",),
    "valvelab.inspection.form.characteristics": ("station", "shaft", "trace", "gauge"),
    "valvelab.inspection.engine.characteristics": ("valve", "event", "phasing"),
    "valvelab.inspection.comparison.characteristics": ("comparison",),
}
"""The tables, and the subjects of their entries."""

_APART = ("valvelab.inspection.engine.at_the_valve",)
"""Some rows of a table in a module of their own, for who needs no more of it."""

SHARED = frozenset({"opening", "closing", "eccentricity"})
"""Names of more than one entry, each of another subject; any other name is found once."""


def all_characteristics() -> tuple[Characteristic, ...]:
    """All entries, by subject then in the order of their table."""
    return tuple(_entries(_TABLES))


def of_subjects(subjects: Collection[Subject]) -> tuple[Characteristic, ...]:
    """The entries of some subjects, in the order of all; tables of others are not loaded."""
    tables = (module for module, told in _TABLES.items() if not set(told).isdisjoint(subjects))
    return tuple(row for row in _entries(tables) if row.subject in subjects)


def _entries(tables: Iterable[str]) -> Iterator[Characteristic]:
    """The entries of some tables; each is loaded when it is come to."""
    for module in tables:
        yield from (row for row in (sys.modules.get(module) or import_module(module)).CHARACTERISTICS if row.listed)


def nearest(name: str) -> Iterator[Characteristic]:
    """Every entry of that name, those of tables at hand first: who finds the right one early loads no other table.

    A row that stands apart as well as in its table may come twice where its name is shared.
    """
    tables = sorted((*_APART, *_TABLES), key=lambda module: module not in sys.modules)
    rows = (row for row in _entries(tables) if row.name == name)
    return rows if name in SHARED else islice(rows, 1)


@lru_cache(maxsize=1024)
def named(name: str) -> tuple[Characteristic, ...]:
    """Every entry of that name: `opening` is a place on the lift table, and an event on the crank."""
    return tuple(row for row in all_characteristics() if row.name == name) if name in SHARED else tuple(nearest(name))


def by_name(name: str) -> Characteristic | None:
    """The first entry of that name at hand, or None."""
    return next(nearest(name), None)


def printed(name: str, unit: str) -> str:
    """The printed name of a characteristic; `unit` tells two of one name apart."""
    row = of_unit(name, unit)
    return name.replace("_", " ") if row is None else row.head


def of_unit(name: str, unit: str) -> Characteristic | None:
    """The entry of that name and unit, or the first of that name."""
    if name not in SHARED:
        return next(iter(named(name)), None)
    return next((row for row in nearest(name) if row.unit == unit), None) or by_name(name)


def explained(name: str, unit: str | None = None) -> str:
    """What a characteristic is, how it is found and where that comes from."""
    rows = named(name)
    row = next((row for row in rows if row.unit == unit), next(iter(rows), None))
    return "" if row is None else row.explained
