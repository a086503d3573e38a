"""Where the lobes sit on the shaft: names, separation, nominal places and index errors.

Angles are cam degrees on one scale, growing in the running sense. Lobe separation of a cylinder is
(θ_intake − θ_exhaust) folded to (0, 180). In a vee engine the bore angle shifts a lobe on the shaft:
timing angle = shaft angle + bore angle. Source: common practice; plain geometry.
"""

from __future__ import annotations

import re
from itertools import product

import numpy as np

from valvelab.angles import wrap, wrap_scalar
from valvelab.arrays import FloatArray, median
from valvelab.errors import CannotEvaluate, Reason
from valvelab.frozen import frozen
from valvelab.phrase import Phrase

_NAME = re.compile(r"(\d+)([IE])(\d*)")
# An arrangement that leaves larger errors than this is not the shaft's.
LARGEST_BELIEVABLE_CAM_DEG = 12.0


@frozen
class LobeName:
    """A lobe's cylinder, kind and number among its kind (1 where there is one)."""

    cylinder: int
    kind: str
    number: int


def parse_name(name: str) -> LobeName | None:
    """`1I`, `4E`, `1I2`; None for any other name."""
    match = _NAME.fullmatch(name)
    if match is None or int(match.group(1)) == 0:
        return None
    kind = "intake" if match.group(2) == "I" else "exhaust"
    return LobeName(int(match.group(1)), kind, int(match.group(3) or 1))


def separation(intake_cam_deg: float, exhaust_cam_deg: float) -> float:
    """Lobe separation in cam degrees, folded to [0, 180]."""
    return abs(wrap_scalar(intake_cam_deg - exhaust_cam_deg))


@frozen
class Arrangement:
    """How lobes should lie: firing order, bank angle (deg; 0 for one bank), which cylinders are in the second bank."""

    firing_order: tuple[int, ...]
    bank_angle_deg: float = 0.0
    second_bank: frozenset[int] = frozenset()


@frozen
class IndexErrors:
    """Error of each lobe (cam deg, same order as given) after one phase for the whole shaft, and how it was found."""

    errors_cam_deg: FloatArray
    remarks: tuple[str, ...]


def cylinder_separations(names: list[LobeName | None], centres: FloatArray) -> dict[int, float]:
    """Separation of every cylinder with both kinds, from the mean direction of each kind's lobes.

    `centres`: shape (lobes,), cam deg, NaN where there is none; given: cam deg by cylinder.
    """
    result: dict[int, float] = {}
    for cylinder in sorted({name.cylinder for name in names if name is not None}):
        sides = []
        for kind in ("intake", "exhaust"):
            rows = [
                k
                for k, name in enumerate(names)
                if name is not None and name.cylinder == cylinder and name.kind == kind and np.isfinite(centres[k])
            ]
            if rows:
                first = float(centres[rows[0]])
                sides.append(first + float(np.mean(wrap(centres[rows] - first))))
        if len(sides) == 2:
            result[cylinder] = separation(*sides)
    return result


def index_errors(
    names: list[LobeName | None],
    centres: FloatArray,
    arrangement: Arrangement | None,
    nominal_separation: float | None,
    places: dict[int, float] | None = None,
) -> IndexErrors:
    """Each lobe's centre against its nominal place after one least-squares phase for the whole shaft.

    `places`: nominal cam angle by row, which wins. Without a nominal separation the shaft's own median is used
    and said. Where the second bank is not stated, the arrangement that fits is recognised and said.
    Refuses an incomplete firing order and a shaft that no arrangement fits. `centres`: shape (lobes,), cam deg.
    """
    if places is not None:
        return IndexErrors(_against(centres, np.array([places.get(k, np.nan) for k in range(len(names))])), ())
    if arrangement is None:
        raise CannotEvaluate(Reason.MISSING_INPUT, Phrase("not derived: no firing order and no places are stated"))
    known = {name.cylinder for name in names if name is not None}
    missing = known - set(arrangement.firing_order)
    if missing:
        listed = ", ".join(str(cylinder) for cylinder in sorted(missing))
        raise CannotEvaluate(
            Reason.MISSING_INPUT, Phrase("firing order: found no cylinder {listed}, which the shaft has", listed=listed)
        )
    remarks: list[str] = []
    if nominal_separation is None:
        found = list(cylinder_separations(names, centres).values())
        nominal_separation = float(median(found)) if found else 0.0
        if found:
            remarks.append(
                Phrase(
                    "no lobe separation is stated; the shaft's own median {separation} cam deg is used",
                    separation=f"{nominal_separation:.3f}",
                )
            )
    candidates = _candidates(arrangement)
    results = [
        (label, _against(centres, _nominal(names, chosen, sign, nominal_separation)))
        for label, chosen, sign in candidates
    ]
    label, best = min(results, key=lambda entry: float(np.nanmax(np.abs(entry[1]))))
    if float(np.nanmax(np.abs(best))) > LARGEST_BELIEVABLE_CAM_DEG:
        raise CannotEvaluate(
            Reason.NOT_FEASIBLE,
            Phrase(
                "not derived: no arrangement of the stated firing order and bank angle lies within "
                "{most} cam deg of the lobes; check firing order, bank angle and "
                "sense of rotation",
                most=f"{LARGEST_BELIEVABLE_CAM_DEG:g}",
            ),
        )
    if label:
        remarks.append(label)
    return IndexErrors(best, tuple(remarks))


def _candidates(arrangement: Arrangement) -> list[tuple[str, Arrangement, float]]:
    """Arrangements to try: banks and the side they lean to, where they are not stated."""
    if arrangement.bank_angle_deg == 0.0:
        return [("", arrangement, 1.0)]
    cylinders = sorted(arrangement.firing_order)
    half = len(cylinders) // 2
    banks: list[tuple[str, frozenset[int]]] = [
        (Phrase("even cylinders"), frozenset(c for c in cylinders if c % 2 == 0)),
        (Phrase("cylinders {first} and above", first=cylinders[half]), frozenset(cylinders[half:])),
    ]
    if arrangement.second_bank:
        banks = [(Phrase("the stated cylinders"), arrangement.second_bank)]
    order = arrangement.firing_order
    return [
        (
            Phrase(
                "{cylinders} taken as the second bank, its lobes before their timing angle"
                if sign > 0
                else "{cylinders} taken as the second bank, its lobes after their timing angle",
                cylinders=name,
            ),
            Arrangement(order, arrangement.bank_angle_deg, bank),
            sign,
        )
        for (name, bank), sign in product(banks, (1.0, -1.0))
    ]


def _nominal(names: list[LobeName | None], arrangement: Arrangement, sign: float, apart: float) -> FloatArray:
    """Nominal place of every lobe on the shaft, up to one phase; NaN for lobes without a place."""
    interval = 360.0 / len(arrangement.firing_order)
    result = np.full(len(names), np.nan)
    for row, name in enumerate(names):
        if name is None:
            continue
        timing = interval * arrangement.firing_order.index(name.cylinder)
        bore = sign * arrangement.bank_angle_deg if name.cylinder in arrangement.second_bank else 0.0
        result[row] = timing - bore + (0.0 if name.kind == "intake" else -apart)
    return result


def _against(centres: FloatArray, nominal: FloatArray) -> FloatArray:
    """Errors after one phase: iterated mean of the folded differences, from their circular mean."""
    difference = centres - nominal
    known = np.isfinite(difference)
    if not known.any():
        raise CannotEvaluate(Reason.MISSING_INPUT, Phrase("not derived: no lobe has both a centre and a nominal place"))
    phase = np.degrees(np.angle(np.exp(1j * np.radians(difference[known])).sum()))
    for _ in range(3):
        phase += float(np.mean(wrap(difference[known] - phase)))
    errors = np.full(difference.shape, np.nan)
    errors[known] = wrap(difference[known] - phase)
    return errors
