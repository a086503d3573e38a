"""The shaft as a whole: separations, index errors, spreads."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.camshaft import indexing
from valvelab.camshaft.indexing import Arrangement, IndexErrors, LobeName, cylinder_separations
from valvelab.errors import CannotEvaluate, Reason
from valvelab.inspection.lobes.repeatability import nose_centre
from valvelab.inspection.lobes.shaft import ByItem, MeasuredShaft
from valvelab.measured import Measured, missing
from valvelab.phrase import Phrase
from valvelab.records.lobes_result import CamshaftResult, CylinderSeparation, IndexErrorRow, Spread
from valvelab.records.measurement import LiftTable
from valvelab.records.result import Kind, Note, info
from valvelab.records.spec import Spec

_KINDS: tuple[Kind, ...] = ("intake", "exhaust")
_NO_PAIR = Phrase("no cylinder has both an intake and an exhaust lobe")


def separations(shaft: MeasuredShaft) -> dict[int, Measured]:
    """Lobe separation by cylinder."""
    return {cylinder: Measured(value, float(np.sqrt(u2))) for cylinder, (value, u2) in shaft.once(_apart).items()}


def mean_separation(shaft: MeasuredShaft) -> Measured:
    """Mean lobe separation of the shaft."""
    apart = list(shaft.once(_apart).values())
    if not apart:
        return missing(_NO_PAIR)
    u = float(np.sqrt(sum(variance for _, variance in apart))) / len(apart)
    return Measured(float(np.mean([value for value, _ in apart])), u)


def _apart(shaft: MeasuredShaft) -> dict[int, tuple[float, float]]:
    """Separation by cylinder and its variance, by the lobes' centres: of the mean of each kind's."""
    names, centres = shaft.names, shaft.ask(nose_centre, circle=True)
    result = {}
    for cylinder, value in cylinder_separations(list(names.values()), _values(centres)).items():
        sides = 0.0
        for kind in _KINDS:
            us = [
                centres[lobe].u or 0.0
                for lobe, name in names.items()
                if name is not None and name.cylinder == cylinder and name.kind == kind
            ]
            sides += sum(u * u for u in us) / len(us) ** 2
        result[cylinder] = value, sides
    return result


def spread(shaft: MeasuredShaft, values: ByItem) -> ByItem:
    """Range of one characteristic over the lobes of each kind that has more than one."""
    found: ByItem = {}
    for kind in _KINDS:
        members = [values[lobe] for lobe, own in shaft.kinds.items() if own == kind]
        if len(members) < 2:
            continue
        known = [row.value for row in members if row.value is not None]
        us = [row.u for row in members if row.u is not None]
        u = float(2.0**0.5 * max(us)) if us else None
        if len(known) == len(members):
            found[kind] = Measured(max(known) - min(known), u)
        else:
            found[kind] = Measured(None, u, next(row.reason for row in members if row.value is None))
    return found


def index_errors(shaft: MeasuredShaft) -> tuple[ByItem | None, list[Note]]:
    """Each lobe's centre against its nominal place, with remarks; None, with the reason, where no place is known."""
    centres = shaft.ask(nose_centre, circle=True)
    try:
        found = _index_errors(shaft.table, shaft.spec, shaft.names, _values(centres))
    except CannotEvaluate as error:
        return None, [info("index_errors", str(error))]
    errors = {
        lobe: Measured(float(error), centres[lobe].u)
        for lobe, error in zip(centres, found.errors_cam_deg, strict=True)
        if np.isfinite(error)
    }
    return errors, [info("index_errors", remark) for remark in found.remarks]


def camshaft_result(shaft: MeasuredShaft, ranged: Mapping[str, ByItem]) -> tuple[CamshaftResult, list[Note]]:
    """The record of the shaft as a whole; `ranged`: what its range over each kind is stated of, by key."""
    spreads = {key: spread(shaft, values) for key, values in ranged.items()}
    apart, mean = separations(shaft), mean_separation(shaft)
    errors, notes = shaft.once(index_errors)
    if mean.value is None:
        notes = [info("lobe_separation", Phrase("not derived: {reason}", reason=mean.reason)), *notes]
    uncertainty = {f"lobe_separation_cam_deg {cylinder}": row.u for cylinder, row in apart.items()}
    if mean.value is not None:
        uncertainty["lobe_separation_mean_cam_deg"] = mean.u
    rows = None
    if errors is not None:
        placed = {lobe: row.value for lobe, row in errors.items() if row.value is not None}
        rows = tuple(IndexErrorRow(lobe=lobe, error_cam_deg=error) for lobe, error in placed.items())
    result = CamshaftResult(
        cylinders=tuple(
            CylinderSeparation(cylinder=cylinder, lobe_separation_cam_deg=row.value)
            for cylinder, row in apart.items()
            if row.value is not None
        ),
        lobe_separation_mean_cam_deg=mean.value,
        index_errors=rows,
        spreads=tuple(
            Spread.model_validate({"kind": kind, **{key: found[kind].value for key, found in spreads.items()}})
            for kind in _KINDS
            if all(kind in found for found in spreads.values())
        ),
        uncertainty=uncertainty,
    )
    return result, notes


def _values(found: ByItem) -> FloatArray:
    return np.array([np.nan if row.value is None else row.value for row in found.values()])


def _index_errors(table: LiftTable, spec: Spec, names: dict[str, LobeName | None], centres: FloatArray) -> IndexErrors:
    wanted = spec.camshaft
    places = None
    if wanted.places is not None:
        places = {row: wanted.places[lobe] for row, lobe in enumerate(names) if lobe in wanted.places}
    arrangement = None if places else _arrangement(table, spec)
    return indexing.index_errors(list(names.values()), centres, arrangement, wanted.lobe_separation_cam_deg, places)


def _arrangement(table: LiftTable, spec: Spec) -> Arrangement | None:
    wanted = spec.camshaft
    order = table.firing_order if wanted.firing_order is None else wanted.firing_order
    if order is None:
        return None
    count = wanted.cylinders if wanted.cylinders is not None else table.cylinders
    if len(set(order)) != len(order) or (count is not None and count != len(order)):
        expected = Phrase("each of {value} cylinders once", value=count or len(order))
        raise CannotEvaluate(
            Reason.BAD_VALUES,
            Phrase(
                "firing order: found {names}, expected {expected}", names="-".join(map(str, order)), expected=expected
            ),
        )
    bank = wanted.bank_angle_cam_deg if wanted.bank_angle_cam_deg is not None else table.bank_angle_deg or 0.0
    second = wanted.second_bank if wanted.second_bank is not None else table.second_bank
    return Arrangement(order, bank, frozenset(second or ()))
