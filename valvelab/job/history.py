"""What became of a part over its lives: what its records measured, and the wear from one to the next.

Values, uncertainties, limits and verdicts are those that were recorded. Wear is found anew from the recorded readings,
by the road of every comparison: from the measurement before, and from the first.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

from valvelab.errors import BadSpec, CannotEvaluate
from valvelab.files.contents import Contents
from valvelab.files.corrected import corrected_lift_table
from valvelab.files.lift_table import read_lift_table
from valvelab.files.spec_file import parse_toml
from valvelab.inspection.characteristics import Characteristic, by_name
from valvelab.inspection.comparison.characteristics import LOBE
from valvelab.inspection.comparison.inspect import CompareQuestion, inspect_comparison
from valvelab.job.recorded import Read, job_of
from valvelab.phrase import Phrase
from valvelab.records.comparison_result import CompareResult
from valvelab.records.measurement import LiftTable
from valvelab.records.parts.part import LiftPart
from valvelab.records.records_result import HistoryPoint, HistoryRow
from valvelab.records.result import Note, Verdict, info, verdicts_in, warning
from valvelab.records.spec import Spec
from valvelab.records.stored import StoredRecord, short
from valvelab.tables.verdicts import rank

FOLLOWED = (
    ("lobes", "max_lift", "lobes", "lobe"),
    ("springs", "seat_force", "springs", "spring"),
    ("springs", "open_force", "springs", "spring"),
    ("springs", "rate", "springs", "spring"),
    ("springs", "free_length", "springs", "spring"),
    ("shaft", "straightness", "straightness", ""),
    ("shaft", "tir", "stations", "station"),
)  # fmt: skip
"""What is followed: the use, the characteristic, where the result holds it, and what names the item there."""
SINCE_BEFORE, SINCE_FIRST = "wear", "wear since the first"
_WEAR = next(row for row in LOBE if row.name == "wear")
_ABOUT_CHANGE = {row.name for row in LOBE}


@dataclass(frozen=True, slots=True)
class History:
    """The rows of a part, and what their reader has to know."""

    rows: tuple[HistoryRow, ...]
    notes: tuple[Note, ...]


def history(records: Sequence[StoredRecord], read: Read, item: str | None = None) -> History:
    """What is followed in records of one part, the first measured first. item: only of this lobe, spring or station."""
    notes = list(_mixed(records))
    lives = list(_once_each(records, notes))
    recorded = [_Recorded.of(record, read) for record in lives]
    rows = [
        *_values(recorded, item),
        *_wear([life for life in recorded if life.record.inspect == "lobes"], item, notes),
    ]
    return History(tuple(rows), tuple(dict.fromkeys(notes)))


def shown_first(rows: Sequence[HistoryRow]) -> HistoryRow | None:
    """The row that says most of a part's lives: what its worst lobe lost, else the worst spring's force, and so on."""
    for name in (SINCE_FIRST, SINCE_BEFORE, *(name for _, name, _, _ in FOLLOWED)):
        alike = [row for row in rows if row.characteristic == name and row.points[-1].value is not None]
        if alike:
            return max(alike, key=_gravity)
    return None


def _gravity(row: HistoryRow) -> tuple[int, float]:
    """Sorts items by their last verdicts, then by how far they came from what they were."""
    values = [point.value for point in row.points if point.value is not None]
    before = 0.0 if row.points[-1].compared_with else values[0]
    return -rank(row.points[-1].decision), abs(values[-1] - before)


def _mixed(records: Sequence[StoredRecord]) -> Iterator[Note]:
    """A serial number says little where two makers of parts, or two customers, use the same."""
    for inspect in dict.fromkeys(record.inspect for record in records):
        for name in ("part", "customer"):
            alike = [record for record in records if record.inspect == inspect]
            found = sorted({value for record in alike if (value := getattr(record, name)) is not None})
            if len(found) > 1:
                text = Phrase(
                    "{inspect}: found records of {names}; are they one part? --{name} tells them apart",
                    inspect=inspect,
                    names=", ".join(found),
                    name=name,
                )
                yield warning(name, text)


def _once_each(records: Sequence[StoredRecord], notes: list[Note]) -> Iterator[StoredRecord]:
    """The records, those over the same readings once: the last recorded of them."""
    last: dict[tuple[str, ...], StoredRecord] = {}
    for record in records:
        key = (record.inspect, *sorted(file.sha256 for file in record.files if file.role == "readings"))
        before = last.get(key)
        if before is not None:
            both = f"{short(before.id)} and {short(record.id)}"
            notes.append(
                info(
                    "records",
                    Phrase(
                        "{both} rest on the same readings and count once, as {short}", both=both, short=short(record.id)
                    ),
                )
            )
        last[key] = record
    kept = {record.id for record in last.values()}
    return (record for record in records if record.id in kept)


@dataclass(frozen=True, slots=True)
class _Recorded:
    """A record with its result, and what its verdicts say of a characteristic of an item."""

    record: StoredRecord
    read: Read
    result: Mapping[str, Any]
    verdicts: Mapping[tuple[str, str], Verdict]

    @classmethod
    def of(cls, record: StoredRecord, read: Read) -> _Recorded:
        """A record as it was kept."""
        file = record.of_role("result")
        result: Mapping[str, Any] = {"verdicts": []} if file is None else json.loads(read(file.sha256))
        return cls(record, read, result, _gravest(verdicts_in(result)))

    def rows(self, where: str, name: str) -> dict[str, list[Mapping[str, Any]]]:
        """The rows of the result by item: of a spring one a stage, of the shaft the only one."""
        found: Any = self.result.get(where) or ()
        by_item: dict[str, list[Mapping[str, Any]]] = {} if name or not found else {"shaft": [found]}
        for row in found if name else ():
            by_item.setdefault(str(row[name]), []).append(row)
        return by_item

    def table(self) -> LiftTable:
        """The lift table that was inspected, corrected by the card that it was corrected by then."""
        part = job_of(self.record, self.read).part[self.record.job_part]
        assert isinstance(part, LiftPart)
        card = None if part.instrument is None else self.contents(part.instrument.as_posix())
        return corrected_lift_table(read_lift_table(self.contents(part.file.as_posix()), part.columns), card)[0]

    def spec(self) -> Spec | None:
        """What its spec says of changes; None where it says nothing."""
        file = self.record.of_role("spec")
        if file is None:
            return None
        spec = parse_toml(self.read(file.sha256), file.name, Spec, BadSpec)
        limits = tuple(limit for limit in spec.limit if limit.of in _ABOUT_CHANGE)
        return spec.model_copy(update={"limit": limits, "envelope": ()}) if limits else None

    def contents(self, name: str) -> Contents:
        """A file of the record."""
        digest = next(file.sha256 for file in self.record.files if file.name == name)
        return Contents.of(f"{short(self.record.id)}, {name}", self.read(digest))


def _gravest(verdicts: Sequence[Verdict]) -> dict[tuple[str, str], Verdict]:
    """The gravest verdict on each characteristic of each item that needs no lift or height to be told."""
    plain = [verdict for verdict in verdicts if verdict.at_mm is None]
    return {(row.characteristic, row.item): row for row in sorted(plain, key=lambda row: -rank(row.decision))}


def _values(lives: Sequence[_Recorded], item: str | None) -> Iterator[HistoryRow]:
    for inspect, name, where, named in FOLLOWED:
        characteristic = by_name(name)
        assert characteristic is not None
        own = [(life, life.rows(where, named)) for life in lives if life.record.inspect == inspect]
        for found in dict.fromkeys(one for _, rows in own for one in rows):
            points = [
                point for life, rows in own for point in _points(life, characteristic, found, rows.get(found, ()))
            ]
            told = item in {None, found} and any(point.value is not None for point in points)
            if told:
                yield HistoryRow(
                    inspect=inspect, characteristic=name, item=found, unit=characteristic.unit, points=tuple(points)
                )


def _points(
    life: _Recorded, characteristic: Characteristic, item: str, rows: Sequence[Mapping[str, Any]]
) -> Iterator[HistoryPoint]:
    """A point a row; of several stages the last is what was judged."""
    key = characteristic.key
    for number, row in enumerate(rows, start=1):
        judged = life.verdicts.get((characteristic.name, item)) if number == len(rows) else None
        yield HistoryPoint(
            record=life.record.id,
            date=row.get("date") or life.record.date,
            value=row.get(key),
            standard_uncertainty=(row.get("uncertainty") or {}).get(key),
            out_of_calibration=life.record.out_of_calibration,
            **_limits(judged),
        )


def _limits(verdict: Verdict | None) -> dict[str, Any]:
    if verdict is None:
        return {}
    return {"lower": verdict.lower, "upper": verdict.upper, "decision": verdict.decision}


@dataclass(frozen=True, slots=True)
class _Compared:
    """Two measurements of a shaft compared, or why they could not be."""

    earlier: _Recorded
    later: _Recorded
    result: CompareResult | None
    why: str = ""

    def point(self, lobe: str) -> HistoryPoint:
        """What one lobe lost."""
        changes = {row.lobe: row for row in self.result.lobes} if self.result is not None else {}
        change = changes.get(lobe)
        verdicts = () if self.result is None else self.result.verdicts
        return HistoryPoint(
            record=self.later.record.id,
            date=self.later.record.date,
            value=None if change is None else change.wear_um,
            standard_uncertainty=None if change is None else change.uncertainty.get(_WEAR.key),
            compared_with=self.earlier.record.id,
            reason=self.why or None,
            out_of_calibration=self.earlier.record.out_of_calibration or self.later.record.out_of_calibration,
            **_limits(_gravest(verdicts).get((_WEAR.name, lobe))),
        )


@dataclass(slots=True)
class _Wear:
    """Comparisons of pairs of measurements, each made once."""

    notes: list[Note]
    tables: dict[str, LiftTable] = field(default_factory=dict)
    pairs: dict[tuple[str, str], _Compared] = field(default_factory=dict)

    def between(self, earlier: _Recorded, later: _Recorded) -> _Compared:
        """Two measurements compared."""
        key = earlier.record.id, later.record.id
        if key not in self.pairs:
            self.pairs[key] = self._compared(earlier, later)
        return self.pairs[key]

    def _compared(self, earlier: _Recorded, later: _Recorded) -> _Compared:
        about = Phrase("{date} to {until}", date=earlier.record.date, until=later.record.date)
        try:
            question = CompareQuestion(self._table(earlier), self._table(later), later.spec(), "spec")
            result = inspect_comparison(question).result
        except CannotEvaluate as error:
            self.notes.append(warning(about, str(error)))
            return _Compared(earlier, later, None, str(error))
        said = [note for note in result.notes if note.level == "warning"]
        self.notes += [warning(f"{about}, {note.about}", note.text) for note in said]
        return _Compared(earlier, later, result)

    def _table(self, life: _Recorded) -> LiftTable:
        name = life.record.id
        if name not in self.tables:
            self.tables[name] = life.table()
        return self.tables[name]


def _wear(lives: Sequence[_Recorded], item: str | None, notes: list[Note]) -> Iterator[HistoryRow]:
    """Of each lobe measured more than once what it lost since the time before, then since the first."""
    wear = _Wear(notes)
    held = [(life, life.rows("lobes", "lobe")) for life in lives]
    since_first: list[HistoryRow] = []
    for lobe in dict.fromkeys(name for _, rows in held for name in rows):
        own = [life for life, rows in held if lobe in rows]
        if len(own) < 2 or item not in {None, lobe}:
            continue
        yield _row(SINCE_BEFORE, lobe, [wear.between(*pair) for pair in pairwise(own)])
        if len(own) > 2:
            since_first.append(_row(SINCE_FIRST, lobe, [wear.between(own[0], later) for later in own[1:]]))
    yield from since_first


def _row(name: str, lobe: str, compared: Sequence[_Compared]) -> HistoryRow:
    points = tuple(one.point(lobe) for one in compared)
    return HistoryRow(inspect="lobes", characteristic=name, item=lobe, unit=_WEAR.unit, points=points)
