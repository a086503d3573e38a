"""Shaft readings in, form of journals and axis out."""

from __future__ import annotations

import math
import re
from collections import Counter
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from valvelab.camshaft.journal import JournalForm, JournalUncertainty, evaluate_journal, journal_uncertainty
from valvelab.camshaft.roundness import FEWEST_FOR_ROUNDNESS, Circle, JournalTrace, coverage, standing_out
from valvelab.camshaft.straightness import AxisLine, least_squares_axis, minimum_zone_axis
from valvelab.camshaft.taper import taper
from valvelab.camshaft.vee_block import blind_orders
from valvelab.errors import BadFile, CannotEvaluate
from valvelab.inspection.characteristics import Subject
from valvelab.inspection.judging import Item, judge
from valvelab.measured import Measured
from valvelab.records.form_measurement import ShaftReadings
from valvelab.records.result import Note, Source, Verdict, info, warning
from valvelab.records.shaft_result import (
    HarmonicResult,
    ShaftResult,
    StationResult,
    StraightnessResult,
    TaperResult,
)
from valvelab.records.spec import Spec

_LOBE_NAME = re.compile(r"\d+\s*[IE]\d*", re.IGNORECASE)
_AT_VEE_MM = 1.0
_SHOWN_ORDERS = 15
_NO_DIRECTION_MM = 1e-7
"""A centre this near the axis of turning lies in no direction."""


@dataclass(frozen=True, slots=True)
class ShaftQuestion:
    """Readings, how to filter the form (undulations per turn, None unfiltered), and the spec to judge by."""

    readings: ShaftReadings
    undulations: int | None = None
    spec: Spec | None = None
    spec_file: str = ""
    other_sources: tuple[Source, ...] = ()


@dataclass(frozen=True, slots=True)
class Axis:
    """The centres the axis lines went through, the vees' own places among them, and both lines where there are any.

    `centres_mm`: (toward 0 deg, toward 90 deg) for each place.
    """

    positions_mm: tuple[float, ...]
    centres_mm: tuple[tuple[float, float], ...]
    names: tuple[str, ...]
    least_squares: AxisLine | None
    minimum_zone: AxisLine | None


@dataclass(frozen=True, slots=True)
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
    stations: list[StationResult] = []
    forms: list[JournalForm] = []
    uncertainties: list[JournalUncertainty] = []
    refusals: list[str] = []
    journals = [trace for trace in readings.traces if not is_lobe(trace)]
    for trace in journals:
        label = _label(trace, journals)
        try:
            form = evaluate_journal(trace, readings.journal_radius_mm, question.undulations)
        except CannotEvaluate as error:
            notes.append(warning(label, f"not evaluated: {error}"))
            refusals.append(str(error))
            stations.append(_unread(trace))
            continue
        uncertainty = journal_uncertainty(form, readings.probe_uncertainty_mm)
        stations.append(_station(form, uncertainty))
        forms.append(form)
        uncertainties.append(uncertainty)
        notes.extend(_remarks(label, form, readings) + _sliding_notes(label, form))
    if not forms and refusals:
        raise BadFile(readings.file, "", refusals[0], "readings all the way round at least one journal")
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
    straightness, axis, axis_notes = _straightness(readings, forms, uncertainties)
    notes.extend(axis_notes)
    result = ShaftResult(
        source=(readings.source, *question.other_sources),
        support="centres" if readings.vees is None else "vees",
        undulations_per_turn=question.undulations,
        stations=tuple(stations),
        straightness=straightness,
        tapers=tuple(tapers),
    )
    verdicts: list[Verdict] = []
    if question.spec is not None:
        verdicts, judged = judge(question.spec, shaft_items(result), question.spec_file)
        notes.extend(judged)
    result = result.model_copy(update={"notes": tuple(notes), "verdicts": tuple(verdicts)})
    return ShaftInspection(question, result, tuple(forms), axis)


def is_lobe(trace: JournalTrace) -> bool:
    """Whether a trace went round a lobe, by its name."""
    return _LOBE_NAME.fullmatch(trace.name) is not None


def _label(trace: JournalTrace, traces: list[JournalTrace]) -> str:
    """The station's name, with its position where it was read in several tracks."""
    several = sum(other.name == trace.name for other in traces) > 1
    return f"{trace.name} at {trace.position_mm:g} mm" if several else trace.name


def _unread(trace: JournalTrace) -> StationResult:
    seen = coverage(trace.angle_deg)
    return StationResult(
        station=trace.name, position_mm=trace.position_mm, readings=trace.angle_deg.size, turns=seen.turns,
        largest_gap_deg=seen.largest_gap_deg, eccentricity_mm=None, eccentricity_angle_deg=None, tir_mm=None,
        roundness_lsc_um=None, roundness_mzc_um=None, roundness_mic_um=None, roundness_mcc_um=None, noise_um=None,
        harmonics=(), uncertainty={},
    )  # fmt: skip


def _um(value_mm: float | None) -> float | None:
    return None if value_mm is None else 1000.0 * value_mm


def _sliding_notes(label: str, form: JournalForm) -> list[Note]:
    """What to know of circles that two opposite readings alone hold."""
    notes = []
    for kind in form.sliding if form.has_roundness else ():
        low, high = (1000.0 * end for end in form.circles[kind].sliding_mm or (0.0, 0.0))
        held = f"{kind} circle: two opposite readings alone hold it, and as it slides along them its roundness is "
        held += f"{low:.2f} to {high:.2f} µm"
        if form.radius_mm is None:
            notes.append(warning(label, f"{held}: not stated; it takes the journal's diameter, or more angles"))
        else:
            notes.append(info(label, f"{held}; the one stated takes the angles as exact"))
    return notes


def _station(form: JournalForm, u: JournalUncertainty) -> StationResult:
    def roundness(kind: Circle) -> float | None:
        if not form.has_roundness or (form.radius_mm is None and kind in form.sliding):
            return None
        return 1000.0 * form.circles[kind].roundness_mm

    def spread(kind: Circle) -> float | None:
        return _um(u.roundness_mm[kind]) if roundness(kind) is not None else None

    circle = form.least_squares
    return StationResult(
        station=form.trace.name,
        position_mm=form.trace.position_mm,
        readings=form.trace.angle_deg.size,
        turns=form.coverage.turns,
        largest_gap_deg=form.coverage.largest_gap_deg,
        eccentricity_mm=circle.eccentricity_mm,
        eccentricity_angle_deg=circle.angle_deg if circle.eccentricity_mm > _NO_DIRECTION_MM else None,
        tir_mm=form.tir_mm,
        roundness_lsc_um=roundness("least squares"),
        roundness_mzc_um=roundness("minimum zone"),
        roundness_mic_um=roundness("inscribed"),
        roundness_mcc_um=roundness("circumscribed"),
        noise_um=_um(form.harmonics.noise_mm),
        harmonics=tuple(
            HarmonicResult(order=row.order, amplitude_um=1000.0 * row.amplitude_mm, angle_deg=row.angle_deg)
            for row in form.harmonics.orders[:_SHOWN_ORDERS]
        ),
        uncertainty={
            "eccentricity_mm": u.centre_mm,
            "eccentricity_angle_deg": u.angle_deg,
            "tir_mm": u.tir_mm,
            "roundness_lsc_um": spread("least squares"),
            "roundness_mzc_um": spread("minimum zone"),
            "roundness_mic_um": spread("inscribed"),
            "roundness_mcc_um": spread("circumscribed"),
        },
    )


def _remarks(label: str, form: JournalForm, readings: ShaftReadings) -> list[Note]:
    notes = []
    seen = form.coverage
    if seen.has_gap:
        notes.append(
            warning(
                label,
                f"nothing was read over {seen.largest_gap_deg:.0f} deg from {seen.gap_from_deg:.0f} deg on; "
                "form inside the gap is not seen",
            )
        )
    if form.least_squares.eccentricity_mm <= _NO_DIRECTION_MM:
        notes.append(info(label, "no eccentricity, so its angle has no meaning"))
    if not form.has_roundness:
        notes.append(
            warning(label, f"no roundness from {seen.distinct} angles; it takes {FEWEST_FOR_ROUNDNESS} or more")
        )
    if seen.turns > 1.2:
        notes.append(info(label, f"read over {seen.turns:.1f} turns; every reading counts"))
    slips = standing_out(form.trace.angle_deg, form.trace.reading_mm)
    if slips:
        where = ", ".join(f"{form.trace.angle_deg[k]:g}" for k in slips[:5])
        notes.append(
            warning(label, f"{len(slips)} reading(s) stand far off their neighbours, kept as read: at {where} deg")
        )
    if form.harmonics.noise_mm is None and readings.probe_uncertainty_mm is None:
        notes.append(info(label, "no uncertainty: no repeated turns, too few readings, no probe uncertainty stated"))
    if form.least_squares.roundness_mm > 0.5:
        notes.append(warning(label, "out of round by more than 0.5 mm: reads like a lobe, not a journal"))
    return notes


def _support_notes(readings: ShaftReadings, forms: list[JournalForm]) -> list[Note]:
    """What vees do to the readings, and where the trace holds orders that such vees do not see."""
    vees = readings.vees
    if vees is None:
        return []
    blind = blind_orders(vees.angle_deg, _SHOWN_ORDERS)
    named = ", ".join(map(str, blind)) or "none"
    notes = [
        info(
            "vees",
            f"readings are relative to the line through the vees at {vees.positions_mm[0]:g} and "
            f"{vees.positions_mm[1]:g} mm; a {vees.angle_deg:g} deg vee does not see lobing of order {named} "
            f"(up to {_SHOWN_ORDERS}), and shows other orders enlarged or reduced",
        )
    ]
    for form in forms:
        position = form.trace.position_mm
        if position is not None and min(abs(position - place) for place in vees.positions_mm) <= _AT_VEE_MM:
            notes.append(
                warning(
                    form.trace.name,
                    "read over its own vee: eccentricity cancels there, and roundness is that of the vee method, "
                    f"blind to order {named}",
                )
            )
            continue
        floor = max(0.1 * form.least_squares.roundness_mm, 4.0 * (form.harmonics.noise_mm or 0.0))
        hidden = [row for row in form.harmonics.orders if row.order in blind and 2.0 * row.amplitude_mm > floor > 0.0]
        if hidden:
            listed = ", ".join(f"{row.order} ({2000.0 * row.amplitude_mm:.2f} µm)" for row in hidden)
            notes.append(
                warning(
                    form.trace.name,
                    f"the trace has lobing of order {listed}, which these vees would not see on the journals they "
                    "carry; read those between centres",
                )
            )
    return notes


def _straightness(
    readings: ShaftReadings, forms: list[JournalForm], uncertainties: list[JournalUncertainty]
) -> tuple[StraightnessResult, Axis, list[Note]]:
    placed = [(form, u) for form, u in zip(forms, uncertainties, strict=True) if form.trace.position_mm is not None]
    positions = [float(form.trace.position_mm or 0.0) for form, _ in placed]
    centres = [form.least_squares.centre_mm for form, _ in placed]
    names = [form.trace.name for form, _ in placed]
    spreads: list[float | None] = [u.centre_mm for _, u in placed]
    notes: list[Note] = []
    for place in () if readings.vees is None else readings.vees.positions_mm:
        if all(abs(place - position) > _AT_VEE_MM for position in positions):
            positions.append(place)
            centres.append((0.0, 0.0))
            names.append(f"vee at {place:g} mm")
            spreads.append(0.0)
            notes.append(info("straightness", f"the vee at {place:g} mm counts as a centre with no eccentricity"))
    try:
        z, c = np.asarray(positions, dtype=np.float64), np.asarray(centres, dtype=np.float64).reshape(-1, 2)
        if z.size < len(forms):
            notes.append(warning("straightness", "stations without a position were left out"))
        least, zone = least_squares_axis(z, c), minimum_zone_axis(z, c)
    except CannotEvaluate as error:
        notes.append(warning("straightness", f"not derived: {error}"))
        empty = StraightnessResult(least_squares_um=None, minimum_zone_um=None, worst_station=None, uncertainty={})
        return empty, Axis(tuple(positions), tuple(centres), tuple(names), None, None), notes
    repeated = [name for name, count in Counter(names).items() if count > 1]
    far = int(np.argmax(least.distances_mm[: len(placed)])) if placed else least.worst
    worst = names[far] + (f" at {positions[far]:g} mm" if names[far] in repeated else "")
    result = StraightnessResult(
        least_squares_um=1000.0 * least.zone_mm,
        minimum_zone_um=1000.0 * zone.zone_mm,
        worst_station=worst,
        uncertainty={
            "least_squares_um": _um(_axis_uncertainty(least, spreads)),
            "minimum_zone_um": _um(_axis_uncertainty(zone, spreads)),
        },
    )
    return result, Axis(tuple(positions), tuple(centres), tuple(names), least, zone), notes


def _axis_uncertainty(line: AxisLine, spreads: list[float | None]) -> float | None:
    known = [spread for spread in spreads if spread is not None]
    if len(known) < len(spreads):
        return None
    shares = np.square(line.weights).sum(axis=1)
    return math.sqrt(float(shares @ np.square(known)))


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
                notes.append(info(name, "a lobe in one track: its profile is a matter for a lift table, no taper here"))
            continue
        ordered = sorted(found, key=lambda trace: float(trace.position_mm or 0.0))
        for first, second in pairwise(ordered):
            try:
                seen = taper(first, second)
            except CannotEvaluate as error:
                notes.append(warning(name, f"no taper: {error}"))
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
        notes.append(info("taper", "holds where both tracks were read on one zero of the probe"))
    return results, notes


def shaft_items(result: ShaftResult) -> dict[Subject, list[Item]]:
    """What limits can be laid on: each station, and the shaft."""

    def station(row: StationResult, name: str) -> Item:
        def look_up(characteristic: str, _at_mm: float | None) -> Measured | None:
            for key in (f"{characteristic}_mm", f"{characteristic}_um"):
                if key in StationResult.model_fields:
                    return Measured(getattr(row, key), row.uncertainty.get(key), "see the notes on this station")
            return None

        return Item(name, "journal", look_up)

    counts = Counter(row.station for row in result.stations)
    names = [
        row.station if counts[row.station] == 1 else f"{row.station} at {row.position_mm:g} mm"
        for row in result.stations
    ]

    def shaft(characteristic: str, _at_mm: float | None) -> Measured | None:
        line = result.straightness
        if characteristic == "taper":
            if not result.tapers:
                return Measured(None, None, "no lobe or journal was read in two tracks")
            worst = max(result.tapers, key=lambda row: abs(row.taper_um))
            return Measured(abs(worst.taper_um), worst.uncertainty.get("taper_um"))
        key = {"straightness": "minimum_zone_um", "straightness_least_squares": "least_squares_um"}[characteristic]
        return Measured(getattr(line, key), line.uncertainty.get(key), "see the notes on straightness")

    rows = [station(row, name) for row, name in zip(result.stations, names, strict=True)]
    return {"station": rows, "shaft": [Item("shaft", None, shaft)]}
