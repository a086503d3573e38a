"""Inspecting a camshaft: a lift table and a spec in, characteristics, envelopes and verdicts out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cached_property

import numpy as np

from valvelab.angles import fold_scalar
from valvelab.conformity.expansion import expansion
from valvelab.errors import BadFile, CannotEvaluate
from valvelab.follower.shapes import Shape
from valvelab.frozen import frozen
from valvelab.inspection.judging import ENVELOPE, judge
from valvelab.inspection.lobes.camshaft import camshaft_result
from valvelab.inspection.lobes.characteristics import (
    CHARACTERISTICS,
    area,
    centre,
    chord_centre,
    crank_duration,
    items,
    lobe_numbers,
    measured,
    numbers_at,
    record_models,
    result_model,
)
from valvelab.inspection.lobes.contour import contour_notes
from valvelab.inspection.lobes.envelopes import LobeEnvelope, fit_envelopes, unanswered_envelopes
from valvelab.inspection.lobes.notes import (
    angle_notes,
    division_notes,
    doubt_notes,
    fit_notes,
    lobe_notes,
    spacing_notes,
    table_notes,
)
from valvelab.inspection.lobes.repeatability import LobeGroup, doubts_of, thinned, widening
from valvelab.inspection.lobes.shaft import MeasuredShaft
from valvelab.lobe.characteristics import Instrument, LobeCharacteristics, RampEnds
from valvelab.lobe.conditioning import condition, group
from valvelab.lobe.profile import Profile, fit_lobes
from valvelab.measured import finite
from valvelab.records.lobes_result import (
    LobeResult,
    LobesResult,
    OutlierReading,
    RampEnd,
    Ramps,
)
from valvelab.records.measurement import CHECKING_LIFTS_MM, COMPARISON_LIFT_MM, LiftTable
from valvelab.records.result import Note, Source, Verdict, warning
from valvelab.records.spec import NO_SPEC, Spec

Row = tuple[str, float | None, float | None, float | None]


@frozen
class LobesQuestion:
    """How lobes are inspected. checking lifts in mm; `convert_to`: describe the lobes under another follower.

    take_out_eccentricity: of the base circle, from the whole sweep. keep_zero: nothing is taken out by the base circle.
    """

    checking_lifts_mm: tuple[float, ...] = CHECKING_LIFTS_MM
    added_lifts_mm: tuple[float, ...] = ()
    take_out_eccentricity: bool = True
    keep_zero: bool = False
    convert_to: Shape | None = None

    @property
    def lifts_mm(self) -> tuple[float, ...]:
        """All checking lifts, ascending, each once."""
        return tuple(sorted(set(self.checking_lifts_mm) | set(self.added_lifts_mm)))

    @property
    def chord_lift_mm(self) -> float:
        """The checking lift of the chord centre: the first one asked for, else 1.27 mm."""
        return self.added_lifts_mm[0] if self.added_lifts_mm else COMPARISON_LIFT_MM


@frozen(slots=False)
class LobesInspection:
    """An answered inspection: the result document and the fitted values that plots draw."""

    table: LiftTable
    spec: Spec | None
    result: LobesResult
    shaft: MeasuredShaft
    question: LobesQuestion

    @property
    def groups(self) -> tuple[LobeGroup, ...]:
        """The groups that were fitted together."""
        return self.shaft.groups

    @property
    def envelopes(self) -> Mapping[str, LobeEnvelope]:
        """Every lobe that an envelope of the spec selects, in its envelope."""
        return self.shaft.envelopes

    @cached_property
    def profiles(self) -> dict[str, Profile]:
        """Every lobe's fitted profile, in the table's order."""
        return self.shaft.each(lambda group, row: group.fitted.profile(row))

    def durations_at(self, lift_mm: float) -> list[Row]:
        """Lobe, opening and closing (cam deg, not folded) and duration (crank deg) at any lift, in table order."""
        places = {group: group.characteristics.places_at(lift_mm) for group in self.groups}

        def of(group: LobeGroup, row: int) -> Row:
            first, last = (finite(side[row]) for side in places[group])
            return group.fitted.names[row], first, last, None if first is None or last is None else 2.0 * (last - first)

        return list(self.shaft.each(of).values())


def inspect_lobes(
    table: LiftTable,
    spec: Spec | None = None,
    nominals: Mapping[str, LiftTable] | None = None,
    question: LobesQuestion | None = None,
    spec_file: str = "spec",
    sources: tuple[Source, ...] = (),
) -> LobesInspection:
    """Inspect all lobes of a table.

    `nominals` holds the tables that the spec's envelopes name; `sources` further inputs (spec,
    nominals) for the record.
    Raises BadFile for readings that can't be used, BadSpec for a spec that can't be applied.
    """
    question = question or LobesQuestion()
    spec = spec or NO_SPEC
    shaft, notes = measured_shaft(table, question, spec, spec_file)
    notes += contour_notes(shaft)
    if question.convert_to is not None:
        shaft = replace(
            shaft, groups=tuple(converted(group, table, question.convert_to, notes) for group in shaft.groups)
        )
    shaft = replace(shaft, envelopes=fit_envelopes(shaft.groups, shaft.kinds, spec, spec_file, nominals or {}))
    lobes = _lobes(shaft, question)
    ranged = {
        "max_lift_mm": shaft.ask(LobeCharacteristics.max_lift),
        "duration_crank_deg": crank_duration(shaft, COMPARISON_LIFT_MM),
        "area_mm_cam_deg": shaft.ask(area),
    }
    camshaft, more = camshaft_result(shaft, ranged)
    notes += [warning("unit", envelope.doubt) for envelope in shaft.envelopes.values() if envelope.doubt]
    notes += [*more, *lobe_notes(shaft, lobes, centre(shaft), chord_centre(shaft))]
    verdicts, said = _verdicts(shaft)
    result = result_model()(
        source=(table.source, *sources),
        notes=tuple(
            dict.fromkeys([*table.notes, *table_notes(table), *angle_notes(shaft.without_angle), *notes, *said])
        ),
        verdicts=tuple(verdicts),
        lobes=lobes,
        camshaft=camshaft,
    )
    return LobesInspection(table, spec, result, shaft, question)


def measured_shaft(
    table: LiftTable, question: LobesQuestion | None = None, spec: Spec | None = None, spec_file: str = "spec"
) -> tuple[MeasuredShaft, list[Note]]:
    """The lobes of a table as fitted, to be asked what is wanted of them. Raises BadFile for readings of no use."""
    question = question or LobesQuestion()
    groups, without_angle, notes = fitted_groups(table, question)
    shaft = MeasuredShaft(
        table,
        tuple(groups),
        spec or NO_SPEC,
        spec_file,
        without_angle=without_angle,
        chord_lift_mm=question.chord_lift_mm,
        under=question.convert_to,
    )
    return shaft, notes


def _verdicts(shaft: MeasuredShaft) -> tuple[list[Verdict], list[Note]]:
    """Every limit and every envelope of the spec, judged."""
    spec = shaft.spec
    verdicts, said = judge(spec, {"lobe": items(shaft, "lobe"), "camshaft": items(shaft, "camshaft")}, shaft.spec_file)
    (row,) = (row for row in CHARACTERISTICS if row.name == ENVELOPE)
    deviations = measured(shaft, row)
    verdicts += [envelope.verdict(name, spec, deviations[name]) for name, envelope in shaft.envelopes.items()]
    withheld = {name: reason for group in shaft.groups for name, reason in group.withheld.items()}
    missing, more = unanswered_envelopes(spec, shaft.kinds, withheld)
    return [*verdicts, *missing], [*said, *more]


def _instrument(table: LiftTable) -> Instrument:
    return Instrument(
        table.probe_uncertainty_mm or 0.0,
        table.encoder_uncertainty_cam_deg or 0.0,
        expansion(table.temperature_degc),
    )


Groups = tuple[list[LobeGroup], frozenset[str], list[Note]]
"""Lobes fitted together, the lobes whose angle uncertainty is neither stated nor seen, and notes."""


def fitted_groups(table: LiftTable, question: LobesQuestion) -> Groups:
    """The lobes of a table as fitted. Raises BadFile for readings that can't be used."""
    try:
        return _groups(table, question)
    except CannotEvaluate as error:
        place, _, rest = str(error).partition(": ")
        found, _, expected = rest.partition(", expected ")
        raise BadFile(table.file, place, found.removeprefix("found ") or rest, expected or "usable readings") from error


def _groups(table: LiftTable, question: LobesQuestion) -> Groups:
    groups: list[LobeGroup] = []
    notes: list[Note] = []
    without_angle: list[str] = []
    for traces in group(table.traces):
        conditioned = condition(traces, table.probe_resolution_mm)
        fitted = fit_lobes(
            conditioned, take_out_eccentricity=question.take_out_eccentricity, keep_zero=question.keep_zero
        )
        characteristics = LobeCharacteristics(fitted, _instrument(table))
        doubts = doubts_of(fitted)
        if table.encoder_uncertainty_cam_deg is None and not doubts.angle_is_seen:
            without_angle += fitted.names
        fewer = thinned(characteristics, take_out_eccentricity=question.take_out_eccentricity)
        groups.append(LobeGroup(characteristics, doubts, widening(doubts, characteristics), fewer))
        notes += division_notes(table.probe_resolution_mm, conditioned.division_mm)
        notes += [*fit_notes(fitted), *doubt_notes(doubts, len(table.traces)), *spacing_notes(groups[-1])]
    return groups, frozenset(without_angle), notes


def converted(source: LobeGroup, table: LiftTable, shape: Shape, notes: list[Note]) -> LobeGroup:
    """Fitted lobes as another follower would see them; what is to be said of it goes to `notes`."""
    from valvelab.inspection.lobes.convert import convert

    found = convert(source.fitted, table, shape, notes)
    characteristics = LobeCharacteristics(found.fitted, _instrument(table), found.propagation)
    wider = None if source.doubts is None else widening(source.doubts, characteristics)
    return LobeGroup(characteristics, source.doubts, wider, withheld=found.withheld, source=source)


def _lobes(shaft: MeasuredShaft, question: LobesQuestion) -> tuple[LobeResult, ...]:
    """The record of every lobe: its numbers, and what is no single number."""
    numbers, durations = lobe_numbers(shaft), [numbers_at(shaft, lift) for lift in question.lifts_mm]
    lobe_model = record_models()[0]
    ramps = {group: group.characteristics.ramps() for group in shaft.groups}

    def of(group: LobeGroup, row: int) -> LobeResult:
        name = group.fitted.names[row]
        blocks = numbers[name]
        envelope, outliers = shaft.envelopes.get(name), _outliers(group, row)
        return lobe_model.model_validate({
            **blocks.pop(""),
            **blocks,
            "lobe": name,
            "kind": shaft.kinds[name],
            "durations": tuple(at_lift[name] for at_lift in durations),
            "ramps": Ramps(opening=None, closing=None)
            if name in group.withheld
            else Ramps(opening=_ramp(ramps[group][0], row), closing=_ramp(ramps[group][1], row)),
            "outliers": len(outliers),
            "outlier_readings": outliers,
            "envelope": None if envelope is None else envelope.use(),
        })  # fmt: skip

    return tuple(shaft.each(of).values())


def _ramp(ends: RampEnds, row: int) -> RampEnd | None:
    if not np.isfinite(ends.angle_cam_deg[row]):
        return None
    return RampEnd(
        angle_cam_deg=fold_scalar(float(ends.angle_cam_deg[row])),
        lift_mm=float(ends.lift_mm[row]),
        velocity_mm_per_cam_deg=float(ends.velocity[row]),
    )


def _outliers(part: LobeGroup, row: int) -> tuple[OutlierReading, ...]:
    return tuple(
        OutlierReading(angle_cam_deg=float(a), lift_mm=float(y), fitted_lift_mm=float(f))
        for a, y, f in zip(*part.fitted.left_out(row), strict=True)
    )
