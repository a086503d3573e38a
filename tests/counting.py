"""How much work something is, counted in calls: the same on a slow machine as on a fast one."""

from __future__ import annotations

import cProfile
import pstats
from collections.abc import Callable


def calls_of(work: Callable[[], object]) -> int:
    """How many calls a piece of work makes."""
    profile = cProfile.Profile()
    profile.runcall(work)
    return int(vars(pstats.Stats(profile))["total_calls"])
