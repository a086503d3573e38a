"""Every axis of every plot bears the unit of its data: all plots of all samples against a table and the results."""

from __future__ import annotations

import inspect
import pkgutil
from collections.abc import Callable, Iterator
from functools import cache
from importlib import import_module
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, get_args, get_type_hints

import numpy as np
import pytest
from something import each
from spring_cases import write_season

import valvelab.figures
from valvelab.figures import (
    comparison_figures,
    gauge_figures,
    history_figures,
    lash_figures,
    lobe_figures,
    lot_figures,
    meaning_figures,
    motion_figures,
    phasing_figures,
    plan_figures,
    rule_figures,
    shaft_figures,
    spring_figures,
    texture_figures,
)
from valvelab.figures.description import Dial, Figure, HeatMap, Unit
from valvelab.inspection.lot.inspect import Lot, inspect_lot
from valvelab.job.job_file import read_job
from valvelab.job.parts import located
from valvelab.job.use import Around, Asked
from valvelab.job.uses import use
from valvelab.places import sample_profiles
from valvelab.records.parts.lash import LashPart
from valvelab.records.parts.liftcheck import LiftCheckPart
from valvelab.records.parts.part import JobPart
from valvelab.records.parts.springs import SpringsPart
from valvelab.records.records_result import HistoryPoint, HistoryRow
from valvelab.report import shims_certificate

Drawn = Figure | HeatMap | Dial | None
CAM, CRANK = "cam deg", "crank deg"
PLACES = ("", "")  # polar plots and dials: drawn to a scale of their own, which the label states

UNITS: dict[str, tuple[str, str]] = {
    "lift": (CAM, "mm"), "velocity": (CAM, "mm/cam deg"), "acceleration": (CAM, "mm/cam deg2"),
    "jerk": (CAM, "mm/cam deg3"), "deviation": (CAM, "um"), "readings": (CAM, "um"),
    "map of deviation": (CAM, "um"), "map of lift": (CAM, "mm"),
    "valve_lift": (CRANK, "mm"), "clearance": (CRANK, "mm"), "clearance_moves": (CRANK, "mm"),
    "contact_force": (CRANK, "N"), "force_map": (CRANK, "N"), "sweep": ("rpm", "mm"), "resonances": ("rpm", "um"),
    "pressure": (CRANK, "MPa"), "film": (CRANK, "um"), "rule_lift": ("mm", ""), "events": PLACES,
    "force": ("mm", "N"), "difference": ("mm", "N"), "rate": ("mm", "N/mm"), "map": ("N/mm", "N"),
    "seat force": ("", "N"), "roundness": PLACES, "section": PLACES, "harmonics": ("", "um"), "axis": ("mm", "um"),
    "shaft": ("mm", "mm"), "trace": ("mm", "um"), "roughness": ("mm", "um"), "material_ratio": ("%", "um"),
    "gauge_means": ("", "mm"), "gauge_ranges": ("", "mm"), "gauge_components": ("", "%"),
    "history": ("", "N"), "timeline in N": ("", "N"), "timeline in N/mm": ("", "N/mm"), "timeline in mm": ("", "mm"),
    "timeline in um": ("", "um"), "overlay": (CAM, "mm"), "after_less_before": (CAM, "um"), "changes": ("", "N"),
    "distribution": ("N", ""), "drift": ("", "N"), "lash": ("", "mm"),
    "camshaft": PLACES, "tray": PLACES, "head": PLACES, "meaning": PLACES,
}  # fmt: skip


#: fields of a part that leave something out, which would have a plot here
LEFT_OUT = {"motion": {"no_dynamics": False}, "shims": {"set": None}}


@cache
def asked(part: JobPart) -> Any:
    """One part of a sample job, inspected."""
    found = use(part.inspect).inspect(part, Around())
    return found.inspection if isinstance(found, Asked) else found


def parts(command: str) -> Iterator[Any]:
    """Inspections of every part of the sample jobs that a command answers."""
    for name in ("job.toml", "lake_v8_job.toml"):
        for part in located(*read_job(sample_profiles() / name)).part:
            if part.inspect == command:
                yield asked(part.model_copy(update=LEFT_OUT.get(command, {})))


def of_lobes() -> Iterator[tuple[Callable[..., Any], Drawn]]:
    for found in parts("lobes"):
        x = lobe_figures.grid(found)
        for lobe in (row.lobe for row in found.result.lobes):
            for order in (0, 1, 2, 3):
                yield lobe_figures.motion_figure, lobe_figures.motion_figure(found, lobe, order, x)
            yield lobe_figures.deviation_figure, lobe_figures.deviation_figure(found, lobe, x)
            yield lobe_figures.residual_figure, lobe_figures.residual_figure(found, lobe, x)
        yield lobe_figures.lobe_map, lobe_figures.lobe_map(found, "lift", x)
        yield lobe_figures.lobe_map, lobe_figures.lobe_map(found, "deviation", x)
        yield lobe_figures.position_dial, lobe_figures.position_dial(found)


def of_motion() -> Iterator[tuple[Callable[..., Any], Drawn]]:
    makers: tuple[Callable[..., Drawn], ...] = (
        motion_figures.clearance_figure, motion_figures.clearance_moves_figure, motion_figures.force_figure,
        motion_figures.force_map, motion_figures.sweep_figure, motion_figures.resonance_figure,
        motion_figures.pressure_figure, motion_figures.film_figure,
    )  # fmt: skip
    sheet = asked(LiftCheckPart(file=sample_profiles() / "quillmere_spring_meeting.toml"))
    row, verdict = sheet.result.checks[0], sheet.result.verdicts[0]
    yield rule_figures.scale_figure, rule_figures.scale_figure(row, verdict, sheet.sheet.decision, 3, "metric")
    for found in parts("motion"):
        lobes = [valve.lobe for valve in found.result.valves][:2]
        yield motion_figures.lift_figure, motion_figures.lift_figure(found)
        yield motion_figures.trial_lift_figure, motion_figures.trial_lift_figure(found, found, lobes)
        for lobe in lobes:
            for make in makers:
                yield make, make(found, lobe)
        yield rule_figures.rule_figure, rule_figures.rule_figure(None, [10.01, 10.02, 10.03], 10.0, 0.02)


def of_form() -> Iterator[tuple[Callable[..., Any], Drawn]]:
    for found in parts("shaft"):
        for form in found.journals:
            yield shaft_figures.roundness_figure, shaft_figures.roundness_figure(form)
            yield shaft_figures.harmonics_figure, shaft_figures.harmonics_figure(form)
        for make in (shaft_figures.axis_figure, shaft_figures.section_figure, shaft_figures.bowed_shaft_figure):
            yield make, make(found)
    for found in parts("texture"):
        for make in (
            texture_figures.trace_figure,
            texture_figures.roughness_figure,
            texture_figures.material_ratio_figure,
        ):
            yield make, make(found)
    for found in parts("gauge"):
        for make in (gauge_figures.means_figure, gauge_figures.ranges_figure, gauge_figures.components_figure):
            yield make, make(found)


def of_springs() -> Iterator[tuple[Callable[..., Any], Drawn]]:
    for found in parts("springs"):
        tray, name = spring_figures.tray_lines(found), found.result.springs[0].spring
        for make in (spring_figures.force_figure, spring_figures.difference_figure, spring_figures.rate_figure):
            yield make, make(found, name, tray)
        points = spring_figures.map_points(found.analyses)
        yield spring_figures.map_figure, spring_figures.map_figure(points)
    with TemporaryDirectory() as folder:
        season = write_season(Path(folder) / "season.csv", {"A": (0.0, 0.02, 0.03, 0.04)})
        found = asked(SpringsPart(file=season))
    yield history_figures.history_figure, history_figures.history_figure(found.result, "A")
    for characteristic, unit in (("seat_force", "N"), ("rate", "N/mm"), ("max_lift", "mm"), ("wear", "um")):
        row = life(characteristic, unit, "A")
        yield history_figures.timeline_figure, history_figures.timeline_figure([row], "A")
    for found in parts("shims"):
        yield shims_certificate.seat_force_figure, shims_certificate.seat_force_figure(found)


def life(characteristic: str, unit: str, item: str) -> HistoryRow:
    """An item that was measured twice, the second time past its upper limit."""
    points = tuple(
        HistoryPoint(record=day, date=day, value=value, standard_uncertainty=0.5, upper=2.5, decision=decision)
        for day, value, decision in (("2025-03-01", 1.0, "accept"), ("2026-03-01", 4.0, "reject"))
    )
    return HistoryRow(inspect="springs", characteristic=characteristic, item=item, unit=unit, points=points)


def of_lift_checks() -> Iterator[tuple[Callable[..., Any], Drawn]]:
    found = asked(LiftCheckPart(file=sample_profiles() / "quillmere_spring_meeting.toml"))
    verdict = next(row for row in found.result.verdicts if row.characteristic == "rule_lift")
    shown = (found.result.checks[0], verdict, found.sheet.decision, 4, "metric")
    yield rule_figures.scale_figure, rule_figures.scale_figure(*shown)


def of_phasing() -> Iterator[tuple[Callable[..., Any], Drawn]]:
    for found in parts("phasing"):
        yield phasing_figures.wheel_dial, phasing_figures.wheel_dial(found)
        yield phasing_figures.event_diagram, phasing_figures.event_diagram(found)


def of_comparisons() -> Iterator[tuple[Callable[..., Any], Drawn]]:
    for found in parts("compare"):
        for lobe in found.lobes[:1]:
            yield comparison_figures.overlay_figure, comparison_figures.overlay_figure(lobe)
            yield comparison_figures.left_figure, comparison_figures.left_figure(lobe)
        if found.result.springs:
            yield (
                comparison_figures.spring_changes_figure,
                comparison_figures.spring_changes_figure(found.result),
            )


def of_lots() -> Iterator[tuple[Callable[..., Any], Drawn]]:
    values, unknown = np.array([247.0, 248.5, 248.0, 251.0]), np.full(4, np.nan)
    lot = Lot("seat_force", "N", None, 235.0, None, ("A",), False, values, unknown, unknown, 0)
    for make in (lot_figures.distribution_figure, lot_figures.drift_figure):
        yield make, make(lot, inspect_lot(lot))


def of_lash() -> Iterator[tuple[Callable[..., Any], Drawn]]:
    found = asked(LashPart(file=sample_profiles() / "lake_tender_lash.csv"))
    yield lash_figures.lash_figure, lash_figures.lash_figure(found.result)


def plans() -> Iterator[tuple[Callable[..., Any], Drawn]]:
    """A camshaft, a tray and a head of invented names."""
    yield plan_figures.camshaft_plan, plan_figures.camshaft_plan(("1I", "1E"), {"1I": "reject"}, {"1I": 0.0})
    yield plan_figures.tray_plan, plan_figures.tray_plan(("Q01", "Q02"), {"Q02": "undecided"})
    kinds = {"1I": "intake", "1E": "exhaust"}
    yield plan_figures.head_plan, plan_figures.head_plan(tuple(kinds), {"1I": "accept"}, kinds)


def meanings() -> Iterator[tuple[Callable[..., Any], Drawn]]:
    """Drawings of characteristics, to no scale."""
    for key in meaning_figures.PICTURES:
        yield meaning_figures.meaning_figure, meaning_figures.meaning_figure(*key)


GROUPS = (
    of_lobes,
    of_motion,
    of_form,
    of_springs,
    of_phasing,
    of_comparisons,
    of_lift_checks,
    of_lots,
    of_lash,
    plans,
    meanings,
)


@cache
def everything() -> tuple[tuple[Callable[..., Any], Drawn], ...]:
    """Every plot of every sample, with the function that made it."""
    return tuple(pair for group in GROUPS for pair in group())


def makers() -> set[Callable[..., Any]]:
    """Every public function that makes a plot, found by what it returns."""
    rooms = [import_module(f"valvelab.figures.{room.name}") for room in pkgutil.iter_modules(valvelab.figures.__path__)]
    found = set()
    for room in [*rooms, shims_certificate]:
        for name, function in inspect.getmembers(room, inspect.isfunction):
            if name.startswith("_") or function.__module__ != room.__name__:
                continue
            hints = get_type_hints(function, vars(room)) if _plain(function) else {}
            returned = hints.pop("return", None)
            if Figure in hints.values():  # another view of a plot that is made
                continue
            kinds = {returned, *get_args(returned)}
            if kinds & {Figure, HeatMap, Dial} or name.endswith(("_figure", "_map", "_dial", "_diagram")):
                found.add(function)
    return found


def _plain(function: Callable[..., Any]) -> bool:
    """Whether all names in the annotations are known while the program runs (some are for the type checker alone)."""
    try:
        get_type_hints(function)
    except NameError:
        return False
    return True


def test_no_plot_is_left_out() -> None:
    drawn = {make for make, found in everything() if found is not None}
    assert {make.__name__ for make in makers() - drawn} == set()


@pytest.mark.parametrize("name", sorted(UNITS))
def test_axes_bear_the_units_of_their_data(name: str) -> None:
    seen = 0
    for _, figure in everything():
        if isinstance(figure, Figure) and figure.name == name:
            assert (figure.x_axis.unit, figure.y_axis.unit) == UNITS[name]
            seen += 1
        elif isinstance(figure, HeatMap):
            key = figure.name if figure.name in UNITS and figure.name != "map" else f"map of {_quantity(figure)}"
            if key == name:
                assert (figure.x_axis.unit, figure.value_axis.unit) == UNITS[name]
                seen += 1
    assert seen


def _quantity(drawn: HeatMap) -> str:
    return drawn.value_axis.label.lower()


def test_every_plot_is_in_the_table() -> None:
    names = {figure.name for _, figure in everything() if isinstance(figure, Figure)}
    assert names <= set(UNITS)
    units = {
        unit
        for _, figure in everything()
        if isinstance(figure, Figure)
        for unit in (figure.x_axis.unit, figure.y_axis.unit)
    }
    assert units <= set(get_args(Unit))


@pytest.mark.parametrize(
    ("make", "field"),
    [(motion_figures.pressure_figure, "nose_pressure_mpa"), (motion_figures.film_figure, "nose_film_um")],
)
def test_contact_curves_are_in_the_unit_of_the_result(make: Callable[..., Figure | None], field: str) -> None:
    # the result's key names the unit; what it holds for the nose at the greatest speed must lie on the last curve
    found = next(iter(parts("motion")))
    valve = found.result.valves[0]
    figure, wanted = make(found, valve.lobe), getattr(valve.contact[-1], field)
    assert figure is not None
    assert wanted > 0.0
    assert figure.y_axis.unit.lower() == field.rsplit("_", 1)[1]
    assert np.nanmin(np.abs(figure.curves[-1].y - wanted)) < 1e-9 * wanted


def test_lifts_on_the_wheel_are_in_the_units_asked_for() -> None:
    for found in each(parts("phasing")):
        metric, inch = (phasing_figures.wheel_dial(found, system).labels for system in ("metric", "inch"))
        told = {f"{event.lobe} opens": event.lift_mm for event in found.sheet.events if event.opening_deg is not None}
        for head, lift_mm in each(told.items()):
            assert f"{head} {lift_mm:g}" in metric
            assert f"{head} {lift_mm / 25.4:.4g}" in inch


def test_a_reading_left_out_of_the_fit_stands_where_it_was_taken_and_is_told_of() -> None:
    told = [
        (found.result, row, figure.marks)
        for found in parts("lobes")
        for row in found.result.lobes
        for figure in [lobe_figures.motion_figure(found, row.lobe, 0, lobe_figures.grid(found))]
    ]
    assert any(row.outlier_readings for _, row, _ in told), "there is none to look at"
    for result, row, marks in told:
        where = [(round(float(y), 9), text) for mark in marks for y, text in zip(mark.y, mark.texts, strict=True)]
        assert [lift for lift, _ in where] == [round(one.lift_mm, 9) for one in row.outlier_readings]
        assert sum(text != "" for _, text in where) == (1 if where else 0)
        for one in row.outlier_readings[:1]:
            note = next(note.text for note in result.notes if note.about == row.lobe and "left out" in note.text)
            assert f"at {one.angle_cam_deg:g} cam deg" in note
            assert f"{abs(one.lift_mm - one.fitted_lift_mm):.3g} mm" in note
