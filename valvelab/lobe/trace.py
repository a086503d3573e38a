"""One lobe's readings as measured; nothing here is ever altered."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from valvelab.arrays import FloatArray
from valvelab.frozen import frozen


@frozen
class Trace:
    """Readings of one lobe in reading order.

    angle_cam_deg, lift_mm: shape (n,), read-only. Angles are cam degrees in the running sense (a reverse sweep is
    already mirrored), not folded: they may start anywhere, wrap or run over several turns. `sweep` numbers the
    sweep of each reading from 0, or is None for a single sweep. Lobes read together share one angle array.
    """

    name: str
    angle_cam_deg: FloatArray
    lift_mm: FloatArray
    sweep: NDArray[np.int64] | None = None
