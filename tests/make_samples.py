"""Writes the sample camshafts anew: `python tests/make_samples.py [FOLDER]`, by default into sample_profiles.

Both shafts are invented. Their noise comes from a fixed sequence, so the files come out the same every time.
"""

from __future__ import annotations

import random
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray
from sample_lobes import Flank, Lobe

Array = NDArray[np.float64]
SAMPLES = Path(__file__).resolve().parent.parent / "sample_profiles"
MM_PER_IN = 25.4
AT_MM = 1.27
REMARK = "invented sample, nobody's engine"


@dataclass(frozen=True)
class Engine:
    """An invented engine and how its camshaft was drawn: angles in cam deg from gas-exchange TDC of cylinder 1."""

    firing_order: tuple[int, ...]
    intake: Lobe
    exhaust: Lobe
    intake_centreline: float
    exhaust_centreline: float
    second_bank: tuple[int, ...] = ()
    bank_angle: float = 0.0

    def place(self, lobe: str) -> float:
        """Where a lobe's nose should stand on the shaft; timing angle = shaft angle + bore angle."""
        cylinder = int(lobe[:-1])
        timing = 360.0 / len(self.firing_order) * self.firing_order.index(cylinder)
        bore = self.bank_angle if cylinder in self.second_bank else 0.0
        return timing - bore + (self.intake_centreline if lobe[-1] == "I" else -self.exhaust_centreline)

    def lobes(self) -> list[str]:
        """Names from the front of the shaft to its end."""
        return [f"{cylinder}{kind}" for cylinder in sorted(self.firing_order) for kind in "IE"]


@dataclass(frozen=True)
class Ground:
    """How one lobe came out: lift and duration beside the drawing's, and its place beside the nominal one."""

    lift_um: float = 0.0
    duration_crank_deg: float = 0.0
    index_cam_deg: float = 0.0


FOUR = Engine(
    firing_order=(1, 3, 4, 2),
    intake=Lobe(7.0, -0.0046, Flank(0.018, 8, 9, 7, 5, 13, 36), Flank(0.014, 8, 13, 8, 5, 14, 37)).with_duration(
        230.0, AT_MM
    ),
    exhaust=Lobe(6.9, -0.0045, Flank(0.018, 8, 9, 7, 5, 13, 37), Flank(0.014, 8, 13, 8, 5, 14, 38)).with_duration(
        234.0, AT_MM
    ),
    intake_centreline=53.0,
    exhaust_centreline=55.0,
)
FOUR_TWIST_CAM_DEG = 0.1  # more at every cylinder, counted from the drive end
FOUR_GROUND = {
    "1I": Ground(4, 0.10, 0.012), "1E": Ground(-3, -0.12, -0.008), "2I": Ground(-6, 0.06, -0.010),
    "2E": Ground(-29, 0.04, 0.006), "3I": Ground(7, -0.09, 0.009), "3E": Ground(2, 0.14, -0.012),
    "4I": Ground(-2, 0.15, -0.006), "4E": Ground(5, -0.05, 0.011),
}  # fmt: skip
WORN = "3E"
WORN_UM = 190.0
SPIKE_LOBE, SPIKE_CAM_DEG, SPIKE_UM = "4I", 204.0, 85.0

SEASON_UM = {"1I": 46.0, "2E": 84.0}  # lost at the nose in a season, by lobe
SEASON_TURNED_CAM_DEG = 0.42  # the shaft stands so much later on the bench

V8 = Engine(
    firing_order=(1, 8, 4, 3, 6, 5, 7, 2),
    intake=Lobe(
        0.380 * MM_PER_IN, -0.0056, Flank(0.016, 8, 8, 8, 6, 13, 38), Flank(0.013, 8, 12, 9, 6, 14, 39)
    ).with_duration(260.0, AT_MM),
    exhaust=Lobe(
        0.375 * MM_PER_IN, -0.0053, Flank(0.016, 8, 8, 8, 6, 13, 38), Flank(0.013, 8, 12, 9, 6, 14, 39)
    ).with_duration(268.0, AT_MM),
    intake_centreline=54.0,
    exhaust_centreline=58.0,
    second_bank=(2, 4, 6, 8),
    bank_angle=90.0,
)

FOUR_PREAMBLE = {
    "part": "Quillmere club four camshaft",
    "serial": "Q4-017",
    "lift at": "follower",
    "follower": "flat",
    "base circle radius": "17 mm",
    "rotation": "forward",
    "firing order": "1-3-4-2",
    "cylinders": "4",
    "probe uncertainty": "0.8 um",
    "encoder uncertainty": "0.01 cam deg",
    "temperature": "20.4 degC",
    "operator": "E. W.",
    "instrument": "bench on centres, flat probe",
    "date": "2026-03-14",
    "remark": REMARK,
}
SEASON_PREAMBLE = FOUR_PREAMBLE | {"operator": "M. T.", "date": "2026-10-03"}
V8_PREAMBLE = {
    "part": "Lake Quillmere hydroplane V8, camshaft",
    "serial": "LQH-8-0007",
    "lift at": "follower",
    "follower": "roller 0.375 in",
    "base circle radius": "0.600 in",
    "rotation": "forward",
    "firing order": "1-8-4-3-6-5-7-2",
    "cylinders": "8",
    "bank angle": "90 deg",
    "second bank": "2-4-6-8",
    "probe uncertainty": "0.00003 in",
    "encoder uncertainty": "0.02 crank deg",
    "temperature": "20.0 degC",
    "operator": "M. T.",
    "instrument": "bench on centres, roller probe",
    "date": "2026-04-02",
    "remark": REMARK,
}


class Scatter:
    """Normally scattered numbers, the same on every machine and in every version."""

    def __init__(self, seed: int) -> None:
        self._uniform = random.Random(seed)  # noqa: S311 - noise, not a secret
        self._normal = NormalDist()

    def normal(self, count: int, sd: float) -> Array:
        """Independent numbers of standard deviation `sd`."""
        return np.array([sd * self._normal.inv_cdf(1.0 - self._uniform.random()) for _ in range(count)])

    def between(self, low: float, high: float) -> float:
        """One number, evenly from the range."""
        return low + (high - low) * self._uniform.random()


def angle_from(angle: Array, place: float) -> Array:
    """Cam degrees after a place, in ±180."""
    return np.mod(angle - place + 180.0, 360.0) - 180.0


def as_ground(nominal: Lobe, ground: Ground) -> Lobe:
    """A lobe as it came off the grinder."""
    duration = 2.0 * nominal.duration_cam_deg(AT_MM) + ground.duration_crank_deg
    return replace(nominal, lift_mm=nominal.lift_mm + 1e-3 * ground.lift_um).with_duration(duration, AT_MM)


def wear(off: Array, deepest_um: float = WORN_UM) -> Array:
    """Lift lost (mm) round a wiped nose, more of it on the closing flank; smooth to its second derivative."""
    span = np.where(off < 4.0, 38.0, 46.0)
    x = np.clip(np.abs(off - 4.0) / span, 0.0, 1.0)
    return 1e-3 * deepest_um * (1.0 - x**2) ** 3


def readings(
    engine: Engine,
    angle: Array,
    ground: Mapping[str, Ground],
    scatter: Scatter,
    noise_um: float,
    changed: Callable[[str, Array, Array], Array],
) -> dict[str, Array]:
    """Lift in mm of every lobe: as ground, run out with the shaft, changed by its life, read with noise."""
    result = {}
    names = engine.lobes()
    for number, name in enumerate(names):
        lobe = as_ground(engine.intake if name[-1] == "I" else engine.exhaust, ground[name])
        off = angle_from(angle, engine.place(name) + ground[name].index_cam_deg)
        bend = np.sin(np.pi * (number + 0.5) / len(names))
        out = 1e-3 * (1.5 + 4.5 * bend) * np.cos(np.radians(angle - 140.0 - 6.0 * number))
        lift = changed(name, off, lobe.value(off)) + out
        result[name] = lift + scatter.normal(len(angle), 1e-3 * noise_um)
    return result


def four_readings() -> tuple[Array, dict[str, Array]]:
    """The four: twisted a little, one lobe wiped, one reading off."""
    angle = np.arange(720, dtype=np.float64) / 2.0
    lifts = readings(FOUR, angle, four_ground(), Scatter(1604), 1.2, wiped)
    lifts[SPIKE_LOBE][np.flatnonzero(angle == SPIKE_CAM_DEG)] += 1e-3 * SPIKE_UM
    return angle, lifts


def four_ground() -> dict[str, Ground]:
    """The lobes of the four where the twist has them."""
    return {
        name: replace(row, index_cam_deg=row.index_cam_deg + FOUR_TWIST_CAM_DEG * (int(name[0]) - 1))
        for name, row in FOUR_GROUND.items()
    }


def wiped(name: str, off: Array, lift: Array) -> Array:
    """Lift with one lobe wiped."""
    return lift - wear(off) if name == WORN else lift


def season_readings() -> tuple[Array, dict[str, Array]]:
    """The four after a season, every cam degree, set up anew: two noses worn, the others as they were."""
    angle = np.arange(360, dtype=np.float64)
    ground = {
        name: replace(row, index_cam_deg=row.index_cam_deg + SEASON_TURNED_CAM_DEG)
        for name, row in four_ground().items()
    }

    def changed(name: str, off: Array, lift: Array) -> Array:
        return wiped(name, off, lift) - wear(off, SEASON_UM.get(name, 0.0))

    return angle, readings(FOUR, angle, ground, Scatter(2610), 1.2, changed)


def v8_readings() -> tuple[Array, dict[str, Array]]:
    """The V8, every half cam degree, with angles in crank deg."""
    scatter = Scatter(88)
    ground = {
        name: Ground(scatter.between(-6, 6), scatter.between(-0.2, 0.2), scatter.between(-0.05, 0.05))
        for name in V8.lobes()
    }
    crank = np.arange(720, dtype=np.float64)
    return crank, readings(V8, crank / 2.0, ground, scatter, 1.4, lambda _, __, lift: lift)


def table(preamble: Mapping[str, str], header: Sequence[str], columns: Sequence[Array], decimals: Sequence[int]) -> str:
    """A lift table as text."""
    lines = [f"# {key}: {value}" for key, value in preamble.items()]
    lines.append(",".join(header))
    forms = [f"{{:.{places}f}}".format for places in decimals]
    lines += [
        ",".join(form(value) for form, value in zip(forms, row, strict=True)) for row in zip(*columns, strict=True)
    ]
    return "\n".join(lines) + "\n"


def wide(preamble: Mapping[str, str], angle: Array, lifts: Mapping[str, Array], *, inch: bool) -> str:
    """A wide lift table in mm over cam degrees, or in inches over crank degrees."""
    unit, size, places = ("in", MM_PER_IN, 5) if inch else ("mm", 1.0, 4)
    header = [f"angle [{'crank' if inch else 'cam'} deg]", *(f"{name} [{unit}]" for name in lifts)]
    columns = [angle, *(values / size for values in lifts.values())]
    return table(preamble, header, columns, [1, *[places] * len(lifts)])


def nominal(part: str, name: str, lobe: Lobe, *, inch: bool) -> str:
    """A nominal lift table of one lobe, nose at 0 cam deg."""
    angle = np.arange(-360, 360, dtype=np.float64) / 2.0
    unit, size, places = ("in", MM_PER_IN, 8) if inch else ("mm", 1.0, 7)
    values = lobe.value(angle) / size
    header = ["angle [cam deg]", f"{name} [{unit}]"]
    return table({"part": f"{part}, nominal {name} lobe", "remark": REMARK}, header, [angle, values], [1, places])


@cache
def samples() -> dict[str, str]:
    """Every file by its name."""
    four, v8 = "Quillmere club four", "Lake Quillmere hydroplane V8"
    return {
        "quillmere_four_camshaft.csv": wide(FOUR_PREAMBLE, *four_readings(), inch=False),
        "quillmere_four_after_a_season.csv": wide(SEASON_PREAMBLE, *season_readings(), inch=False),
        "quillmere_four_nominal_intake.csv": nominal(four, "intake", FOUR.intake, inch=False),
        "quillmere_four_nominal_exhaust.csv": nominal(four, "exhaust", FOUR.exhaust, inch=False),
        "lake_v8_camshaft.csv": wide(V8_PREAMBLE, *v8_readings(), inch=True),
        "lake_v8_nominal_intake.csv": nominal(v8, "intake", V8.intake, inch=True),
        "lake_v8_nominal_exhaust.csv": nominal(v8, "exhaust", V8.exhaust, inch=True),
    }


def main(folder: Path) -> None:
    """Write every file into a folder."""
    for name, text in samples().items():
        (folder / name).write_text(text, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else SAMPLES)
