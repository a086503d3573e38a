"""Repeated readings of one thing: their mean, how well it is known, and a reading that stands off from the others.

Sources: JCGM 100:2008, JCGM 101:2008 6.4.9 (mean of few repeats), E. Lord, Biometrika 34 (1947) (mean and range of two
or three), C. Croux and P. J. Rousseeuw 1992 (a small sample's median absolute deviation); the two factors of Lord and
those of Croux and Rousseeuw are from memory and held against simulation in the tests.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from statistics import fmean, median, stdev

from valvelab.arrays import rectangular_sd
from valvelab.frozen import frozen
from valvelab.phrase import Phrase, listed

LENGTH_DIVISIONS_MM = (0.0254, 0.0127, 0.01, 0.005, 0.00254, 0.002, 0.00127, 0.001, 0.000254)
"""Divisions that dials and displays have, in inches and in mm, coarsest first."""
ANGLE_DIVISIONS_DEG = (1.0, 0.5, 0.25, 0.2, 0.1, 0.05, 0.01)
"""Divisions of degree wheels, as people read between the lines, coarsest first."""
STANDING_OFF_SD = 4.0
STANDING_OFF_DIVISIONS = 3.0
_SCALED_MAD = 1.4826
_MAD_OF_FEW = {2: 1.196, 3: 1.495, 4: 1.363, 5: 1.206, 6: 1.200, 7: 1.140, 8: 1.129, 9: 1.107}
_NORMAL_95 = 1.959964
_LORD_95 = {2: 6.353, 3: 1.304}


def division_of(readings: Sequence[float], divisions: Sequence[float] = LENGTH_DIVISIONS_MM) -> float | None:
    """The coarsest of the usual divisions that every reading is a multiple of; None where none fits.

    Readings and division in one unit, mm by default.
    """
    for division in divisions:
        if readings and all(abs(value / division - round(value / division)) < 1e-4 for value in readings):
            return division
    return None


def robust_factor(count: int) -> float:
    """What the median absolute deviation of two or more normal readings is multiplied by for their standard deviation.

    1.4826 for many, with the factors for small samples up to nine readings and n/(n − 0.8) above.
    """
    return _SCALED_MAD * _MAD_OF_FEW.get(count, count / (count - 0.8))


def standing_off(readings: Sequence[float], division: float | None = None) -> tuple[int, ...]:
    """Which readings, counted from 0, stand off from the rest.

    Farther from the median than 4 robust standard deviations (scaled median absolute deviation) or 3 divisions,
    whichever is more. Two readings contradict each other without telling which is wrong: none is named then.
    """
    count = len(readings)
    if count < 3:
        return ()
    middle = median(readings)
    away = [abs(value - middle) for value in readings]
    robust = robust_factor(count) * median(away)
    least = max(STANDING_OFF_SD * robust, STANDING_OFF_DIVISIONS * (division or 0.0))
    slack = 1e-9 * (abs(middle) + least)
    return tuple(number for number, distance in enumerate(away) if distance > least + slack)


def doubt_of(what: str, standing: Mapping[int, str]) -> str:
    """Which readings stand off, and what to do; empty where none does.

    standing: their texts by place, from 0. what: a reading's name, as in "rule reading".
    """
    if not standing:
        return ""
    named = listed(Phrase("{number} ({text})", number=place + 1, text=text) for place, text in standing.items())
    if len(standing) == 1:
        return Phrase(
            "{what} {named} stands off from the others: repeat it, or set it aside with a reason",
            what=what,
            named=named,
        )
    return Phrase(
        "{what}s {named} stand off from the others: repeat them, or set them aside with a reason",
        what=what,
        named=named,
    )


def mean_uncertainty(
    readings: Sequence[float], division: float | None = None, repeatability: float | None = None
) -> float | None:
    """Standard uncertainty of the mean of repeats, from their scatter alone; in the readings' unit.

    Four or more: s/√n · √((n − 1)/(n − 3)), JCGM 101:2008 6.4.9. Fewer: the instrument's stated `repeatability`
    (standard deviation of one reading) over √n, else from the range, so wide that ± 1.96 u hold 95 % (Lord). Never
    below division/√12. None where a single reading has neither.
    """
    count = len(readings)
    least = None if division is None else rectangular_sd(division)
    seen = None
    if count >= 4:
        seen = stdev(readings) / math.sqrt(count) * _few(count)
    elif count and repeatability is not None:
        seen = repeatability / math.sqrt(count)
    elif count in _LORD_95:
        seen = (max(readings) - min(readings)) * _LORD_95[count] / _NORMAL_95
    known = [part for part in (seen, least) if part is not None]
    return max(known) if known else None


def _few(count: int) -> float:
    """How much a standard deviation of four or more readings is widened for being of few (JCGM 101:2008 6.4.9)."""
    return math.sqrt((count - 1.0) / (count - 3.0))


@frozen
class Repeats:
    """Repeats of one reading. Values in the readings' unit; `doubtful` and `counted` are places in the list, from 0.

    mean, standard_deviation and uncertainty are of the counted ones: all but those set aside. uncertainty: of the mean,
    scatter and division only. division None where the readings show none.
    """

    mean: float
    standard_deviation: float | None
    uncertainty: float | None
    division: float | None
    doubtful: tuple[int, ...]
    counted: tuple[int, ...]


def scatter_of_one(found: Repeats) -> float:
    """Standard uncertainty of one more reading, in their unit, by the readings' scatter alone; 0 where none is seen."""
    sd, count = found.standard_deviation or 0.0, len(found.counted)
    return sd * _few(count) if count >= 4 else sd


def repeats_of(
    readings: Sequence[float],
    set_aside: Sequence[int] = (),
    division: float | None = None,
    repeatability: float | None = None,
    divisions: Sequence[float] = LENGTH_DIVISIONS_MM,
) -> Repeats | None:
    """What repeats say; None where none counts. `division` as stated, else the one that the readings show."""
    counted = tuple(number for number in range(len(readings)) if number not in set_aside)
    values = [readings[number] for number in counted]
    if not values:
        return None
    step = division or division_of(readings, divisions)
    return Repeats(
        mean=fmean(values),
        standard_deviation=stdev(values) if len(values) > 1 else None,
        uncertainty=mean_uncertainty(values, step, repeatability),
        division=step,
        doubtful=tuple(counted[place] for place in standing_off(values, step)),
        counted=counted,
    )
