"""A zero that runs away while a shaft is turned: how much, and what that does to the lift.

It shows in readings that close a turn on its own beginning, where there are none in a step of the base circle between
the end of a turn and its beginning, and in zeros that step from turn to turn of one sweep. When within the turn it
happened nobody knows; each moment is as likely as any other.
Source: own method; JCGM 100:2008, clause 5.
"""

from __future__ import annotations

import numpy as np

from valvelab.arrays import FloatArray, distinct
from valvelab.frozen import frozen
from valvelab.lobe.agreement import ZERO, Agreement, tail_of_f
from valvelab.lobe.base_circle import harmonic_row
from valvelab.lobe.profile import FittedLobes

_MOMENTS = 4
# Of the base circle on each side of a turn's beginning, at most and at least, for a step between them; and the fewest
# readings there.
_BESIDE_CAM_DEG, _LEAST_BESIDE_CAM_DEG, _FEWEST_BESIDE = 15.0, 6.0, 5
_NEAR_DEG = 1e-6
_LEAST_MM = 2e-5
_WORTH_A_LOOK = 0.05
# Lift that a step of the base circle does not reach; and how far beyond its noise a straight line may scatter, squared.
_FLANK_MM, _STRAIGHT = 0.05, 2.0
# From one place to the next where the base circle may step as much by its form.
_STRIDE_CAM_DEG = 2.5


@frozen
class Drift:
    """Change of zero over one turn of each lobe, mm, 0 where none is seen, and how often noise alone shows as much.

    Both (lobes,).
    """

    size_mm: FloatArray
    chance: FloatArray


def find_drift(fitted: FittedLobes, agreement: Agreement | None) -> Drift | None:
    """Drift by closing readings (or a step) and by turns that follow each other; None where the table shows neither."""
    closed = _by_closing(fitted) or _by_step(fitted)
    stepped = None if agreement is None else _by_turns(fitted, agreement)
    shown = [part for part in (closed, stepped) if part is not None]
    if not shown:
        return None
    chance = np.minimum.reduce([part.chance for part in shown]) * len(shown)
    return Drift(np.maximum.reduce([part.size_mm for part in shown]), np.minimum(chance, 1.0))


def _by_closing(fitted: FittedLobes) -> Drift | None:
    turns = fitted.conditioned.turns
    closings = [turn.closing_mm for turn in turns if turn.closing_mm is not None]
    if not closings:
        return None
    off = np.stack([np.nan_to_num(closing) for closing in closings])
    pairs = float(sum(turn.pairs for turn in turns))
    # neighbouring pairs say the same where noise hangs together
    telling = max(float(len(closings)), pairs * _telling(fitted))
    return _judged(fitted, off, np.square(fitted.reading_noise_mm) * 2.0 / telling)


def _telling(fitted: FittedLobes) -> float:
    """How much one reading says beside its neighbour, 1 where noise does not hang together."""
    lag = fitted.smoothed.lag_correlation
    return float((1.0 - lag) / (1.0 + lag))


def _judged(fitted: FittedLobes, off: FloatArray, variance: FloatArray) -> Drift:
    """Drift of turns whose ends are off by so much, (turns, lobes) in mm; variance: (lobes,), of their mean."""
    readings = _telling(fitted) * fitted.conditioned.kept.sum(axis=1)
    degrees = np.maximum(readings - fitted.smoothed.half_harmonic, 4.0)
    f = off.mean(axis=0) ** 2 / np.maximum(variance, _LEAST_MM**2)
    return Drift(np.sqrt((off**2).mean(axis=0)), tail_of_f(np.ones(degrees.size, dtype=np.int64), degrees, f))


def _by_step(fitted: FittedLobes) -> Drift | None:
    """Steps of the base circle where turns begin, of lobes that rest there; None where none does.

    As far as the base circle steps as much elsewhere it is its form.
    """
    count = len(fitted.names)
    off, variance = np.zeros((len(fitted.conditioned.turns), count)), np.zeros(count)
    rests: list[list[_Rest]] = [[] for _ in range(count)]
    for number, turn in enumerate(fitted.conditioned.turns):
        for row in range(count):
            rest = _Rest.of(fitted, row, number)
            if rest is None:
                continue
            rests[row].append(rest)
            step = rest.step(rest.begins)
            if step is not None:
                off[number, row] = turn.sense * step[0]
                variance[row] += step[1] * fitted.reading_noise_mm[row] ** 2 / _telling(fitted)
    if not off.any():
        return None
    variance /= off.shape[0] ** 2
    for row in np.flatnonzero(_judged(fitted, off, variance).chance < _WORTH_A_LOOK).tolist():
        elsewhere = [step for rest in rests[row] for step in rest.steps_elsewhere()]
        variance[row] += max((step**2 for step in elsewhere), default=0.0)
    return _judged(fitted, off, variance)


@frozen
class _Rest:
    """Readings of one turn on a lobe's base circle: angle (n,) ascending, and lift less the harmonic; their noise, mm.

    The arc that was found ends at a step; this one reaches over it.
    """

    begins: float
    angle: FloatArray
    off: FloatArray
    noise_mm: float

    @classmethod
    def of(cls, fitted: FittedLobes, row: int, turn: int) -> _Rest | None:
        """The rest of a lobe in one turn; None of a lobe without one."""
        base, conditioned, splines = fitted.bases[row], fitted.conditioned, fitted.splines
        if base is None or not conditioned.periodic:
            return None
        chosen = (conditioned.sweep == turn) & conditioned.kept[row]
        start = splines.start + 0.5 * splines.step * (base.first + base.last) - 180.0
        angle = start + np.mod(conditioned.angle_cam_deg[chosen] - start, 360.0)
        order = np.argsort(angle)
        angle = angle[order]
        off = conditioned.lifts_mm[row, chosen][order] - harmonic_row(angle) @ base.abc
        # the whole turn about the middle of the arc, as far as the lift is nowhere near a flank
        far = np.abs(off) > _FLANK_MM + 5.0 * fitted.reading_noise_mm[row]
        middle = int(np.searchsorted(angle, start + 180.0))
        low = middle - int(np.argmax(far[:middle][::-1])) if far[:middle].any() else 0
        high = middle + int(np.argmax(far[middle:])) if far[middle:].any() else far.size
        whole = conditioned.turns[turn]
        begins = start + (whole.begins_cam_deg - start) % 360.0
        if whole.sense < 0:
            begins += 2.0 * _NEAR_DEG  # the first reading lies below
        return cls(begins, angle[low:high], off[low:high], float(fitted.reading_noise_mm[row]))

    def step(self, at: float) -> tuple[float, float] | None:
        """How far (mm) the lift before an angle lies above that after it, and its variance in readings' variances.

        By a straight line on each side; None where one is not straight, or has few readings.
        """
        before, after = self._level(at, -1), self._level(at, 1)
        return None if before is None or after is None else (before[0] - after[0], before[1] + after[1])

    def _level(self, at: float, side: int) -> tuple[float, float] | None:
        """Lift (mm) at an angle by a straight line through the readings on one side of it, and its variance."""
        for reach in (_BESIDE_CAM_DEG, _LEAST_BESIDE_CAM_DEG):
            far = at + side * reach
            first, end = np.searchsorted(self.angle, [min(at, far) - _NEAR_DEG, max(at, far) - _NEAR_DEG]).tolist()
            x, y = self.angle[first:end] - at, self.off[first:end]
            if x.size < _FEWEST_BESIDE or np.ptp(x) < 0.7 * reach:
                continue
            centred, height = x - x.mean(), y - y.mean()
            steep = centred / (centred @ centred)
            residual = height - centred * (steep @ height)
            if float(residual @ residual) <= _STRAIGHT * (x.size - 2) * max(self.noise_mm, _LEAST_MM) ** 2:
                weights = 1.0 / x.size - x.mean() * steep
                return float(weights @ y), float(weights @ weights)
        return None

    def steps_elsewhere(self) -> list[float]:
        """Steps (mm) at places whose sides do not reach over the beginning of the turn."""
        places = np.arange(self.angle[0], self.angle[-1], _STRIDE_CAM_DEG)
        away = np.abs(np.mod(places - self.begins + 180.0, 360.0) - 180.0) > _BESIDE_CAM_DEG
        steps = (self.step(float(at)) for at in places[away])
        return [step[0] for step in steps if step is not None]


def _by_turns(fitted: FittedLobes, agreement: Agreement) -> Drift | None:
    """Steps of zero between turns of one sweep; sweeps set up anew may each have a zero of their own."""
    given = np.array([turn.given for turn in fitted.conditioned.turns])
    unit = np.zeros(4)
    unit[ZERO] = 1.0
    sizes, chances = [], []
    for number in distinct(given):
        own = np.flatnonzero(given == number)
        if own.size < 2:
            continue
        zero = agreement.effects[:, own, ZERO]
        step = np.diff(zero, axis=1)
        known = np.isfinite(step)
        sizes.append(np.sqrt((np.where(known, step, 0.0) ** 2).sum(axis=1) / np.maximum(known.sum(axis=1), 1)))
        chances.append(agreement.spread(unit, (given == number)[None, :]).chance)
    if not sizes:
        return None
    chance = np.minimum(np.minimum.reduce(chances) * len(chances), 1.0)
    return Drift(np.maximum.reduce(sizes), chance)


def drift_patterns(fitted: FittedLobes, angle_cam_deg: FloatArray) -> FloatArray:
    """What a drift of 1 mm does to the lift: (moments, lobes, n), at angles (n,).

    One pattern for each moment of the turn at which it may come, over a quarter of the turn; the base circle's zero
    and eccentricity, fitted through it, are taken out. Turns are taken to begin where the first one does.
    """
    turn = fitted.conditioned.turns[0]
    knots = fitted.splines.knots()[: fitted.splines.intervals]
    at_knots, there = (_come(turn.begins_cam_deg, turn.sense, angle) for angle in (knots, angle_cam_deg))
    patterns = np.repeat(there[:, None, :], len(fitted.names), axis=1)
    for row in range(len(fitted.names)):
        weights = fitted.base_weights(row)
        if weights.any():
            padded = np.concatenate([at_knots[:, -3:], at_knots, at_knots[:, :4]], axis=1)
            patterns[:, row] -= padded @ weights.T @ harmonic_row(angle_cam_deg).T
    return patterns


def _come(begins: float, sense: int, angle: FloatArray) -> FloatArray:
    """Share of the drift that has come at each angle, (moments, n)."""
    turned = np.mod(sense * (angle - begins), 360.0) / 360.0
    moments = np.arange(_MOMENTS) / _MOMENTS
    return np.asarray(np.clip((turned - moments[:, None]) * _MOMENTS, 0.0, 1.0))
