"""What turns that disagree, a zero that drifts and a base circle with form add to every uncertainty.

Each is a small change of the lift curve. The fitted curve is moved by it and asked anew; the difference
is what the change does to a characteristic. Only curves that show such a change are moved.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from valvelab.angles import wrap
from valvelab.arrays import FloatArray, read_only
from valvelab.lobe.agreement import CLOSING, OPENING, POINTWISE, SCALE, ZERO, Agreement, Spread, compare
from valvelab.lobe.base_circle import harmonic_row
from valvelab.lobe.characteristics import LobeCharacteristics
from valvelab.lobe.drift import Drift, drift_patterns, find_drift
from valvelab.lobe.profile import FittedLobes
from valvelab.lobe.spline import SplineSet
from valvelab.measured import Each

Ask = Callable[[LobeCharacteristics], Each]
"""A question that a group of lobes is asked: one characteristic of each."""

# Noise alone gives a warning in less than one table of twenty, over all its lobes and questions; the noise itself is
# known no better than so that half of that has to be kept back.
TABLE_CHANCE = 0.025
# Small changes that characteristics are differentiated by: zero (mm), opening and closing (cam deg), scale.
_UNITS = np.array([1e-3, 0.02, 0.02, 2e-4])
CENTRE = np.array([0.0, 0.5, 0.5, 0.0])
DURATION = np.array([0.0, -1.0, 1.0, 0.0])
LIFT = np.array([0.0, 0.0, 0.0, 1.0])
TABLE_ZERO = np.array([1.0, 0.0, 0.0, 0.0])
# Form whose effect on the lift is less than this share of its uncertainty is not followed up.
_WORTH = 0.3


@dataclass(frozen=True)
class Doubts:
    """What one group of lobes shows of disagreement, drift and form; `agreement` and `drift` None where it can't."""

    fitted: FittedLobes
    agreement: Agreement | None
    drift: Drift | None

    @property
    def disagreements(self) -> dict[str, Spread]:
        """How turns differ in centre and duration (cam deg), scale of lift, and zero where the table's own is kept."""
        if self.agreement is None:
            return {}
        questions = {"centre": CENTRE, "duration": DURATION, "lift": LIFT}
        if self.fitted.own_zero.any():
            questions["zero"] = TABLE_ZERO
        return {name: self.agreement.spread(weights) for name, weights in questions.items()}

    @property
    def angle_is_seen(self) -> bool:
        """Whether turns stand or last differently, so that their angles' scatter is in the uncertainty."""
        shown = self.disagreements
        return any(bool((shown[name].chance < POINTWISE).any()) for name in ("centre", "duration") if name in shown)

    def drifts(self, chance: float) -> FloatArray | None:
        """Drift of each lobe in mm, 0 where noise shows as much more often than by `chance`; None where all are 0."""
        if self.drift is None:
            return None
        size = np.where(self.drift.chance < chance, self.drift.size_mm, 0.0)
        return size if size.any() else None


def doubts_of(fitted: FittedLobes) -> Doubts:
    """Compare turns and look for drift."""
    agreement = compare(fitted)
    return Doubts(fitted, agreement, find_drift(fitted, agreement))


@dataclass(frozen=True)
class Widening:
    """Copies of a group's curves, each moved by one change.

    by_effect: by `units` of each effect of turns, if they disagree. by_drift: by the drift seen, at each moment it may
    have come. by_form: by each part of the base circle's form that passes for zero and eccentricity, and
    by what joining turns that stand apart does to a curve.
    """

    agreement: Agreement | None
    by_effect: tuple[LobeCharacteristics, ...] = ()
    by_drift: tuple[LobeCharacteristics, ...] = ()
    by_form: tuple[LobeCharacteristics, ...] = ()

    def apply(self, found: Each, ask: Ask) -> Each:
        """What was found with a wider uncertainty; `ask` asks a moved copy the same."""

        def moved(copies: tuple[LobeCharacteristics, ...]) -> FloatArray:
            return np.nan_to_num(np.stack([ask(copy).value - found.value for copy in copies]))

        total = np.zeros_like(found.value)
        if self.by_effect and self.agreement is not None:
            total = total + self.agreement.spread((moved(self.by_effect) / _UNITS[:, None]).T).extra
        if self.by_drift:
            total = total + (moved(self.by_drift) ** 2).mean(axis=0)
        if self.by_form:
            total = total + (moved(self.by_form) ** 2).sum(axis=0)
        return replace(found, u=np.sqrt(found.u**2 + total))


# Questions asked of each lobe: centre, duration, lift, zero, drift.
QUESTIONS = 5


def worth_saying(lobes: int) -> float:
    """Chance below which a disagreement or drift is a warning in a table of so many lobes."""
    return TABLE_CHANCE / (QUESTIONS * lobes)


def widening(doubts: Doubts, characteristics: LobeCharacteristics) -> Widening | None:
    """The copies that a group's doubts call for; None where there is nothing to widen by.

    characteristics: of the fitted lobes, or of the same lobes under another follower.
    """
    fitted = characteristics.fitted
    angle = _coefficient_angles(fitted.splines)
    by_effect: tuple[LobeCharacteristics, ...] = ()
    if doubts.agreement is not None:
        by_effect = tuple(_moved(fitted, unit * change) for unit, change in zip(_UNITS, _effects(fitted), strict=True))
    drift = doubts.drifts(POINTWISE)
    by_drift: tuple[LobeCharacteristics, ...] = ()
    if drift is not None:
        patterns = drift_patterns(doubts.fitted, angle) * drift[:, None]
        # where the turn closes the drift is a step, and the fit rounds it as it rounds readings
        smoothness = doubts.fitted.smoothed.half_harmonic
        rounded = (replace(fitted.splines, padded=read_only(pattern)).blurred(smoothness) for pattern in patterns)
        by_drift = tuple(_moved(fitted, pattern.padded) for pattern in rounded)
    changes = [*_forms(doubts.fitted, characteristics, angle), *_blurring(doubts, fitted)]
    by_form = tuple(_moved(fitted, change) for change in changes)
    if not (by_effect or by_drift or by_form):
        return None
    return Widening(doubts.agreement, by_effect, by_drift, by_form)


def _coefficient_angles(splines: SplineSet) -> FloatArray:
    count = splines.padded.shape[1]
    return np.asarray(splines.start + splines.step * np.arange(-3, count - 3, dtype=np.float64))


def _moved(fitted: FittedLobes, change: FloatArray) -> LobeCharacteristics:
    """The lobes with a smooth change, (lobes, coefficients), added to their lift."""
    splines = replace(fitted.splines, padded=read_only(fitted.splines.padded + change))
    return LobeCharacteristics(replace(fitted, splines=splines))


def _effects(fitted: FittedLobes) -> list[FloatArray]:
    """Change of the lift for a unit of each effect of a turn, (lobes, coefficients) each."""
    splines = fitted.splines
    lift, slope = (_at_coefficients(fitted, order) for order in (0, 1))
    angle = _coefficient_angles(splines)
    nose = splines.knots()[np.argmax(fitted.at_knots[0], axis=1)][:, None]
    before = wrap(angle - nose) < 0.0 if splines.periodic else angle < nose
    changes = {
        # where the base circle gives the zero, that of a turn does not reach the lift
        ZERO: np.ones_like(lift) * fitted.own_zero[:, None],
        OPENING: np.where(before, -slope, 0.0),
        CLOSING: np.where(before, 0.0, -slope),
        SCALE: lift,
    }
    return [changes[effect] for effect in range(4)]


def _blurring(doubts: Doubts, fitted: FittedLobes) -> list[FloatArray]:
    """Change of the lift by which the mean of turns that stand apart differs from each of them: ½ variance × s″."""
    if doubts.agreement is None:
        return []
    centre = doubts.disagreements["centre"]
    apart = np.where(centre.chance < POINTWISE, doubts.agreement.variance(CENTRE), 0.0)
    return [0.5 * apart[:, None] * _at_coefficients(fitted, 2)] if apart.any() else []


def _at_coefficients(fitted: FittedLobes, order: int) -> FloatArray:
    """A derivative of the lift at the angles of the coefficients, (lobes, coefficients)."""
    splines = fitted.splines
    places = np.arange(-3, splines.padded.shape[1] - 3)
    knots = fitted.at_knots[0].shape[1]
    places = np.mod(places, knots) if splines.periodic else np.clip(places, 0, knots - 1)
    return np.asarray(fitted.at_knots[order][:, places])


def _forms(fitted: FittedLobes, characteristics: LobeCharacteristics, angle: FloatArray) -> list[FloatArray]:
    """Changes of the lift by the form of base circles, (lobes, coefficients) each; none where they hardly matter."""
    if not fitted.zero_taken_out:
        return []
    pulls = np.array([np.zeros((2, 3)) if base is None else base.pull for base in fitted.bases])
    if not fitted.eccentricity_taken_out:
        pulls[:, :, 1:] = 0.0
    at_nose = np.einsum("lkj,lj->lk", pulls, harmonic_row(characteristics.peak.angle_cam_deg))
    matters = np.abs(at_nose).max(axis=1) > _WORTH * characteristics.max_lift().u
    if not matters.any():
        return []
    changes = np.einsum("lkj,nj->kln", -pulls * matters[:, None, None], harmonic_row(angle))
    return [change for change in changes if change.any()]
