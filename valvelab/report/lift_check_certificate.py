"""What a lift check puts on paper: a list of the event, and a page a car, whole by itself and read from a metre."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from valvelab.conformity.decision import guard_band
from valvelab.decimals import decimals_of
from valvelab.figures.rule_figures import scale_figure
from valvelab.inspection.lift_check.inspect import CAUTION, LiftCheckInspection, remarks_on
from valvelab.records.lift_check_result import CheckedLift, LiftCheckResult
from valvelab.records.result import Note, Result, Verdict
from valvelab.records.spec import DecisionRule
from valvelab.report.assembly import Part, banner, in_words, verdict_blocks
from valvelab.report.page_model import (
    Banner,
    Block,
    FigureBlock,
    Identity,
    Paragraph,
    Section,
    Signatures,
    figure_rows,
)
from valvelab.report.texts import CARRIED
from valvelab.tables.lift_check import car_readings, event_list, lift_told, valve_list
from valvelab.tables.sentences import chance, in_print, margin
from valvelab.tables.verdicts import WORDS, counts, overall
from valvelab.units import System, display_unit, show

SIGNS = ("inspector, date", "entrant, date", "for the event, date")
METHOD = (
    "Lift = mean of the readings at full lift − mean of the shut ones; u² = calibration² + u(open)² + u(zero)², "
    "u of a mean by JCGM 101:2008, 6.4.9; chance of conformity by JCGM 106:2012."
)
NO_UNCERTAINTY = "no uncertainty is known: decided by the value alone"
MOST_SENTENCES = 6
MOST_SCALES = 4
ROW_A_READING = 2
"""Valves whose readings have a row each; those of more stand in a cell."""


@dataclass(frozen=True, slots=True)
class Look:
    """How a car's page is filled: sizes of its texts, and its scales."""

    words: float
    decision: float
    across: int
    scale_mm: float

    def height_mm(self, valves: int, rows: int, pairs: int, sentences: Sequence[str]) -> float:
        """About how high a page is that tells so much; rows: of readings and means."""
        a_line = round(112.0 / self.decision) - 12
        lines = sum(1 + len(sentence) // a_line for sentence in sentences)
        scales = -(-min(valves, MOST_SCALES) // self.across) * (self.scale_mm + 3.0)
        table = (rows + 2) * (3.3 * self.words + 1.0) + 10.0
        return 14.0 + 5.7 * pairs / 2 + (4.0 * lines + 11.0) * self.decision + 3.0 + scales + table + FOOT_MM


FOOT_MM = 44.0
"""Method, caution and signatures."""
REMARK_MM = 8.0
ROOM_MM = 258.0
LOOKS = (Look(1.5, 2.0, 1, 58.0), Look(1.25, 1.6, 2, 50.0), Look(1.15, 1.2, 2, 42.0), Look(1.0, 1.0, 2, 34.0))
"""The largest first."""


def lift_check_part(inspection: LiftCheckInspection, system: System = "metric") -> Part:
    """The lift check's part of a certificate."""
    result = inspection.result
    items = inspection.sheet.items()
    named = (*(items if len(items) == 1 else ()), result.event)
    return Part(
        name="Lift check",
        result=result,
        identity=_event_pairs(result, system),
        picture=(),
        found=(event_list(result, system),),
        subjects=("valve", "event"),
        pages=lambda on_paper: tuple(_pages(inspection, on_paper, system)),
        title=": ".join(filter(None, ("Lift check", ", ".join(filter(None, named))))),
    )


def _pages(inspection: LiftCheckInspection, on_paper: Result, system: System) -> Iterator[Section]:
    """The list where there is more than one car, then a page for each; `on_paper`: the result as it is judged there."""
    assert isinstance(on_paper, LiftCheckResult)
    paper = _OnPaper(inspection, on_paper, system, counts(on_paper, system))
    items = inspection.sheet.items()
    if len(items) > 1:
        yield paper.whole()
    for item in items:
        yield from paper.car(item, alone=len(items) == 1)


@dataclass(frozen=True, slots=True)
class _OnPaper:
    """A lift check as it is printed. decimals: of each verdict, one count over the whole event."""

    inspection: LiftCheckInspection
    result: LiftCheckResult
    system: System
    decimals: Mapping[Verdict, int]

    @property
    def rule(self) -> DecisionRule:
        """How it is decided."""
        return self.inspection.sheet.decision

    def whole(self) -> Section:
        """The event: every valve in the order it came."""
        result = self.result
        blocks: list[Block] = [
            Identity(_event_pairs(result, self.system)),
            banner(result.verdicts, [self.rule]),
            event_list(result, self.system),
            *self._not_of_a_car(),
            *_attention(map(_told, (note for note in result.notes if note.level == "warning"))),
            Paragraph(CARRIED, "small"),
            Signatures(SIGNS),
        ]
        title = _words("Lift check", result.event)
        running = _words("Lift check", result.event, result.date, result.inspector, _instrument(result))
        return Section(title, tuple(blocks), new_page=True, running=running)

    def car(self, item: str, *, alone: bool) -> Iterator[Section]:
        """A car's page, as several sections for their sizes."""
        result, valves = self.result, self.inspection.valves
        rows = [row for row in result.checks if row.item == item]
        names = {row.name: row.valve for row in rows}
        verdicts = [verdict for verdict in result.verdicts if verdict.item in names]
        pairs, decision = self._car_pairs(rows), self._decision(verdicts, names)
        readings = (
            car_readings(rows, self._lift_decimals(), self.system, _read_where(rows))
            if len(rows) <= ROW_A_READING
            else valve_list(rows, verdicts, self.decimals, self.system, _read_where(rows))
        )
        remarks = [_told(note) for one in valves if one.check.name in names for note in remarks_on(one)]
        remarks += [_told(note) for note in result.notes if note.about == "instrument" and note.level == "warning"]
        much = len(rows), len(readings.rows), len(pairs), decision.sentence.split("\n")
        look = next((one for one in LOOKS if one.height_mm(*much) + REMARK_MM * len(remarks) <= ROOM_MM), LOOKS[-1])
        running = _words(item, rows[0].entrant, result.event, result.date, _instrument(result))

        def section(size: float, *blocks: Block, title: str = "") -> Section:
            return Section(title, blocks, new_page=bool(title), size=size, running=running)

        yield section(1.6, title=f"{item}: lift check")
        yield section(min(1.2, look.words), Identity(pairs))
        yield section(look.decision, decision)
        yield section(look.words, *self._scales(rows, verdicts, look))
        yield section(
            look.words,
            readings,
        )
        method = Paragraph(f"{METHOD} {in_words(self.rule)} {CARRIED}", "small")
        unanswered = self._not_of_a_car() if alone else []
        yield section(1.0, *unanswered, *_attention(remarks), method, Paragraph(CAUTION, "strong"), Signatures(SIGNS))

    def _lift_decimals(self) -> int:
        """Decimals of lifts, one count over the whole event."""
        return decimals_of((row.standard_uncertainty_mm for row in self.result.checks), "mm", self.system)

    def _not_of_a_car(self) -> list[Block]:
        """Rows of a spec that no car's readings answer."""
        names = {row.name for row in self.result.checks}
        rows = [verdict for verdict in self.result.verdicts if verdict.item not in names]
        return verdict_blocks(rows, [self.result], self.system, "Not answered") if rows else []

    def _car_pairs(self, rows: Sequence[CheckedLift]) -> tuple[tuple[str, str | None], ...]:
        entrant = next((row.entrant for row in rows if row.entrant), None)
        warm = dict.fromkeys(f"{row.temperature_degc:g} °C" for row in rows if row.temperature_degc is not None)
        remarks = dict.fromkeys(row.remark for row in rows if row.remark)
        further = (("temperature", ", ".join(warm)), ("remark", "; ".join(remarks)))
        return (
            ("item", rows[0].item), ("entrant", entrant), *_event_pairs(self.result, self.system),
            *((label, text) for label, text in further if text),
        )  # fmt: skip

    def _decision(self, verdicts: Sequence[Verdict], valves: Mapping[str, str]) -> Banner:
        """The decision on a car in words."""
        worst = overall(verdicts)
        if worst is None:
            return banner((), [self.rule])
        if len(verdicts) > MOST_SENTENCES:
            return banner(verdicts, [self.rule])
        told = (self._sentence(verdict, valves[verdict.item]) for verdict in verdicts)
        return Banner(worst, WORDS[worst].capitalize(), "\n".join(told))

    def _sentence(self, verdict: Verdict, valve: str) -> str:
        """One verdict in words: how far from its limit, what was measured, the limits with their clause, how sure."""
        if verdict.measured is None:
            return f"{valve}: {verdict.reason}."
        decimals, system = self.decimals[verdict], self.system
        unit = display_unit(verdict.unit, system).label
        what = "" if verdict.characteristic == "rule_lift" else f" {verdict.characteristic}"
        ends = (("at least", verdict.lower), ("at most", verdict.upper))
        rule = " and ".join(
            f"{word} {lift_told(end, decimals, system, verdict.unit)} {unit}" for word, end in ends if end is not None
        )
        rule = ", ".join(filter(None, (rule, verdict.clause)))
        simple = NO_UNCERTAINTY if verdict.decision != "undecided" and verdict.probability_conforming is None else ""
        said = ", ".join(filter(None, (self._too_near(verdict), chance(verdict), simple, verdict.remark)))
        value = lift_told(verdict.measured, decimals, system, verdict.unit)
        text = f"{valve}{what} {value} {unit}: {margin(verdict, decimals, system)} ({rule})"
        return f"{text}; {said}." if said else f"{text}."

    def _too_near(self, verdict: Verdict) -> str:
        """Why a value is undecided that has a chance; empty for any other."""
        guard = guard_band(verdict.standard_uncertainty, self.rule.rule, self.rule.confidence)
        if verdict.decision != "undecided" or verdict.probability_conforming is None or not guard:
            return ""
        size = show(guard, verdict.unit, self.system, self.decimals[verdict])
        return f"nearer than the guard band of {size} {display_unit(verdict.unit, self.system).label}"

    def _scales(self, rows: Sequence[CheckedLift], verdicts: Sequence[Verdict], look: Look) -> list[FigureBlock]:
        """Each valve's readings on the rule's scale; of many valves those that are least sure to conform."""
        judged = {one.item: one for one in verdicts if one.characteristic == "rule_lift"}
        shown = [row for row in rows if row.name in judged and row.mean_mm is not None]
        surest = sorted(shown, key=lambda row: judged[row.name].probability_conforming or 0.0)
        shown = [row for row in shown if row in surest[:MOST_SCALES]]
        figures = [
            (scale_figure(row, (one := judged[row.name]), self.rule, self.decimals[one], self.system),) for row in shown
        ]
        return figure_rows(figures, min(look.across, len(figures)) or 1, look.scale_mm, [row.valve for row in shown])


def _words(*parts: str | None) -> str:
    return " · ".join(filter(None, parts))


def _read_where(rows: Sequence[CheckedLift]) -> str:
    """Where the readings were taken."""
    at = dict.fromkeys(
        "at the retainer" if row.ratio is None else f"at the lobe or lifter, lift by the ratio {row.ratio:g}"
        for row in rows
    )
    return f"Readings {'; '.join(at)}"


def _instrument(result: LiftCheckResult) -> str:
    told = result.instrument
    return " ".join(filter(None, (told.name, told.serial and f"no. {told.serial}")))


def _event_pairs(result: LiftCheckResult, system: System) -> tuple[tuple[str, str | None], ...]:
    told = result.instrument
    calibration = ", ".join(filter(None, (told.calibrated, told.due and f"due {told.due}")))
    u = told.standard_uncertainty_mm
    unit = display_unit("mm", system).label
    stated = None if u is None else f"u {lift_told(u, decimals_of((u,), 'mm', system), system)} {unit}"
    by_card = "by its card" if told.uncertainty_from == "card" else None
    return (
        ("event", result.event), ("date", result.date), ("inspector", result.inspector),
        ("instrument", _instrument(result) or None), ("calibrated", calibration or None),
        ("its uncertainty", f"{stated} ({told.uncertainty_from})" if stated else by_card),
    )  # fmt: skip


def _told(note: Note) -> str:
    """A note without keys; what the valve train has characteristics of is not loaded for it."""
    return in_print(f"{note.about}: {note.text}")


def _attention(told: Iterable[str]) -> list[Block]:
    """What has to be looked at, a line each."""
    return [Paragraph(f"Attention, {text}.", "strong") for text in dict.fromkeys(told)]
