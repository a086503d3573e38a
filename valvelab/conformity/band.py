"""The band of an envelope: how far a profile may be off its nominal, by angle."""

from __future__ import annotations

from typing import Annotated

from valvelab.frozen import frozen
from valvelab.quantities import CAM_ANGLE, bounded_length, number

BandPlace = Annotated[
    float, number(CAM_ANGLE, lambda deg: abs(deg) <= 180.0, "cam deg from the nominal's lobe centre, within ±180")
]
BandSize = Annotated[
    float, number(bounded_length, lambda mm: mm >= 0.0, "a size of 0 or more, to that side of the nominal")
]


@frozen
class BandPiece:
    """Allowed deviation below and above (positive sizes, mm) from one angle to another, from the nominal's centre."""

    from_cam_deg: BandPlace
    to_cam_deg: BandPlace
    below_mm: BandSize
    above_mm: BandSize
