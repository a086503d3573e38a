"""One group of lobes, asked: every question goes to its fit, and to copies that show how far the fit can be off.

What turns that disagree, a zero that drifts and a base circle with form add to an uncertainty: each is a small change
of the lift curve. The fitted curve is moved by it and asked anew; the difference is what the change does to a
characteristic. Only curves that show such a change are moved.

Readings far apart: where readings stand more than 4 cam deg apart on a lobe, what the fit draws between them rests on
its own smoothness, and too few are left over to see the noise. The table is fitted again without every third reading
(fourth, where few are there), each in turn; as a gap of two spacings is bridged far worse than one of one, a quarter of
the greatest change is counted as standard uncertainty. Cross-validation in the sense of Stone (1974); the quarter by
simulation.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import field, replace

import numpy as np

from valvelab.angles import wrap
from valvelab.arrays import BoolArray, FloatArray, read_only
from valvelab.errors import CannotEvaluate
from valvelab.frozen import frozen
from valvelab.lobe.agreement import CLOSING, OPENING, POINTWISE, SCALE, ZERO, Agreement, Spread, compare
from valvelab.lobe.base_circle import harmonic_row
from valvelab.lobe.characteristics import Instrument, LobeCharacteristics
from valvelab.lobe.drift import Drift, drift_patterns, find_drift
from valvelab.lobe.profile import FittedLobes, fit_lobes
from valvelab.lobe.smoothing import FEWEST_READINGS
from valvelab.lobe.smoothing_bias import WIDEST_FOR_ACCELERATION, WIDEST_FOR_JERK, too_wide
from valvelab.lobe.spline import SplineSet
from valvelab.measured import Each, Once
from valvelab.phrase import Phrase

NOSE_DROP_MM = 1.27
Question = Callable[..., Each]
"""Asked of fitted lobes, and of the lift where it has one: `question(lobes)`, `question(lobes, lift_mm)`."""
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
COUNTED_SHARE = 0.25


@frozen(slots=False, eq=False)
class LobeGroup(Once):
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

    @property
    def fitted(self) -> FittedLobes:
        """The fit behind them."""
        return self.characteristics.fitted

    def ask(self, question: Question, *at_mm: float, circle: bool = False) -> Each:
        """The answer for every lobe, asked once; circle: it is a place on the circle."""
        return self.once(LobeGroup._asked, question, at_mm, circle)

    def _asked(self, question: Question, at_mm: tuple[float, ...], circle: bool) -> Each:
        found = question(self.characteristics, *at_mm)
        if self.source is not None:
            # as much wider than its plain uncertainty as that of the lobes that were read
            plain = question(self.source.characteristics, *at_mm)
            more = np.maximum(self.source.ask(question, *at_mm, circle=circle).u ** 2 - plain.u**2, 0.0)
            return self._masked(replace(found, u=np.sqrt(found.u**2 + np.nan_to_num(more))))
        if self.widening is not None:
            found = self.widening.apply(found, lambda copy: question(copy, *at_mm))
        others = [question(copy, *at_mm) for copy in self.thinned]
        wide = too_wide(self.characteristics.spacing_cam_deg, 2)
        return self._masked(between_readings(found, others, wide, circle=circle))

    def _masked(self, found: Each) -> Each:
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
        return Phrase(
            "readings {apart} cam deg apart are too wide for an acceleration (at most {widest})"
            if order == 2
            else "readings {apart} cam deg apart are too wide for a jerk (at most {widest})",
            apart=f"{apart[row]:.3g}",
            widest=f"{widest:g}",
        )


def nose_centre(lobes: LobeCharacteristics) -> Each:
    """The lobe centre: middle of the chord 1.27 mm below the peak."""
    return lobes.nose_centre(NOSE_DROP_MM)


@frozen(slots=False)
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


@frozen(slots=False)
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

    def apply(self, found: Each, ask: Callable[[LobeCharacteristics], Each]) -> Each:
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


def between_readings(found: Each, others: list[Each], wide: BoolArray, *, circle: bool) -> Each:
    """What was found, its uncertainty counting what lies between readings far apart; `wide`: for which lobes, (lobes,).

    `others`: the same of the thinned lobes. circle: it is a place on the circle.
    """
    if not others:
        return found
    change = np.abs(np.stack([other.value - found.value for other in others]))
    if circle:
        change = np.minimum(np.mod(change, 360.0), 360.0 - np.mod(change, 360.0))
    most = np.nan_to_num(change).max(axis=0)
    return replace(found, u=np.where(wide, np.hypot(found.u, COUNTED_SHARE * most), found.u))


def thinned(found: LobeCharacteristics, *, take_out_eccentricity: bool) -> tuple[LobeCharacteristics, ...]:
    """The same lobes without every third (or fourth) reading, each in turn; none where none is wide."""
    if not too_wide(found.spacing_cam_deg, 2).any():
        return ()
    conditioned = found.fitted.conditioned
    number = np.unique(np.round(conditioned.angle_cam_deg, 6), return_inverse=True)[1].ravel()
    each = 3 if 2 * (int(number.max()) + 1) >= 3 * FEWEST_READINGS else 4
    copies = []
    for turn in range(each):
        used = number % each != turn
        part = replace(
            conditioned,
            angle_cam_deg=conditioned.angle_cam_deg[used],
            lifts_mm=conditioned.lifts_mm[:, used],
            kept=conditioned.kept[:, used],
            sweep=conditioned.sweep[used],
            grid=None,
        )
        with suppress(CannotEvaluate):
            fitted = fit_lobes(part, take_out_eccentricity=take_out_eccentricity)
            copies.append(LobeCharacteristics(fitted, Instrument()))
    return tuple(copies)
