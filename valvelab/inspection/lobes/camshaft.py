"""The shaft as a whole: separations, index errors, spreads."""

from __future__ import annotations

import re

import numpy as np

from valvelab.camshaft.indexing import Arrangement, LobeName, cylinder_separations, index_errors, parse_name
from valvelab.errors import BadQuantity, BadSpec, CannotEvaluate, Reason
from valvelab.records.lobes_result import CamshaftResult, CylinderSeparation, IndexErrorRow, Kind, LobeResult, Spread
from valvelab.records.measurement import LiftTable
from valvelab.records.result import Note, info
from valvelab.records.spec import Quantity, Spec
from valvelab.units import parse_angle

SPREAD_LIFT_MM = 1.27


def camshaft_result(
    table: LiftTable, spec: Spec, lobes: tuple[LobeResult, ...], spec_file: str = "spec"
) -> tuple[CamshaftResult, list[Note]]:
    """Separation of every cylinder, index errors (None with the reason in a note) and spreads over each kind."""
    names = [parse_name(lobe.lobe) for lobe in lobes]
    centres = np.array([np.nan if lobe.centre_cam_deg is None else lobe.centre_cam_deg for lobe in lobes])
    apart = cylinder_separations(names, centres)
    mean = float(np.mean(list(apart.values()))) if apart else None
    notes: list[Note] = []
    if mean is None:
        notes.append(info("lobe_separation", "not derived: no cylinder has both an intake and an exhaust lobe"))
    try:
        errors = _index_errors(table, spec, lobes, names, centres, notes)
    except BadQuantity as error:
        raise BadSpec(spec_file, error.field, error.found, error.expected) from None
    return (
        CamshaftResult(
            cylinders=tuple(
                CylinderSeparation(cylinder=cylinder, lobe_separation_cam_deg=value)
                for cylinder, value in apart.items()
            ),
            lobe_separation_mean_cam_deg=mean,
            index_errors=errors,
            spreads=_spreads(lobes),
            uncertainty=_uncertainty(lobes, names, apart),
        ),
        notes,
    )


def _bank(quantity: Quantity) -> float:
    return _within(quantity, "[camshaft] bank_angle", -360.0, 360.0)


def _within(quantity: Quantity, field: str, least: float, most: float) -> float:
    """An angle of the spec in cam deg; BadQuantity outside the circle it can lie on."""
    value = parse_angle(quantity, "cam", field)
    if not least <= value <= most:
        raise BadQuantity(field, f"{quantity!r}", f"an angle of {least:g} to {most:g} cam deg")
    return value


def _index_errors(
    table: LiftTable, spec: Spec, lobes: tuple[LobeResult, ...], names: list[LobeName | None],
    centres: np.ndarray[tuple[int], np.dtype[np.float64]], notes: list[Note],
) -> tuple[IndexErrorRow, ...] | None:  # fmt: skip
    wanted = spec.camshaft
    if wanted.bank_angle is not None:
        _bank(wanted.bank_angle)
    places = None
    if wanted.places is not None:
        places = {row: wanted.places[lobe.lobe] for row, lobe in enumerate(lobes) if lobe.lobe in wanted.places}
    try:
        separation = None
        if wanted.lobe_separation is not None:
            separation = _within(wanted.lobe_separation, "[camshaft] lobe_separation", 0.0, 180.0)
        arrangement = None if places else _arrangement(table, spec)
        found = index_errors(names, centres, arrangement, separation, places)
    except CannotEvaluate as error:
        notes.append(info("index_errors", str(error)))
        return None
    notes += [info("index_errors", remark) for remark in found.remarks]
    return tuple(
        IndexErrorRow(lobe=lobe.lobe, error_cam_deg=float(error))
        for lobe, error in zip(lobes, found.errors_cam_deg, strict=True)
        if np.isfinite(error)
    )


def _arrangement(table: LiftTable, spec: Spec) -> Arrangement | None:
    wanted = spec.camshaft
    order = table.firing_order
    if wanted.firing_order is not None:
        parts = re.split(r"[\s,;\-–]+", wanted.firing_order.strip())
        if not all(part.isdigit() for part in parts):
            raise BadQuantity("[camshaft] firing_order", repr(wanted.firing_order), "cylinders such as 1-3-4-2")
        order = tuple(int(part) for part in parts)
    if order is None:
        return None
    count = wanted.cylinders if wanted.cylinders is not None else table.cylinders
    if len(set(order)) != len(order) or (count is not None and count != len(order)):
        expected = f"each of {count or len(order)} cylinders once"
        raise CannotEvaluate(Reason.BAD_VALUES, f"firing order: found {'-'.join(map(str, order))}, expected {expected}")
    bank = table.bank_angle_deg or 0.0
    if wanted.bank_angle is not None:
        bank = _bank(wanted.bank_angle)
    second = wanted.second_bank if wanted.second_bank is not None else table.second_bank
    return Arrangement(order, bank, frozenset(second or ()))


def _spreads(lobes: tuple[LobeResult, ...]) -> tuple[Spread, ...]:
    spreads = []
    kinds: tuple[Kind, ...] = ("intake", "exhaust")
    for kind in kinds:
        members = [lobe for lobe in lobes if lobe.kind == kind]
        if len(members) < 2:
            continue
        durations = [
            row.duration_crank_deg for lobe in members for row in lobe.durations if row.at_mm == SPREAD_LIFT_MM
        ]
        spreads.append(
            Spread(
                kind=kind,
                max_lift_mm=_range([lobe.max_lift_mm for lobe in members]),
                duration_crank_deg=_range(durations),
                area_mm_cam_deg=_range([lobe.area_mm_cam_deg for lobe in members]),
            )
        )
    return tuple(spreads)


def _range(values: list[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return max(known) - min(known) if len(known) == len(values) and len(known) > 1 else None


def _uncertainty(
    lobes: tuple[LobeResult, ...], names: list[LobeName | None], apart: dict[int, float]
) -> dict[str, float | None]:
    """Standard uncertainty of each cylinder's separation, by the lobes' centres, and of their mean."""
    result: dict[str, float | None] = {}
    squares = []
    for cylinder in apart:
        sides = 0.0
        for kind in ("intake", "exhaust"):
            us = [
                lobe.uncertainty.get("centre_cam_deg") or 0.0
                for lobe, name in zip(lobes, names, strict=True)
                if name is not None and name.cylinder == cylinder and name.kind == kind
            ]
            sides += sum(u * u for u in us) / len(us) ** 2
        result[f"lobe_separation_cam_deg {cylinder}"] = float(np.sqrt(sides))
        squares.append(sides)
    if squares:
        result["lobe_separation_mean_cam_deg"] = float(np.sqrt(sum(squares))) / len(squares)
    return result
