"""The inspector's desk as pure functions: cars, valves and readings of a lift-check sheet, one after the other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from valvelab.conformity.repeats import STANDING_OFF_DIVISIONS
from valvelab.phasing.timing import EventName, lobe_kind, typed_event
from valvelab.records.lift_check import (
    Counted,
    EventReadings,
    LiftCheck,
    LiftCheckSheet,
    NotCounted,
    ReadingList,
    event_words,
)
from valvelab.records.lift_check_result import CheckedLift
from valvelab.records.result import Decision, Verdict
from valvelab.tables.verdicts import overall, rank

TAKEN_AGAIN = "taken again"


def item_named(sheet: LiftCheckSheet, typed: str, word: str) -> str:
    """What a typed number means: a car that is there, whatever its case; a bare number gets the event's word."""
    name = " ".join(typed.split())
    wanted = f"{word} {name}".strip() if name.isdigit() else name
    return next((item for item in sheet.items() if item.casefold() in {wanted.casefold(), name.casefold()}), wanted)


def valves_of(sheet: LiftCheckSheet, item: str) -> tuple[str, ...]:
    """Valves of a car, in the order they came."""
    return tuple(check.valve for check in sheet.check if check.item == item)


def check_of(sheet: LiftCheckSheet, item: str, valve: str) -> LiftCheck | None:
    """The check of one valve of a car."""
    return next((check for check in sheet.check if check.item == item and check.valve == valve), None)


def planned(text: str) -> tuple[str, ...]:
    """Valves in the order they are read: `1I 1E`, with commas or without."""
    return tuple(dict.fromkeys(text.replace(",", " ").replace(";", " ").upper().split()))


def with_car(sheet: LiftCheckSheet, item: str, valves: Sequence[str]) -> LiftCheckSheet:
    """The sheet with these valves of a car to be read; those that are there stay as they are."""
    known = valves_of(sheet, item)
    entrant = next((check.entrant for check in sheet.check if check.item == item and check.entrant), None)
    new = tuple(LiftCheck(item=item, valve=valve, entrant=entrant) for valve in valves if valve not in known)
    return _with_checks(sheet, (*sheet.check, *new)) if new else sheet


def with_entrant(sheet: LiftCheckSheet, item: str, entrant: str | None) -> LiftCheckSheet:
    """The sheet with who entered a car."""
    rows = (check.model_copy(update={"entrant": entrant}) if check.item == item else check for check in sheet.check)
    return _with_checks(sheet, tuple(rows))


def with_check(sheet: LiftCheckSheet, item: str, valve: str, **fields: Any) -> LiftCheckSheet:
    """The sheet with other fields of one valve's check; raises BadQuantity where they don't go together."""
    found = check_of(sheet, item, valve)
    if found is None:
        return sheet
    changed = LiftCheck(**{**dict(found), **fields})
    return _with_checks(sheet, tuple(changed if check is found else check for check in sheet.check))


def with_field(sheet: LiftCheckSheet, item: str, valve: str, name: str, value: object) -> LiftCheckSheet:
    """The sheet with another value in one field of a check; raises BadQuantity where it can't stand there."""
    return with_check(sheet, item, valve, **{name: value})


def with_reading(
    sheet: LiftCheckSheet, item: str, valve: str, of: ReadingList, value_mm: float, seen: CheckedLift | None
) -> LiftCheckSheet:
    """The sheet with one more reading; none is ever written over.

    seen: what the readings before it gave. Where one of them stood off, this one takes its place: the one that stood
    off is set aside as taken again, unless it came the same.
    """
    check = check_of(sheet, item, valve)
    if check is None:
        return sheet
    known = check.readings(of)
    fields: dict[str, Any] = {f"{of}_mm": (*known, value_mm)}
    standing = () if seen is None else seen.doubtful_readings if of == "open" else seen.doubtful_zero
    near = STANDING_OFF_DIVISIONS * (seen.division_mm or 0.0) + 1e-9 if seen is not None else 0.0
    if len(standing) == 1 and abs(known[standing[0]] - value_mm) > near:
        fields["set_aside"] = (*check.set_aside, NotCounted(reading=standing[0] + 1, of=of, reason=TAKEN_AGAIN))
    return with_check(sheet, item, valve, **fields)


def events_wanted(sheet: LiftCheckSheet, valve: str) -> tuple[tuple[float, EventName], ...]:
    """Events of a valve that the rule limits: the lift, mm, and which."""
    found: dict[tuple[float, EventName], None] = {}
    for limit in sheet.spec.limit:
        chosen = limit.lobes if limit.valves == "all" else limit.valves
        concerned = chosen in {"all", lobe_kind(valve)} if isinstance(chosen, str) else valve in chosen
        if concerned and limit.at_mm is not None and limit.of in {"opening", "closing"}:
            found[limit.at_mm, "opening" if limit.of == "opening" else "closing"] = None
    return tuple(found)


def _events_of(check: LiftCheck | None, lift_mm: float, which: EventName) -> tuple[Counted, ...]:
    known = () if check is None else check.event
    at = next((row for row in known if row.lift_mm == lift_mm), None)
    return () if at is None else at.opens if which == "opening" else at.closes


def event_text(check: LiftCheck | None, lift_mm: float, which: EventName) -> str:
    """Wheel readings of an event as they are typed, apart by semicolons."""
    usual = "B" if which == "opening" else "A"
    return "; ".join(str(event_words(one, usual)) for one in _events_of(check, lift_mm, which))


def read_events(text: str, which: EventName) -> tuple[Counted, ...]:
    """Typed wheel readings, apart by semicolons. Raises BadQuantity."""
    return tuple(Counted(*typed_event(one, which, f"{which} reading")) for one in text.split(";") if one.strip())


def with_events(
    sheet: LiftCheckSheet, item: str, valve: str, lift_mm: float, which: EventName, read: tuple[Counted, ...]
) -> LiftCheckSheet:
    """The sheet with these wheel readings of an event; raises BadQuantity for one from the wrong dead centre."""
    check = check_of(sheet, item, valve)
    if check is None:
        return sheet
    fields = {"opens" if which == "opening" else "closes": read}
    known = next((at for at in check.event if at.lift_mm == lift_mm), None)
    changed = EventReadings(lift_mm=lift_mm).model_copy(update={**(dict(known) if known else {}), **fields})
    others = tuple(at for at in check.event if at.lift_mm != lift_mm)
    kept = (changed,) if changed.opens or changed.closes else ()
    return with_check(sheet, item, valve, event=(*others, *kept))


def with_set_aside(
    sheet: LiftCheckSheet, item: str, valve: str, of: ReadingList, place: int, reason: str | None
) -> LiftCheckSheet:
    """The sheet with a reading, from 0, set aside for a reason; without one it counts again."""
    check = check_of(sheet, item, valve)
    if check is None or not 0 <= place < len(check.readings(of)):
        return sheet
    others = tuple(row for row in check.set_aside if (row.of, row.reading - 1) != (of, place))
    new = () if reason is None else (NotCounted(reading=place + 1, of=of, reason=reason),)
    return with_check(sheet, item, valve, set_aside=(*others, *new))


def reads_shut(check: LiftCheck | None, shut_first: int, asked: ReadingList | None) -> bool:
    """Whether the next reading is one with the valve shut: as asked, else while the first ones are to be."""
    if asked is not None or check is None:
        return asked == "zero"
    return not check.open_mm and len(check.zero_mm) < shut_first


def next_valve(sheet: LiftCheckSheet, item: str, valve: str) -> str | None:
    """The valve of a car that comes after one; None after the last."""
    valves = valves_of(sheet, item)
    after = valves[valves.index(valve) + 1 :] if valve in valves else valves
    return next(iter(after), None)


@dataclass(frozen=True, slots=True)
class Car:
    """One line of the list of cars: what was read, its gravest verdict, the decision on it (None: being read)."""

    item: str
    entrant: str
    read: int
    valves: int
    worst: Verdict | None
    decision: Decision | None


def cars(checks: Sequence[CheckedLift], verdicts: Sequence[Verdict]) -> list[Car]:
    """All cars of an event in the order they came; one that is not read to its end is not decided, but for a reject."""
    by_name: dict[str, list[Verdict]] = {}
    for verdict in verdicts:
        by_name.setdefault(verdict.item, []).append(verdict)
    grouped: dict[str, list[CheckedLift]] = {}
    for row in checks:
        grouped.setdefault(row.item, []).append(row)
    return [
        _car(item, rows, [one for row in rows for one in by_name.get(row.name, [])]) for item, rows in grouped.items()
    ]


def _car(item: str, rows: Sequence[CheckedLift], verdicts: Sequence[Verdict]) -> Car:
    read = sum(bool(row.readings_mm) for row in rows)
    decision = overall(verdicts)
    measured = [verdict for verdict in verdicts if verdict.measured is not None]
    worst = min(measured, key=lambda one: (rank(one.decision), one.probability_conforming or 0.0), default=None)
    done = read == len(rows) or decision == "reject"
    entrant = next((row.entrant for row in rows if row.entrant), "")
    return Car(item, entrant, read, len(rows), worst, decision if done else None)


def _with_checks(sheet: LiftCheckSheet, checks: tuple[LiftCheck, ...]) -> LiftCheckSheet:
    return sheet.model_copy(update={"check": checks})
