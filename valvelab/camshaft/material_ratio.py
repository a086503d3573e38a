"""Material ratio curve of a roughness profile and its core parameters.

Source: ISO 21920-2:2021 (formerly ISO 13565-2): the equivalent straight line is the least-squares line, in heights,
through that 40 % of the curve whose secant is flattest.
"""

from __future__ import annotations

import numpy as np

from valvelab.arrays import FloatArray, finite
from valvelab.frozen import frozen

SECANT_SHARE = 0.40


@frozen
class CoreParameters:
    """Rk, Rpk, Rvk (µm), the two material ratios (%), and the heights (µm) at which the core begins and ends.

    `flattest_pct` is the material ratio at which the flattest 40 % begins, through which the line is fitted.
    """

    rk_um: float
    rpk_um: float
    rvk_um: float
    rmrk1_pct: float
    rmrk2_pct: float
    upper_um: float
    lower_um: float
    flattest_pct: float


def material_ratio_curve(z_um: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Material ratio in % (ascending) and the height in µm at which it is reached (descending); shape (m,) each.

    Every reading stands for 1/n of the length and sits in the middle of its share; equal heights share one point.
    """
    z = np.sort(finite(z_um, "roughness", ndim=1))[::-1]
    same = max(float(z[0] - z[-1]) * 1e-9, np.finfo(np.float64).tiny)
    starts = np.concatenate([[0], np.flatnonzero(z[:-1] - z[1:] > same) + 1])
    ends = np.concatenate([starts[1:], [z.size]])
    return (starts + ends) * (50.0 / z.size), z[starts]


def core_parameters(z_um: FloatArray) -> CoreParameters | None:
    """Core, reduced peak and reduced valley heights; None for fewer than 10 readings or a flat profile.

    The least-squares line through the 40 % of the curve with the least fall (those nearest the peaks where several tie)
    is drawn out to 0 and 100 %; its heights there bound the core. Peaks above and valleys below become triangles of
    equal area. `z_um`: shape (n,).
    """
    z = finite(z_um, "roughness", ndim=1)
    ratio, height = material_ratio_curve(z)
    if z.size < 10 or height.size < 3:
        return None
    begin = _flattest_window(ratio, height)
    slope, middle_height = _least_squares_line(ratio, height, begin, begin + 100.0 * SECANT_SHARE)
    middle = begin + 50.0 * SECANT_SHARE
    upper = middle_height - slope * middle
    lower = middle_height + slope * (100.0 - middle)
    mr1, mr2 = _ratio_above(ratio, height, upper), _ratio_above(ratio, height, lower)
    peak_area = float(np.clip(z - upper, 0.0, None).mean()) * 100.0
    valley_area = float(np.clip(lower - z, 0.0, None).mean()) * 100.0
    return CoreParameters(
        rk_um=upper - lower,
        rpk_um=2.0 * peak_area / mr1 if mr1 > 0.0 else 0.0,
        rvk_um=2.0 * valley_area / (100.0 - mr2) if mr2 < 100.0 else 0.0,
        rmrk1_pct=mr1,
        rmrk2_pct=mr2,
        upper_um=upper,
        lower_um=lower,
        flattest_pct=begin,
    )


def _flattest_window(ratio: FloatArray, height: FloatArray) -> float:
    """Material ratio, %, at which the flattest secant over 40 % begins.

    The fall over 40 % is piecewise linear in where the secant begins, so its least value lies at a break of either end.
    """
    span = 100.0 * SECANT_SHARE
    begins = np.concatenate([ratio, ratio - span])
    begins = np.sort(begins[(begins >= ratio[0]) & (begins <= ratio[-1] - span)])
    fall = np.interp(begins, ratio, height) - np.interp(begins + span, ratio, height)
    # Rounding must not choose among equally flat secants: the first within a hair of the least fall counts.
    first = int(np.flatnonzero(fall <= fall.min() + 1e-9 * (height[0] - height[-1]))[0])
    return float(begins[first])


def _least_squares_line(ratio: FloatArray, height: FloatArray, begin: float, end: float) -> tuple[float, float]:
    """Slope (µm per %) of the line of least squared height differences over a stretch, and its height at the middle.

    The curve is taken as the straight pieces between its points, so that readings that crowd count no more than others.
    """
    inside = (ratio > begin) & (ratio < end)
    x = np.concatenate([[begin], ratio[inside], [end]]) - 0.5 * (begin + end)
    y = np.interp(x + 0.5 * (begin + end), ratio, height)
    width, y_middle = np.diff(x), 0.5 * (y[1:] + y[:-1])
    # Simpson's rule, exact on each piece
    moment = width / 6.0 * (x[:-1] * y[:-1] + 2.0 * (x[1:] + x[:-1]) * y_middle + x[1:] * y[1:])
    return float(12.0 * moment.sum() / (end - begin) ** 3), float((width * y_middle).sum() / (end - begin))


def _ratio_above(ratio: FloatArray, height: FloatArray, level_um: float) -> float:
    """Share, %, of the length above a height, without a step at each reading."""
    same = 1e-9 * float(height[0] - height[-1])
    if level_um >= height[0] - same:
        return 0.0
    if level_um <= height[-1] + same:
        return 100.0
    return float(np.interp(-level_um, -height, ratio))
