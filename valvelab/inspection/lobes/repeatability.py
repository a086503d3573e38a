"""One group of lobes, asked: every question goes to its fit, and to the copies that show how far the fit can be off."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from valvelab.inspection.lobes.wide_readings import between_readings
from valvelab.inspection.lobes.widening import Doubts, Widening
from valvelab.lobe.characteristics import LobeCharacteristics
from valvelab.lobe.profile import FittedLobes
from valvelab.lobe.smoothing_bias import WIDEST_FOR_ACCELERATION, WIDEST_FOR_JERK, too_wide
from valvelab.measured import Each

NOSE_DROP_MM = 1.27
Question = Callable[..., Each]
"""Asked of fitted lobes, and of the lift where it has one: `question(lobes)`, `question(lobes, lift_mm)`."""


@dataclass(frozen=True, eq=False)
class LobeGroup:
    """Lobes fitted together.

    doubts: what its turns, drift and base circles show; widening: the copies that these call for. thinned: the same
    lobes of fewer readings, where those are far apart. withheld: lobes that have no motion under the follower asked
    for, each with the reason. source: where this describes lobes under another follower, those that were read.
    """

    characteristics: LobeCharacteristics
    doubts: Doubts | None = None
    widening: Widening | None = None
    thinned: tuple[LobeCharacteristics, ...] = ()
    withheld: Mapping[str, str] = field(default_factory=dict)
    source: LobeGroup | None = None
    _known: dict[object, Each] = field(default_factory=dict, init=False, repr=False)

    @property
    def fitted(self) -> FittedLobes:
        """The fit behind them."""
        return self.characteristics.fitted

    def ask(self, question: Question, *at_mm: float, circle: bool = False) -> Each:
        """The answer for every lobe, asked once; circle: it is a place on the circle."""
        key = question, at_mm
        if key not in self._known:
            self._known[key] = self.masked(self._asked(question, at_mm, circle=circle))
        return self._known[key]

    def _asked(self, question: Question, at_mm: tuple[float, ...], *, circle: bool) -> Each:
        found = question(self.characteristics, *at_mm)
        if self.source is not None:
            # as much wider than its plain uncertainty as that of the lobes that were read
            plain = question(self.source.characteristics, *at_mm)
            more = np.maximum(self.source.ask(question, *at_mm, circle=circle).u ** 2 - plain.u**2, 0.0)
            return replace(found, u=np.sqrt(found.u**2 + np.nan_to_num(more)))
        if self.widening is not None:
            found = self.widening.apply(found, lambda copy: question(copy, *at_mm))
        others = [question(copy, *at_mm) for copy in self.thinned]
        return between_readings(found, others, too_wide(self.characteristics.spacing_cam_deg, 2), circle=circle)

    def masked(self, found: Each) -> Each:
        """No value for the lobes withheld, with the reason."""
        if not self.withheld:
            return found
        reasons = [self.withheld.get(name, "") for name in self.fitted.names]
        return found.without(np.array([reason != "" for reason in reasons]), reasons)

    def no_derivative(self, row: int, order: int) -> str:
        """Why one lobe has no second (or third) derivative: its readings are too far apart; empty where it has one."""
        apart = self.characteristics.spacing_cam_deg
        if not too_wide(apart, order)[row]:
            return ""
        widest = {2: WIDEST_FOR_ACCELERATION, 3: WIDEST_FOR_JERK}[order]
        wanted = {2: "an acceleration", 3: "a jerk"}[order]
        return f"readings {apart[row]:.3g} cam deg apart are too wide for {wanted} (at most {widest:g})"


def nose_centre(lobes: LobeCharacteristics) -> Each:
    """The lobe centre: middle of the chord 1.27 mm below the peak."""
    return lobes.nose_centre(NOSE_DROP_MM)


def peak_angle(lobes: LobeCharacteristics) -> Each:
    """Where lift is greatest."""
    return lobes.peak_angle_once


def max_lift(lobes: LobeCharacteristics) -> Each:
    """Greatest lift."""
    return lobes.max_lift()
