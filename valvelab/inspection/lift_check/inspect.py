"""A lift-check sheet inspected: readings and rule in, a verdict for each valve out."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from functools import lru_cache
from typing import TYPE_CHECKING, Literal

from valvelab.errors import BadSpec
from valvelab.frozen import frozen
from valvelab.inspection.characteristics import Subject
from valvelab.inspection.engine.at_the_valve import CHARACTERISTICS
from valvelab.inspection.judging import Item, judge
from valvelab.inspection.lift_check.measure import NO_CALIBRATION, CheckedValve, InstrumentInUse, checked
from valvelab.inspection.limits import meant_here, nearest_readings
from valvelab.measured import Once
from valvelab.phrase import Phrase, listed
from valvelab.records.lift_check import Indicator, LiftCheck, LiftCheckSheet, TimingWheel
from valvelab.records.lift_check_result import CheckedEvent, CheckedLift, InstrumentTold, LeftOut, LiftCheckResult
from valvelab.records.result import Note, Source, Verdict, info, warning
from valvelab.records.spec import Spec

if TYPE_CHECKING:  # few sheets name a card
    from valvelab.records.instrument_card import InstrumentCard

CAUTION = (
    "Turn the engine by hand with the plugs out. Results support, and never replace, the judgement of the event's own "
    "officials."
)
_ONLY: Mapping[Subject, Collection[str]] = {
    subject: {row.name for row in CHARACTERISTICS if row.subject == subject}
    for subject in dict.fromkeys(row.subject for row in CHARACTERISTICS)
}
_LIMIT = re.compile(r"\[\[limit\]\] (\d+)")
_ELSEWHERE = Phrase("an angle of a lift table, or at the follower")
_AT_VALVE = Phrase('an angle from dead centre at the valve, as in "58 deg BBDC"')


@frozen
class Known:
    """An instrument as it is used: its numbers, and where its uncertainty comes from."""

    use: InstrumentInUse
    come_from: Literal["sheet", "gauge study", "card"] | None = None
    notes: tuple[Note, ...] = ()
    calibrated: str | None = None
    due: str | None = None

    @classmethod
    def stated(cls, instrument: Indicator) -> Known:
        """As the sheet states it."""
        u = instrument.uncertainty_mm
        use = InstrumentInUse(u, instrument.resolution_mm, instrument.repeatability_mm)
        return cls(use, None if u is None else "sheet", (), instrument.calibrated, instrument.due)

    def adopting(self, u_mm: float, file: str) -> Known:
        """With a gauge study's uncertainty, where the sheet states none that is larger."""
        own = self.use.calibration_mm
        if own is not None and own >= u_mm:
            text = Phrase(
                "the sheet's own {own} mm counts: no less than the {u} mm adopted from a gauge study ({file})",
                own=f"{own:g}",
                u=f"{u_mm:g}",
                file=file,
            )
            return replace(self, notes=(*self.notes, info("instrument", text)))
        note = info("instrument", Phrase("{u} mm, adopted from a gauge study ({file})", u=f"{u_mm:g}", file=file))
        use = replace(self.use, calibration_mm=u_mm)
        return replace(self, use=use, come_from="gauge study", notes=(*self.notes, note))

    def by_card(self, card: InstrumentCard, identity: str, read_on: str | None) -> Known:
        """Corrected by an instrument's card, whose dates and division count where the sheet states none."""
        curve = card.calibration
        use = replace(self.use, resolution_mm=self.use.resolution_mm or curve.division, card=identity, curve=curve)
        told = info("instrument", Phrase("readings are corrected by the card of {told}", told=card.told))
        dates = (self.calibrated or card.calibrated, self.due or card.due_on)
        return Known(use, "card", (*self.notes, told, *card.notes(read_on)), *dates)


@frozen(eq=False)
class LiftCheckInspection(Once):
    """The sheet, the working of each valve, and the result."""

    sheet: LiftCheckSheet
    valves: tuple[CheckedValve, ...]
    result: LiftCheckResult

    def verdicts_of(self, item: str) -> list[Verdict]:
        """The verdicts on one car's valves."""
        names = {row.name for row in self.result.checks if row.item == item}
        return [verdict for verdict in self.result.verdicts if verdict.item in names]

    def rows_of(self, item: str) -> list[CheckedLift]:
        """One car's valves."""
        return [row for row in self.result.checks if row.item == item]


def inspect_lift_check(
    sheet: LiftCheckSheet,
    known: Known | None = None,
    source: tuple[Source, ...] = (),
    file: str = "sheet",
    spec: Spec | None = None,
    spec_file: str = "spec",
) -> LiftCheckInspection:
    """Every check of a sheet held against the sheet's own rule, and against a spec where there is one.

    Raises BadSpec for a limit that can't be read.
    """
    known = known or Known.stated(sheet.instrument)
    worked = [_measured(check, known.use, sheet.wheel, sheet.temperature) for check in sheet.check]
    valves = tuple(one for one, _ in worked)
    items = [Item(one.check.name, one.check.kind, one.look_up, one.check.valve) for one in valves]
    check_limits(sheet, file)
    notes = [*known.notes, *_notes(sheet, known, valves)]
    if not sheet.spec.limit and spec is None:
        notes.append(warning("rule", Phrase("neither [[limit]] nor [[rule]] states one: nothing was judged")))
    subjects: dict[Subject, list[Item]] = {"valve": items, "event": items}
    judged = []
    if items:
        with _placed(sheet, file):
            judged.append(judge(sheet.spec, subjects, file, only=_ONLY, where="valve"))
        if spec is not None:
            judged.append(judge(spec, subjects, spec_file, only=_ONLY, where="valve"))
    verdicts = [row for rows, _ in judged for row in rows]
    notes += [note for _, said in judged for note in said]
    result = LiftCheckResult(
        source=source,
        notes=tuple(_gathered(notes)),
        verdicts=tuple(verdicts),
        event=sheet.event,
        date=sheet.date,
        inspector=sheet.inspector,
        instrument=_told(sheet.instrument, known),
        checks=tuple(row for _, row in worked),
    )
    return LiftCheckInspection(sheet, valves, result)


@lru_cache(maxsize=4096)
def _measured(
    check: LiftCheck, use: InstrumentInUse, wheel: TimingWheel, temperature_degc: float | None
) -> tuple[CheckedValve, CheckedLift]:
    """What one valve's readings say; at each further reading of an event only the valve that was read is new."""
    found = checked(check, use, wheel, temperature_degc)
    return found, _row(found, temperature_degc)


def check_limits(sheet: LiftCheckSheet, file: str) -> None:
    """Refuse a limit of the sheet that can't be read or isn't on a valve, by its place there. Raises BadSpec."""
    with _placed(sheet, file):
        for number, limit in enumerate(sheet.spec.limit, start=1):
            if meant_here(nearest_readings(number, limit, file), _answers, "valve") is None:
                raise BadSpec(file, f"[[limit]] {number} {limit.of}", _ELSEWHERE, _AT_VALVE)


@contextmanager
def _placed(sheet: LiftCheckSheet, file: str) -> Iterator[None]:
    """Refusals of limits by their places in the sheet."""
    try:
        yield
    except BadSpec as error:
        where = _LIMIT.sub(lambda found: sheet.limit_name(int(found[1])), error.place)
        raise BadSpec(file, where, error.found, error.expected) from None


def _answers(subject: Subject, name: str) -> bool:
    return name in _ONLY.get(subject, ())


def _row(one: CheckedValve, temperature_degc: float | None) -> CheckedLift:
    check, opened, shut = one.check, one.open, one.zero
    return CheckedLift(
        item=check.item,
        entrant=check.entrant,
        valve=check.valve,
        kind=check.kind,
        readings_mm=check.open_mm,
        zero_mm=check.zero_mm,
        mean_mm=one.lift.value,
        open_mean_mm=None if opened is None else opened.mean,
        zero_mean_mm=None if shut is None else shut.mean,
        repeatability_mm=None if opened is None else opened.standard_deviation,
        correction_mm=one.correction_mm,
        calibration_mm=one.calibration_mm,
        standard_uncertainty_mm=one.lift.u,
        division_mm=None if opened is None else opened.division,
        doubtful_readings=() if opened is None else opened.doubtful,
        doubtful_zero=() if shut is None else shut.doubtful,
        set_aside=tuple(LeftOut(of=row.of, reading=row.reading - 1, reason=row.reason) for row in check.set_aside),
        ratio=check.ratio,
        temperature_degc=temperature_degc if check.temperature is None else check.temperature,
        events=tuple(_events(one)),
        remark=check.remark,
        uncertainty={"rule_lift_mm": one.lift.u},
    )


def _events(one: CheckedValve) -> Iterator[CheckedEvent]:
    for (which, lift_mm), found in one.events.items():
        assert found.mean.value is not None
        yield CheckedEvent(
            at_mm=lift_mm,
            event=which,
            readings_deg=found.readings_deg,
            mean_deg=found.mean.value,
            standard_uncertainty_deg=found.mean.u,
            doubtful_readings=found.doubtful,
        )


def _told(instrument: Indicator, known: Known) -> InstrumentTold:
    return InstrumentTold(
        name=instrument.name,
        serial=instrument.serial,
        calibrated=known.calibrated,
        due=known.due,
        standard_uncertainty_mm=known.use.calibration_mm,
        uncertainty_from=known.come_from,
        resolution_mm=known.use.resolution_mm,
        repeatability_mm=known.use.repeatability_mm,
    )


def _notes(sheet: LiftCheckSheet, known: Known, valves: Iterable[CheckedValve]) -> Iterator[Note]:
    """What a reader has to know of the instrument and of each valve's readings."""
    if known.use.calibration_mm is None and known.use.curve is None:
        yield warning(
            "instrument",
            Phrase(
                "{no_calibration}: verdicts rest on the readings' scatter and division alone",
                no_calibration=NO_CALIBRATION,
            ),
        )
    due, read = sheet.instrument.due, sheet.date
    if due is not None and read is not None and read > due:
        yield warning(
            "instrument", Phrase("its calibration was due on {due}, before the readings of {read}", due=due, read=read)
        )
    for one in valves:
        yield from remarks_on(one)
        check = one.check
        if check.open_mm and not check.zero_mm:
            yield info(check.name, Phrase("no zero reading: the dial counts as set to zero, valve shut"))
        if len(check.zero_mm) < 2 <= len(check.open_mm) and known.use.repeatability_mm is None:
            yield info(
                check.name, Phrase("its zero counts as scattering like full lift; shut readings, repeated, tell it")
            )
        if check.ratio is not None:
            yield info(
                check.name,
                Phrase(
                    "derived: read at the lobe or lifter, times the ratio {ratio}; not at the valve",
                    ratio=f"{check.ratio:g}",
                ),
            )
        for row in check.set_aside:
            value = check.readings(row.of)[row.reading - 1]
            yield info(
                check.name,
                Phrase(
                    "{of} reading {reading}, {value} mm, set aside: {reason}",
                    of=row.of,
                    reading=row.reading,
                    value=f"{value:g}",
                    reason=row.reason,
                ),
            )


def remarks_on(one: CheckedValve) -> Iterator[Note]:
    """What has to be looked at in one valve's readings."""
    if one.open is not None and len(one.open.counted) == 1:
        yield warning(one.check.name, Phrase("one reading only: its uncertainty is the instrument's alone"))
    if one.wander_mm is not None:
        text = Phrase(
            "the zero readings lie {wander} mm apart; set the dial again and repeat", wander=f"{one.wander_mm:g}"
        )
        yield warning(one.check.name, text)
    if one.outside:
        text = Phrase(
            "a reading lies where the instrument was not calibrated: it stays uncorrected, u is widened for it"
        )
        yield warning(one.check.name, text)


def _gathered(notes: Iterable[Note]) -> Iterator[Note]:
    """Notes of one text told once, about all that they are about."""
    about: dict[tuple[str, str], list[str]] = {}
    for note in notes:
        about.setdefault((note.level, note.text), []).append(note.about)
    for (level, text), names in about.items():
        told = listed(dict.fromkeys(names)) if len(names) <= 8 else Phrase("{count} checks", count=len(names))
        yield warning(told, text) if level == "warning" else info(told, text)
