"""What a lift check puts on paper: a list of the event on one page, and a page a car."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from valvelab.decimals import decimals_of, percent
from valvelab.figures.rule_figures import scale_figure
from valvelab.inspection.lift_check.inspect import CAUTION, LiftCheckInspection
from valvelab.records.lift_check_result import CheckedLift, LiftCheckResult
from valvelab.records.result import Result, Verdict
from valvelab.records.spec import DecisionRule
from valvelab.report.assembly import Part, banner, in_words, verdict_blocks
from valvelab.report.page_model import Banner, Block, Box, FigureBlock, Identity, Paragraph, Section, Signatures
from valvelab.report.texts import CARRIED
from valvelab.tables.lift_check import event_list, lift_told, reading_table, readings_of
from valvelab.tables.verdicts import WORDS, counts, overall
from valvelab.units import System, display_unit

SIGNS = ("inspector, date", "entrant, date", "for the event, date")
SCALE_MM = 36.0
ACROSS = 2
METHOD = (
    "Lift = mean of the readings at full lift − mean of the shut ones; u² = calibration² + u(open)² + u(zero)², "
    "u of a mean by JCGM 101:2008, 6.4.9; chance of conformity by JCGM 106:2012."
)


def lift_check_part(inspection: LiftCheckInspection, system: System = "metric") -> Part:
    """The lift check's part of a certificate."""
    result = inspection.result
    return Part(
        name="Lift check",
        result=result,
        identity=_event_pairs(result, system),
        overview=(event_list(result, system),),
        sections=tuple(_pages(inspection, result, system)),
        subjects=("valve", "event"),
        pages=lambda on_paper: tuple(_own_pages(inspection, on_paper, system)),
    )


def _own_pages(inspection: LiftCheckInspection, on_paper: Result, system: System) -> Iterator[Section]:
    """The list where there is more than one car, then a page for each; `on_paper`: the result as it is judged there."""
    assert isinstance(on_paper, LiftCheckResult)
    if len(inspection.sheet.items()) > 1:
        yield _list(inspection, on_paper, system)
    yield from _pages(inspection, on_paper, system)


def _list(inspection: LiftCheckInspection, result: LiftCheckResult, system: System) -> Section:
    rule = inspection.sheet.decision
    blocks: list[Block] = [
        Identity(_event_pairs(result, system)),
        banner(result.verdicts, [rule]),
        event_list(result, system),
        *_not_of_a_car(result, system),
        *_attention(result, {note.about for note in result.notes}),
        Paragraph(CARRIED, "small"),
        Signatures(SIGNS),
    ]
    return Section(" · ".join(filter(None, ("Lift check", result.event))), tuple(blocks), new_page=True)


def _not_of_a_car(result: LiftCheckResult, system: System) -> list[Block]:
    """Rows of a spec that no car's readings answer."""
    names = {row.name for row in result.checks}
    rows = [verdict for verdict in result.verdicts if verdict.item not in names]
    return verdict_blocks(rows, [result], system, "Not answered") if rows else []


def _pages(inspection: LiftCheckInspection, result: LiftCheckResult, system: System) -> Iterator[Section]:
    items = inspection.sheet.items()
    for item in items:
        rows = [row for row in result.checks if row.item == item]
        names = {row.name for row in rows}
        verdicts = [verdict for verdict in result.verdicts if verdict.item in names]
        blocks: list[Block] = [
            Identity(_car_pairs(result, rows, system)),
            _decision(verdicts, rows, inspection.sheet.decision, result, system),
            *_scales(rows, verdicts, inspection.sheet.decision, result, system),
            *(reading_table(row, system, f"{row.valve}: readings, {_where(row)}") for row in rows if readings_of(row)),
            *(verdict_blocks(verdicts, [result], system) if verdicts else ()),
            *(_not_of_a_car(result, system) if len(items) == 1 else ()),
            *_attention(result, names | {"instrument"}),
            Paragraph(f"{METHOD} {in_words(inspection.sheet.decision)} {CARRIED}", "small"),
            Box("At the engine", (CAUTION,)),
            Signatures(SIGNS),
        ]
        yield Section(f"{item}: lift check", tuple(blocks), new_page=True)


def _where(row: CheckedLift) -> str:
    return "at the retainer" if row.ratio is None else f"at the lobe or lifter; lift derived by the ratio {row.ratio:g}"


def _event_pairs(result: LiftCheckResult, system: System) -> tuple[tuple[str, str | None], ...]:
    told = result.instrument
    named = " ".join(filter(None, (told.name, told.serial and f"no. {told.serial}")))
    calibration = ", ".join(
        f"{word} {day}" for word, day in (("calibrated", told.calibrated), ("due", told.due)) if day
    )
    u = told.standard_uncertainty_mm
    unit = display_unit("mm", system).label
    stated = None if u is None else f"u {lift_told(u, decimals_of((u,), 'mm', system), system)} {unit}"
    return (
        ("event", result.event), ("date", result.date), ("inspector", result.inspector), ("instrument", named or None),
        ("its calibration", calibration or None),
        ("its uncertainty", stated and f"{stated} ({told.uncertainty_from})"),
    )  # fmt: skip


def _car_pairs(
    result: LiftCheckResult, rows: Sequence[CheckedLift], system: System
) -> tuple[tuple[str, str | None], ...]:
    entrant = next((row.entrant for row in rows if row.entrant), None)
    warm = dict.fromkeys(f"{row.temperature_degc:g} °C" for row in rows if row.temperature_degc is not None)
    remarks = dict.fromkeys(row.remark for row in rows if row.remark)
    further = (("temperature", ", ".join(warm)), ("remark", "; ".join(remarks)))
    return (
        ("car, boat or engine", rows[0].item), ("entrant", entrant), *_event_pairs(result, system),
        *((label, text) for label, text in further if text),
    )  # fmt: skip


def _decision(
    verdicts: Sequence[Verdict],
    rows: Sequence[CheckedLift],
    rule: DecisionRule,
    result: LiftCheckResult,
    system: System,
) -> Banner:
    """The decision on a car in words, its gravest verdict first."""
    worst = overall(verdicts)
    if worst is None:
        return banner((), [rule])
    if len(verdicts) > 4:
        return banner(verdicts, [rule])
    valves = {row.name: row.valve for row in rows}
    decimals = counts(result, system)
    told = [sentence_of(verdict, valves[verdict.item], decimals[verdict], system) for verdict in verdicts]
    return Banner(worst, WORDS[worst].capitalize(), " ".join(told))


def sentence_of(verdict: Verdict, valve: str, decimals: int, system: System) -> str:
    """One verdict in words: the valve, what was measured, its limits with their clause, the chance of conformity."""
    unit = display_unit(verdict.unit, system).label
    if verdict.measured is None:
        return f"{valve}: {verdict.reason}."
    event = "" if verdict.characteristic == "rule_lift" else f" {verdict.characteristic}"
    ends = (("at least", verdict.lower), ("at most", verdict.upper))
    rule = " and ".join(
        f"{word} {lift_told(end, decimals, system, verdict.unit)}" for word, end in ends if end is not None
    )
    clause = f" ({verdict.clause})" if verdict.clause else ""
    chance = verdict.probability_conforming
    sure = "" if chance is None else f", {percent(chance)} sure to conform"
    value = lift_told(verdict.measured, decimals, system, verdict.unit)
    return f"{valve}{event}: {value} {unit} against {rule} {unit}{clause}{sure}."


def _scales(
    rows: Sequence[CheckedLift],
    verdicts: Sequence[Verdict],
    rule: DecisionRule,
    result: LiftCheckResult,
    system: System,
) -> list[FigureBlock]:
    """Each valve's readings on the rule's scale, two beside each other."""
    found = []
    for row in rows:
        verdict = next((one for one in verdicts if one.item == row.name and one.characteristic == "rule_lift"), None)
        if verdict is not None and row.mean_mm is not None:
            found.append((row.valve, scale_figure(row, verdict, rule, counts(result, system)[verdict], system)))
    blocks = []
    for start in range(0, len(found), ACROSS):
        pair = found[start : start + ACROSS]
        columns = tuple((figure,) for _, figure in pair)
        blocks.append(FigureBlock(columns, SCALE_MM, tuple(valve for valve, _ in pair)))
    return blocks


def _attention(result: LiftCheckResult, about: set[str]) -> list[Block]:
    """Warnings on these, a line each."""
    warned = (note for note in result.notes if note.level == "warning")
    return [
        Paragraph(f"Attention, {note.about}: {note.text}.", "small")
        for note in warned
        if about & {name.strip() for name in note.about.split(",")}
    ]
