"""Facts from outside: curves nobody here made, drawn again from the few readings that the checks need.

The measured tables themselves are not part of the project (copyleft, or no licence stated). What stands here are facts
read off them, each with its source, and `drawn` or `dealt` joins them into a table of the original's length and layout,
which meets every fact to the digits stated. The crossings were found by straight lines between the original readings.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import BPoly, PchipInterpolator

Array = NDArray[np.float64]

#: Exhaust valve of a two-valve optical research engine, university open data: crank deg, lift in mm, slope in mm/deg
#: and bend in mm/deg²; lifts of 0.1, 1, 1.27 and 7.62 stand at their crossings, 8.89 at the peak
EXHAUST = (
    (108.0, 0.0, 0.0, 0.0),
    (124.4974, 0.1, 0.01805, 0.002193),
    (143.2806, 1.0, 0.08206, 0.003488),
    (146.3858, 1.27, 0.09202, 0.003118),
    (165.0, 3.3386, 0.12044, 0.00007),
    (187.0, 5.8350, 0.10109, -0.001513),
    (208.1498, 7.62, 0.06686, -0.001697),
    (246.0, 8.89, 0.0, -0.00169),
    (283.8502, 7.62, -0.06685, -0.001684),
    (305.0, 5.8361, -0.10099, -0.001486),
    (327.0, 3.3446, -0.12002, 0.000077),
    (345.8351, 1.27, -0.09, 0.003205),
    (349.0340, 1.0, -0.07912, 0.003662),
    (360.0, 0.3588, -0.03773, 0.003338),
    (372.1720, 0.1, -0.01012, 0.00101),
    (392.0, 0.0, 0.0, 0.0),
)

#: Cam under a flat-faced bucket tappet, base circle radius 18.4 mm, lubrication research: the same in cam deg. Lifts of
#: 0.1, 1 and 5 stand at their crossings, 7.443446 at the peak; the closing side ends above 0.1.
TAPPET = (
    (-84.0, 0.0130, 0.0079, 0.000718),
    (-75.3158, 0.1, 0.01084, -0.000134),
    (-66.0, 0.1950, 0.01148, 0.001225),
    (-57.0, 0.4291, 0.05117, 0.008082),
    (-50.1811, 1.0, 0.11957, 0.01098),
    (-44.0, 1.9358, 0.17977, 0.007573),
    (-37.0, 3.3196, 0.20661, 0.000016),
    (-28.4310, 5.0, 0.17731, -0.005794),
    (-15.0, 6.8037, 0.0904, -0.006436),
    (-1.0, 7.443446, 0.00063, -0.006573),
    (14.0, 6.6978, -0.10055, -0.006789),
    (26.0501, 5.0, -0.17935, -0.005659),
    (34.5, 3.3346, -0.20649, 0.000257),
    (42.0, 1.8700, -0.17387, 0.008248),
    (47.9974, 1.0, -0.1135, 0.01096),
    (55.0, 0.4567, -0.04599, 0.007369),
    (63.0, 0.2542, -0.01268, 0.001496),
    (72.0, 0.1693, -0.0074, 0.000543),
    (80.0, 0.1340, -0.00115, 0.000678),
)

#: A ground surface, 8001 heights 0.5 µm apart, of a paper on surface texture (MIT licence), mean removed: highest and
#: lowest height of its five sections, µm
HIGHEST = (0.5969524696510672, 0.4218779477986082, 0.5988034610395792, 0.4638202018795972, 0.7059958795977401)
LOWEST = (-3.000621395862699, -1.9919361739431487, -1.4572188240018487, -1.6354335997272986, -2.4995531315767385)

#: the same surface's material ratio curve: per cent of material, height in µm
MATERIAL = (
    (0.0, 0.7060), (0.05, 0.6627), (0.1, 0.6439), (0.2, 0.5943), (0.4, 0.5465), (0.7, 0.4611), (1.0, 0.4155),
    (1.5, 0.3853), (2.0, 0.3690), (3.0, 0.3489), (4.0, 0.3363), (7.0, 0.3087), (10.0, 0.2891), (15.0, 0.2671),
    (20.0, 0.2489), (30.0, 0.2194), (40.0, 0.1938), (50.0, 0.1618), (60.0, 0.1230), (66.0, 0.0867), (70.0, 0.0565),
    (74.0, 0.0072), (77.0, -0.0447), (80.0, -0.1166), (83.0, -0.2339), (86.0, -0.3721), (88.0, -0.4849),
    (90.0, -0.6110), (92.0, -0.7371), (94.0, -0.9419), (95.5, -1.0998), (97.0, -1.2885), (98.0, -1.4450),
    (98.7, -1.5583), (99.2, -1.6876), (99.4, -1.7512), (99.6, -1.8878), (99.7, -1.9405), (99.8, -2.2954),
    (99.9, -2.6389), (99.97, -2.9437), (100.0, -3.0006),
)  # fmt: skip


def drawn(facts: tuple[tuple[float, ...], ...], angles: Array) -> Array:
    """Lift in mm by quintics that meet every fact, at angles within the facts."""
    curve = BPoly.from_derivatives([angle for angle, *_ in facts], [fact for _, *fact in facts])
    return np.asarray(curve(angles))


def exhaust_table() -> str:
    """The exhaust valve as its source wrote it: every crank deg of the event, a line far before it and one after."""
    angles = np.arange(108.0, 393.0)
    rows = [(0.0, 0.0), *zip(angles, drawn(EXHAUST, angles), strict=True), (720.0, 0.0)]
    return "# Exhaust valve lift profile\n#CAD    mm\n" + "".join(f"{at:g} {lift:.4f}\n" for at, lift in rows)


def tappet_table() -> str:
    """The tappet's cam as its source wrote it: every half cam deg, lift in metres, no heading."""
    angles = np.arange(-84.0, 80.25, 0.5)
    lifts = drawn(TAPPET, angles)
    return "".join(f"{at:g}\t{1e-3 * lift:.14e}\r\n" for at, lift in zip(angles, lifts, strict=True))


def dealt_surface() -> Array:
    """8000 heights of the surface in µm: those of its material ratio curve, dealt to the sections that reach them.

    The order of heights inside a section is not the original's, so it tells nothing of spacing.
    """
    ratio, height = np.transpose(MATERIAL)
    heights = PchipInterpolator(ratio, height)((np.arange(8000) + 0.5) / 80.0)
    for extreme in (*HIGHEST, *LOWEST):
        heights = np.delete(heights, np.abs(heights - extreme).argmin())
    sections = [[high, low] for high, low in zip(HIGHEST, LOWEST, strict=True)]
    for height in heights[np.argsort(-np.abs(heights))].tolist():
        reach = [held for held in sections if held[1] <= height <= held[0]]
        min(reach, key=len).append(height)
    return np.concatenate(sections)
