"""Shaft readings in, form of journals and axis out."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import pairwise

from valvelab.camshaft.journal import JournalForm
from valvelab.camshaft.roundness import JournalTrace, coverage, standing_out
from valvelab.camshaft.taper import taper
from valvelab.camshaft.vee_block import blind_orders
from valvelab.errors import BadFile, CannotEvaluate
from valvelab.frozen import frozen
from valvelab.inspection.characteristics import Subject
from valvelab.inspection.form.characteristics import (
    NO_DIRECTION,
    SHAFT,
    STATION,
    has_direction,
    no_roundness,
    not_held,
    sliding,
)
from valvelab.inspection.form.measured import (
    AT_VEE_MM,
    Axis,
    MeasuredForm,
    MeasuredJournal,
    is_lobe,
    measured_axis,
    measured_journal,
)
from valvelab.inspection.judging import Item, item_of, judged
from valvelab.phrase import Phrase, listed
from valvelab.pieces import in_pieces
from valvelab.records.form_measurement import ShaftReadings
from valvelab.records.result import Note, Source, info, warning
from valvelab.records.shaft_result import (
    HarmonicResult,
    ShaftResult,
    StationResult,
    StraightnessResult,
    TaperResult,
)
from valvelab.records.spec import Spec

_SHOWN_ORDERS = 15


@frozen
class ShaftQuestion:
    """Readings, how to filter the form (undulations per turn, None unfiltered), and the spec to judge by."""

    readings: ShaftReadings
    undulations: int | None = None
    spec: Spec | None = None
    spec_file: str = ""
    other_sources: tuple[Source, ...] = ()


@frozen
class ShaftInspection:
    """An answered inspection: the result document and what plots draw.

    `journals` holds the evaluated ones only, in the order of the stations.
    """

    question: ShaftQuestion
    result: ShaftResult
    journals: tuple[JournalForm, ...]
    axis: Axis


def inspect_shaft(question: ShaftQuestion) -> ShaftInspection:
    """Evaluate every journal and the axis through them; judge where a spec is given.

    A journal read over too little of the turn gets null and a note; where that leaves nothing at all, BadFile.
    """
    readings = question.readings
    notes: list[Note] = list(readings.notes)
    traces = [trace for trace in readings.traces if not is_lobe(trace)]
    journals = [measured_journal(trace, traces, readings, question.undulations) for trace in in_pieces(traces)]
    for journal in journals:
        notes.extend(_remarks(journal, readings))
    forms = [journal.form for journal in journals if journal.form is not None]
    if journals and not forms:
        raise BadFile(readings.file, "", journals[0].refusal, "readings all the way round at least one journal")
    tapers, taper_notes = _tapers(readings)
    if not forms and not tapers:
        raise BadFile(
            readings.file,
            "",
            "lobes only, each read in one track",
            "journals, or two tracks of a lobe to see its taper",
        )
    notes.extend(taper_notes)
    notes.extend(_support_notes(readings, forms))
    axis, axis_notes = measured_axis(readings, journals)
    notes.extend(axis_notes)
    form = MeasuredForm(axis, tuple(tapers))
    result = ShaftResult(
        source=(readings.source, *question.other_sources),
        support="centres" if readings.vees is None else "vees",
        undulations_per_turn=question.undulations,
        stations=tuple(map(_station, journals)),
        straightness=_straightness(form),
        tapers=tuple(tapers),
    )
    items: dict[Subject, list[Item]] = {
        "station": [item_of(journal.label, "journal", journal, STATION) for journal in journals],
        "shaft": [item_of(Phrase("shaft"), None, form, SHAFT)],
    }
    result = judged(result, notes, question.spec, items, question.spec_file)
    return ShaftInspection(question, result, tuple(forms), axis)


def _station(journal: MeasuredJournal) -> StationResult:
    form, seen = journal.form, coverage(journal.trace.angle_deg)
    numbers = {row: row.measured(journal) for row in STATION}
    return StationResult(
        station=journal.trace.name,
        position_mm=journal.trace.position_mm,
        readings=journal.trace.angle_deg.size,
        turns=seen.turns,
        largest_gap_deg=seen.largest_gap_deg,
        harmonics=()
        if form is None
        else tuple(
            HarmonicResult(order=row.order, amplitude_um=1000.0 * row.amplitude_mm, angle_deg=row.angle_deg)
            for row in form.harmonics.orders[:_SHOWN_ORDERS]
        ),
        uncertainty={} if form is None else {row.key: found.u for row, found in numbers.items() if row.states_u},
        **{row.key: found.value for row, found in numbers.items()},
    )


def _straightness(form: MeasuredForm) -> StraightnessResult:
    known = {row.named: row.measured(form) for row in SHAFT if row.named}
    lines = {key: known[key] for key in StraightnessResult.model_fields if key in known}
    return StraightnessResult(
        worst_station=form.axis.worst_station,
        uncertainty={} if form.axis.refusal else {key: found.u for key, found in lines.items()},
        **{key: found.value for key, found in lines.items()},
    )


def _remarks(journal: MeasuredJournal, readings: ShaftReadings) -> Iterator[Note]:
    label, form = journal.label, journal.form
    if form is None:
        yield warning(label, Phrase("not evaluated: {refusal}", refusal=journal.refusal))
        return
    seen = form.coverage
    if seen.has_gap:
        yield warning(
            label,
            Phrase(
                "nothing was read over {largest_gap} deg from {gap_from} deg on; form inside the gap is not seen",
                largest_gap=f"{seen.largest_gap_deg:.0f}",
                gap_from=f"{seen.gap_from_deg:.0f}",
            ),
        )
    if not has_direction(form):
        yield info(label, NO_DIRECTION)
    if not form.has_roundness:
        yield warning(label, no_roundness(form))
    if seen.turns > 1.2:
        yield info(label, Phrase("read over {turns} turns; every reading counts", turns=f"{seen.turns:.1f}"))
    slips = standing_out(form.trace.angle_deg, form.trace.reading_mm)
    if slips:
        where = ", ".join(f"{form.trace.angle_deg[k]:g}" for k in slips[:5])
        yield warning(
            label,
            Phrase(
                "{count} reading(s) stand far off their neighbours, kept as read: at {where} deg",
                count=len(slips),
                where=where,
            ),
        )
    if form.harmonics.noise_mm is None and readings.probe_uncertainty_mm is None:
        yield info(label, Phrase("no uncertainty: no repeated turns, too few readings, no probe uncertainty stated"))
    if form.least_squares.roundness_mm > 0.5:
        yield warning(label, Phrase("out of round by more than 0.5 mm: reads like a lobe, not a journal"))
    for kind in form.sliding if form.has_roundness else ():
        held = info(label, Phrase("{sliding}; the one stated takes the angles as exact", sliding=sliding(form, kind)))
        yield warning(label, not_held(form, kind)) if form.radius_mm is None else held


def _support_notes(readings: ShaftReadings, forms: list[JournalForm]) -> Iterator[Note]:
    """What vees do to the readings, and where the trace holds orders that such vees do not see."""
    vees = readings.vees
    if vees is None:
        return
    blind = blind_orders(vees.angle_deg, _SHOWN_ORDERS)
    named = ", ".join(map(str, blind)) or Phrase("none")
    yield info(
        "vees",
        Phrase(
            "readings are relative to the line through the vees at {positions} and {other} mm; "
            "a {angle} deg vee does not see lobing of order {named} (up to {shown_orders}), and "
            "shows other orders enlarged or reduced",
            positions=f"{vees.positions_mm[0]:g}",
            other=f"{vees.positions_mm[1]:g}",
            angle=f"{vees.angle_deg:g}",
            named=named,
            shown_orders=_SHOWN_ORDERS,
        ),
    )
    for form in forms:
        position = form.trace.position_mm
        if position is not None and min(abs(position - place) for place in vees.positions_mm) <= AT_VEE_MM:
            yield warning(
                form.trace.name,
                Phrase(
                    "read over its own vee: eccentricity cancels there, and roundness is that of the vee "
                    "method, blind to order {named}",
                    named=named,
                ),
            )
            continue
        floor = max(0.1 * form.least_squares.roundness_mm, 4.0 * (form.harmonics.noise_mm or 0.0))
        hidden = [row for row in form.harmonics.orders if row.order in blind and 2.0 * row.amplitude_mm > floor > 0.0]
        if hidden:
            orders = listed(
                Phrase("{order} ({size} µm)", order=row.order, size=f"{2000.0 * row.amplitude_mm:.2f}")
                for row in hidden
            )
            yield warning(
                form.trace.name,
                Phrase(
                    "the trace has lobing of order {orders}, which these vees would not see on the journals "
                    "they carry; read those between centres",
                    orders=orders,
                ),
            )


def _tapers(readings: ShaftReadings) -> tuple[list[TaperResult], list[Note]]:
    tracks: dict[str, list[JournalTrace]] = {}
    for trace in readings.traces:
        tracks.setdefault(trace.name, []).append(trace)
    results: list[TaperResult] = []
    notes: list[Note] = []
    probe = readings.probe_uncertainty_mm
    for name, found in tracks.items():
        if len(found) < 2:
            if is_lobe(found[0]):
                notes.append(
                    info(name, Phrase("a lobe in one track: its profile is a matter for a lift table, no taper here"))
                )
            continue
        ordered = sorted(found, key=lambda trace: float(trace.position_mm or 0.0))
        for first, second in pairwise(ordered):
            try:
                seen = taper(first, second)
            except CannotEvaluate as error:
                notes.append(warning(name, Phrase("no taper: {error}", error=error)))
                continue
            spread = None if probe is None else 1000.0 * math.sqrt(2.0) * probe
            results.append(
                TaperResult(
                    station=name,
                    from_mm=float(first.position_mm or 0.0),
                    to_mm=float(second.position_mm or 0.0),
                    taper_um=1000.0 * seen.mean_mm,
                    taper_um_per_mm=1000.0 * seen.mean_mm / seen.length_mm,
                    angle_arcmin=seen.angle_arcmin,
                    highest_um=1000.0 * seen.highest_mm,
                    uncertainty={"taper_um": spread},
                )
            )
    if results:
        notes.append(info("taper", Phrase("holds where both tracks were read on one zero of the probe")))
    return results, notes
