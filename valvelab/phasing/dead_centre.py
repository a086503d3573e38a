"""True top dead centre from piston-stop readings on a degree wheel.

Source: common practice of degreeing; plain geometry.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from valvelab.angles import wrap_scalar
from valvelab.errors import CannotEvaluate, Reason
from valvelab.frozen import frozen
from valvelab.phrase import Phrase

SHORTEST_ARC_DEG = 6.0
LONGEST_ARC_DEG = 150.0
SENSES_AGREE_DEG = 0.5


@frozen
class DeadCentre:
    """Where dead centre lies on the wheel.

    reading_deg: wheel reading at true dead centre, in [−180, 180). arc_deg: between the readings of either side.
    disagreement_deg: how far the middles of repeated pairs lie apart, None with a single pair.
    """

    reading_deg: float
    standard_uncertainty_deg: float | None
    arc_deg: float
    disagreement_deg: float | None


def find_dead_centre(readings_deg: Sequence[float], wheel_uncertainty_deg: float | None = None) -> DeadCentre:
    """Middle of the stop readings on the shorter arc; four readings give the mean of the two middles.

    The piston passes dead centre symmetrically, so it stands where the crank is half way between the two touches.
    The readings may come in any order: they are parted into those of one side and those of the other. Standard
    uncertainty u_wheel/√n. Refuses fewer than two readings, or all of them on one side.
    """
    if len(readings_deg) < 2:
        raise CannotEvaluate(
            Reason.TOO_FEW_READINGS,
            Phrase("piston stop: found {count} reading(s), expected one from each side", count=len(readings_deg)),
        )
    first = readings_deg[0]
    offsets = [wrap_scalar(reading - first) for reading in readings_deg]
    farthest = max(offsets, key=abs)
    near = [offset for offset in offsets if abs(offset) < abs(farthest) / 2.0]
    far = [offset for offset in offsets if abs(offset) >= abs(farthest) / 2.0]
    if not near or farthest == 0.0:
        raise CannotEvaluate(Reason.BAD_VALUES, Phrase("piston stop: all readings are equal, expected both sides"))
    near_mean, far_mean = math.fsum(near) / len(near), math.fsum(far) / len(far)
    uncertainty = None
    if wheel_uncertainty_deg is not None:
        uncertainty = 0.5 * wheel_uncertainty_deg * math.sqrt(1.0 / len(near) + 1.0 / len(far))
    return DeadCentre(
        reading_deg=wrap_scalar(first + 0.5 * (near_mean + far_mean)),
        standard_uncertainty_deg=uncertainty,
        arc_deg=abs(far_mean - near_mean),
        disagreement_deg=_disagreement(offsets) if len(near) == len(far) > 1 else None,
    )


def _disagreement(offsets: list[float]) -> float:
    middles = [0.5 * (offsets[i] + offsets[i + 1]) for i in range(0, len(offsets) - 1, 2)]
    return max(middles) - min(middles)


def stop_complaints(readings_deg: Sequence[float], centre: DeadCentre) -> list[tuple[str, bool]]:
    """Sentences on stop readings, and whether they contradict each other or can't be what they seem."""
    complaints = []
    if centre.arc_deg < SHORTEST_ARC_DEG:
        text = (
            f"the stop readings lie only {centre.arc_deg:.1f} deg apart: they must be one before and one after dead "
            "centre; on a wheel marked both ways from zero enter the one before it as negative"
        )
        complaints.append((text, True))
    if centre.arc_deg > LONGEST_ARC_DEG:
        text = (
            f"the stop readings lie {centre.arc_deg:.1f} deg apart: the middle may be bottom dead centre; "
            "let the stop touch within about 60 deg of the top"
        )
        complaints.append((text, True))
    if len(readings_deg) % 2:
        text = f"found {len(readings_deg)} stop readings, expected as many on one side as on the other"
        complaints.append((text, False))
    if centre.disagreement_deg is not None:
        allowed = max(SENSES_AGREE_DEG, 4.0 * (centre.standard_uncertainty_deg or 0.0))
        if centre.disagreement_deg > allowed:
            text = (
                f"the middles of the two pairs of stop readings differ by {centre.disagreement_deg:.2f} deg: the stop "
                "gave way, the wheel or its pointer slipped, or a reading is wrong; take all four again"
            )
            complaints.append((text, True))
    return complaints
