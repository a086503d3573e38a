"""A zero that runs away while a shaft is turned: how much, and what that does to the lift.

It shows in readings that close a turn on its own beginning and in zeros that step from turn to turn of one sweep. When
within the turn it happened nobody knows; each moment is as likely as any other.
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


@frozen
class Drift:
    """Change of zero over one turn of each lobe, mm, 0 where none is seen, and how often noise alone shows as much.

    Both (lobes,).
    """

    size_mm: FloatArray
    chance: FloatArray


def find_drift(fitted: FittedLobes, agreement: Agreement | None) -> Drift | None:
    """Drift by closing readings and by turns that follow each other; None where the table shows neither."""
    closed = _by_closing(fitted)
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
    mean = np.abs(off.mean(axis=0))
    rms = np.sqrt((off**2).mean(axis=0))
    # neighbouring pairs say the same where noise hangs together
    lag = fitted.smoothed.lag_correlation
    share = (1.0 - lag) / (1.0 + lag)
    telling = max(float(len(closings)), pairs * share)
    noise = fitted.reading_noise_mm * np.sqrt(2.0 / telling)
    degrees = np.maximum(share * fitted.conditioned.kept.sum(axis=1) - fitted.smoothed.half_harmonic, 4.0)
    chance = tail_of_f(np.ones(degrees.size, dtype=np.int64), degrees, (mean / np.maximum(noise, 2e-5)) ** 2)
    return Drift(rms, chance)


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
