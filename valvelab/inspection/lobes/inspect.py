"""Inspecting a camshaft: a lift table and a spec in, characteristics, envelopes and verdicts out."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from valvelab.angles import fold_scalar
from valvelab.camshaft.indexing import parse_name
from valvelab.errors import BadFile, BadQuantity, CannotEvaluate
from valvelab.follower.shapes import Shape
from valvelab.inspection.judging import judge
from valvelab.inspection.lobes.camshaft import camshaft_result
from valvelab.inspection.lobes.contour import ContourFigures, contour_figures
from valvelab.inspection.lobes.convert import convert
from valvelab.inspection.lobes.envelopes import LobeEnvelope, fit_envelopes, unanswered_envelopes
from valvelab.inspection.lobes.items import LACKS_ANGLE, camshaft_items, lobe_items
from valvelab.inspection.lobes.lift_doubts import doubt_about, doubted
from valvelab.inspection.lobes.notes import (
    angle_notes,
    division_notes,
    doubt_notes,
    fit_notes,
    lobe_notes,
    spacing_notes,
    table_notes,
)
from valvelab.inspection.lobes.repeatability import (
    GroupScalars,
    all_scalars,
    masked,
    number,
    scalar,
    widened_alike,
)  # fmt: skip
from valvelab.inspection.lobes.wide_readings import with_wide_readings
from valvelab.inspection.lobes.widening import doubts_of, widening
from valvelab.lobe.characteristics import Instrument, LobeCharacteristics, RampEnds
from valvelab.lobe.conditioning import condition, group
from valvelab.lobe.profile import Profile, fit_lobes
from valvelab.records.lobes_result import (
    BaseCircle,
    Centres,
    Curvature,
    DurationUncertainty,
    LobeDuration,
    LobeResult,
    LobesResult,
    OutlierReading,
    RampEnd,
    Ramps,
)  # fmt: skip
from valvelab.records.measurement import LiftTable
from valvelab.records.result import Note, Source, warning
from valvelab.records.spec import Spec
from valvelab.units import parse_quantity

DEFAULT_CHECKING_LIFTS_MM = (0.15, 0.508, 1.0, 1.27, 5.08)
NOSE_DROP_MM = 1.27
CHORD_LIFT_MM = 1.27
REFERENCE_DEGC = 20.0
STEEL_EXPANSION_PER_K = 11.5e-6

Row = tuple[str, float | None, float | None, float | None]


@dataclass(frozen=True, slots=True)
class Settings:
    """How lobes are inspected. checking lifts in mm; `convert_to`: describe the lobes under another follower.

    take_out_eccentricity: of the base circle, from the whole sweep. keep_zero: nothing is taken out by the base circle.
    """

    checking_lifts_mm: tuple[float, ...] = DEFAULT_CHECKING_LIFTS_MM
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
        return self.added_lifts_mm[0] if self.added_lifts_mm else CHORD_LIFT_MM


@dataclass(frozen=True)
class LobesInspection:
    """An answered inspection: the result document and the fitted values that plots draw."""

    table: LiftTable
    spec: Spec | None
    result: LobesResult
    groups: tuple[GroupScalars, ...]
    envelopes: dict[str, LobeEnvelope]
    settings: Settings

    @cached_property
    def profiles(self) -> dict[str, Profile]:
        """Every lobe's fitted profile, in the table's order."""
        found = {name: part.fitted.profile(row) for part in self.groups for row, name in enumerate(part.fitted.names)}
        return {trace.name: found[trace.name] for trace in self.table.traces}

    @property
    def nominals(self) -> dict[str, Profile]:
        """The nominal profile of every lobe that has an envelope."""
        return {name: envelope.nominal.profile for name, envelope in self.envelopes.items()}

    def durations_at(self, lift_mm: float) -> list[Row]:
        """Lobe, opening and closing (cam deg, not folded) and duration (crank deg) at any lift, in table order."""
        rows: dict[str, Row] = {}
        for part in self.groups:
            found = part.characteristics.places_at(lift_mm)
            for row, name in enumerate(part.fitted.names):
                first, last = number(found[0][row]), number(found[1][row])
                duration = None if first is None or last is None else 2.0 * (last - first)
                rows[name] = (name, first, last, duration)
        return [rows[trace.name] for trace in self.table.traces]


def inspect_lobes(
    table: LiftTable,
    spec: Spec | None = None,
    nominals: Mapping[str, LiftTable] | None = None,
    settings: Settings | None = None,
    spec_file: str = "spec",
    sources: tuple[Source, ...] = (),
) -> LobesInspection:
    """Inspect all lobes of a table.

    `nominals` holds the tables that the spec's envelopes name; `sources` further inputs (spec,
    nominals) for the record.
    Raises BadFile for readings that can't be used, BadSpec for a spec that can't be applied.
    """
    settings = settings or Settings()
    spec = spec or Spec()
    try:
        groups, without_angle, notes = _groups(table, settings, _judged_lifts(spec))
    except CannotEvaluate as error:
        place, _, rest = str(error).partition(": ")
        found, _, expected = rest.partition(", expected ")
        raise BadFile(table.file, place, found.removeprefix("found ") or rest, expected or "usable readings") from error
    names = {trace.name: parse_name(trace.name) for trace in table.traces}
    kinds = {name: None if parsed is None else parsed.kind for name, parsed in names.items()}
    contours = {
        name: figures for part in groups for name, figures in contour_figures(part, table, settings.convert_to).items()
    }
    notes += [note for name in kinds for note in contours[name].notes]
    if settings.convert_to is not None:
        groups = [_converted(part, table, settings, notes) for part in groups]
    envelopes = fit_envelopes(groups, kinds, spec, spec_file, nominals or {})
    lobes = {
        name: _lobe(part, row, kinds[name], contours[name], envelopes.get(name), settings)
        for part in groups
        for row, name in enumerate(part.fitted.names)
    }
    ordered = tuple(lobes[trace.name] for trace in table.traces)
    camshaft, more = camshaft_result(table, spec, ordered, spec_file)
    notes += [warning("unit", envelope.doubt) for envelope in envelopes.values() if envelope.doubt]
    notes += more + lobe_notes(ordered, settings.chord_lift_mm, groups)
    verdicts, said = judge(
        spec,
        {
            "lobe": [doubted(item, table.doubts) for item in lobe_items(ordered, groups, camshaft, without_angle)],
            "camshaft": [doubted(item, table.doubts) for item in camshaft_items(camshaft, ordered, without_angle)],
        },
        spec_file,
    )
    in_doubt = doubt_about("envelope", table.doubts)
    verdicts += [
        envelope.verdict(name, spec, LACKS_ANGLE if name in without_angle else None, in_doubt)
        for name, envelope in envelopes.items()
    ]
    missing, more = unanswered_envelopes(spec, kinds, {name for part in groups for name in part.withheld})
    verdicts, said = [*verdicts, *missing], [*said, *more]
    result = LobesResult(
        source=(table.source, *sources),
        notes=tuple(dict.fromkeys([*table.notes, *table_notes(table), *angle_notes(without_angle), *notes, *said])),
        verdicts=tuple(verdicts),
        lobes=ordered,
        camshaft=camshaft,
    )
    return LobesInspection(table, spec, result, tuple(groups), envelopes, settings)


def _instrument(table: LiftTable) -> Instrument:
    off = 0.0 if table.temperature_degc is None else table.temperature_degc - REFERENCE_DEGC
    return Instrument(
        table.probe_uncertainty_mm or 0.0,
        table.encoder_uncertainty_cam_deg or 0.0,
        STEEL_EXPANSION_PER_K * abs(off),
    )


def _judged_lifts(spec: Spec) -> set[float]:
    """The lifts of a spec's limits, mm; what can't be read is refused where it is judged."""
    lifts = set()
    for limit in spec.limit:
        with suppress(BadQuantity):
            lifts.add(0.0 if limit.at is None else parse_quantity(limit.at, "length", "at"))
    return {lift for lift in lifts if lift > 0.0}


def _groups(
    table: LiftTable, settings: Settings, judged: set[float]
) -> tuple[list[GroupScalars], frozenset[str], list[Note]]:
    """The groups, the lobes whose angle uncertainty is neither stated nor seen, and notes."""
    groups, notes = [], []
    without_angle: list[str] = []
    lifts = tuple(sorted({*settings.lifts_mm, settings.chord_lift_mm, *judged}))
    for traces in group(table.traces):
        conditioned = condition(traces, table.probe_resolution_mm)
        fitted = fit_lobes(
            conditioned, take_out_eccentricity=settings.take_out_eccentricity, keep_zero=settings.keep_zero
        )
        characteristics = LobeCharacteristics(fitted, _instrument(table))
        scalars = all_scalars(characteristics, lifts, NOSE_DROP_MM)
        doubts = doubts_of(fitted)
        wider = widening(doubts, characteristics)
        if wider is not None:
            scalars = wider.apply(scalars, lambda copy: all_scalars(copy, lifts, NOSE_DROP_MM))
        if table.encoder_uncertainty_cam_deg is None and not doubts.angle_is_seen:
            without_angle += fitted.names
        scalars = with_wide_readings(
            scalars, characteristics, lifts, NOSE_DROP_MM, take_out_eccentricity=settings.take_out_eccentricity
        )
        groups.append(GroupScalars(characteristics, scalars, NOSE_DROP_MM, doubts=doubts, widening=wider))
        notes += division_notes(table.probe_resolution_mm, conditioned.division_mm)
        notes += fit_notes(fitted) + doubt_notes(doubts, len(table.traces)) + spacing_notes(groups[-1])
    return groups, frozenset(without_angle), notes


def _converted(part: GroupScalars, table: LiftTable, settings: Settings, notes: list[Note]) -> GroupScalars:
    assert settings.convert_to is not None
    found = convert(part.fitted, table, settings.convert_to, notes)
    characteristics = LobeCharacteristics(found.fitted, _instrument(table), found.propagation)
    lifts = tuple(sorted({*settings.lifts_mm, settings.chord_lift_mm}))
    own = all_scalars(part.characteristics, lifts, NOSE_DROP_MM)
    scalars = widened_alike(all_scalars(characteristics, lifts, NOSE_DROP_MM), own, part.scalars)
    wider = None if part.doubts is None else widening(part.doubts, characteristics)
    return GroupScalars(
        characteristics, masked(scalars, found.fitted.names, found.withheld), NOSE_DROP_MM, found.withheld,
        part.doubts, wider,
    )  # fmt: skip


_SCALARS = (
    "max_lift_mm", "area_mm_cam_deg", "velocity_max_mm_per_cam_deg", "velocity_min_mm_per_cam_deg",
    "acceleration_max_mm_per_cam_deg2", "acceleration_min_mm_per_cam_deg2", "jerk_max_abs_mm_per_cam_deg3",
)  # fmt: skip


def _lobe(
    part: GroupScalars, row: int, kind: str | None, curvature: ContourFigures, envelope: LobeEnvelope | None,
    settings: Settings,
) -> LobeResult:  # fmt: skip
    fitted = part.fitted
    values = {key: scalar(part, key, row) for key in _SCALARS}
    uncertainty: dict[str, float | None] = {key: u for key, (_, u) in values.items()}
    chord = f"middle@{settings.chord_lift_mm:.9g}"
    angles = {
        "max_lift_angle_cam_deg": "max_lift_angle_cam_deg", "centre_cam_deg": "nose_cam_deg",
        "nose_cam_deg": "nose_cam_deg", "chord_cam_deg": chord, "peak_cam_deg": "max_lift_angle_cam_deg",
        "area_cam_deg": "area_cam_deg",
    }  # fmt: skip
    places = {}
    for key, source in angles.items():
        value, u = scalar(part, source, row)
        places[key] = None if value is None else fold_scalar(value)
        uncertainty[key] = None if value is None else u
    base = _base_circle(part, row, uncertainty)
    uncertainty.update(curvature.uncertainty)
    if envelope is not None:
        uncertainty["worst_deviation_mm"] = envelope.standard_uncertainty_mm
    ramps = part.characteristics.ramps_once
    withheld = fitted.names[row] in part.withheld
    outliers = _outliers(part, row)
    return LobeResult(
        lobe=fitted.names[row],
        kind=kind,
        max_lift_angle_cam_deg=places["max_lift_angle_cam_deg"],
        centre_cam_deg=places["centre_cam_deg"],
        centres=Centres(
            nose_cam_deg=places["nose_cam_deg"], chord_cam_deg=places["chord_cam_deg"],
            peak_cam_deg=places["peak_cam_deg"], area_cam_deg=places["area_cam_deg"],
        ),
        durations=tuple(duration_row(part, row, lift) for lift in settings.lifts_mm),
        jerk_rms_mm_per_cam_deg3=None if withheld else number(part.characteristics.jerk_rms_once[row]),
        ramps=Ramps(opening=None, closing=None)
        if withheld
        else Ramps(opening=_ramp(ramps[0], row), closing=_ramp(ramps[1], row)),
        base_circle=base,
        noise_um=1000.0 * float(fitted.reading_noise_mm[row]),
        outliers=len(outliers),
        outlier_readings=outliers,
        curvature=Curvature(**curvature.values),
        envelope=None if envelope is None else envelope.use(),
        uncertainty=uncertainty,
        **{key: value for key, (value, _) in values.items()},
    )  # fmt: skip


def duration_row(part: GroupScalars, row: int, lift_mm: float) -> LobeDuration:
    """One row of durations of one lobe; a lift that a flank never passes gives None throughout."""
    scalars = part.events_at(lift_mm)

    def both(name: str) -> tuple[float | None, float | None]:
        value = scalars[f"{name}@{lift_mm:.9g}"]
        return number(value.value[row]), number(value.u[row])

    (opening, u_open), (closing, u_close) = both("opening"), both("closing")
    (duration, u_duration), (middle, u_middle) = both("duration"), both("middle")
    return LobeDuration(
        at_mm=lift_mm,
        opening_cam_deg=None if opening is None else fold_scalar(opening),
        closing_cam_deg=None if closing is None else fold_scalar(closing),
        duration_cam_deg=duration,
        duration_crank_deg=None if duration is None else 2.0 * duration,
        centre_cam_deg=None if middle is None else fold_scalar(middle),
        uncertainty=DurationUncertainty(
            opening_cam_deg=u_open, closing_cam_deg=u_close, duration_cam_deg=u_duration,
            duration_crank_deg=None if u_duration is None else 2.0 * u_duration, centre_cam_deg=u_middle,
        ),
    )  # fmt: skip


def _base_circle(part: GroupScalars, row: int, uncertainty: dict[str, float | None]) -> BaseCircle:
    base = part.fitted.bases[row]
    if base is None:
        return BaseCircle(runout_tir_mm=None, eccentricity_mm=None, eccentricity_angle_cam_deg=None)
    runout, size, angle = part.characteristics.base_uncertainty(row)
    uncertainty.update(runout_tir_mm=runout, eccentricity_mm=size, eccentricity_angle_cam_deg=angle)
    return BaseCircle(
        runout_tir_mm=base.runout_mm,
        eccentricity_mm=base.eccentricity_mm if base.with_eccentricity else None,
        eccentricity_angle_cam_deg=base.eccentricity_angle_cam_deg if base.with_eccentricity else None,
    )


def _ramp(ends: RampEnds, row: int) -> RampEnd | None:
    if not np.isfinite(ends.angle_cam_deg[row]):
        return None
    return RampEnd(
        angle_cam_deg=fold_scalar(float(ends.angle_cam_deg[row])),
        lift_mm=float(ends.lift_mm[row]),
        velocity_mm_per_cam_deg=float(ends.velocity[row]),
    )


def _outliers(part: GroupScalars, row: int) -> tuple[OutlierReading, ...]:
    conditioned = part.fitted.conditioned
    left_out = np.flatnonzero(~conditioned.kept[row])
    if left_out.size == 0:
        return ()
    angles = conditioned.angle_cam_deg[left_out]
    fitted = part.fitted.smoothed.splines.evaluate(row, angles)
    readings = conditioned.lifts_mm[row, left_out]
    return tuple(
        OutlierReading(angle_cam_deg=float(a), lift_mm=float(y), fitted_lift_mm=float(f))
        for a, y, f in zip(angles, readings, fitted, strict=True)
    )
