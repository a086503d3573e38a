"""A camshaft that nobody made, for the tests of the window: four cylinders, one lobe worn at the nose."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from motion_laws import Flank, LobeDesign

FIRING_ORDER = (1, 3, 4, 2)
LIFT_MM = 7.62
WORN = "3E"
WEAR_MM = 0.06
STEP_CAM_DEG = 0.5
LOBES = tuple(f"{cylinder}{kind}" for cylinder in (1, 2, 3, 4) for kind in "IE")


def _design(centre: float) -> LobeDesign:
    flank = Flank("poly4567", 62.0, ramp_angle=22.0, ramp_lift=0.25)
    return LobeDesign(LIFT_MM, flank, flank, centre)


def centre_cam_deg(lobe: str) -> float:
    """Where a lobe stands: intake 110 cam deg after exhaust, cylinders a quarter turn apart in firing order."""
    place = 90.0 * FIRING_ORDER.index(int(lobe[0]))
    return (place + (53.0 if lobe[1] == "I" else -57.0)) % 360.0


def lifts(lobe: str, angle: np.ndarray) -> np.ndarray:
    """Lift of one lobe, the worn one lower round its nose."""
    values = _design(centre_cam_deg(lobe)).value(angle)
    if lobe == WORN:
        off = np.mod(angle - centre_cam_deg(lobe) - 6.0 + 180.0, 360.0) - 180.0
        values = values - WEAR_MM * np.exp(-((off / 9.0) ** 2))
    return values


def write_table(path: Path, lobes: tuple[str, ...] = LOBES, *, names: bool = True, noise_um: float = 0.5) -> Path:
    """A wide lift table; without names only figures."""
    angle = np.arange(0.0, 360.0, STEP_CAM_DEG)
    noise = np.random.default_rng(17)
    columns = [lifts(lobe, angle) + noise.normal(0.0, 1e-3 * noise_um, angle.size) for lobe in lobes]
    head = ""
    if names:
        head = (
            "# part: Quillmere club camshaft\n# serial: Q-17\n# follower: flat\n# base circle radius: 15 mm\n"
            "# firing order: 1-3-4-2\n# cylinders: 4\n# probe uncertainty: 1 um\n# encoder uncertainty: 0.01 cam deg\n"
        )
        head += ",".join(["angle [cam deg]", *(f"{lobe} [mm]" for lobe in lobes)]) + "\n"
    with path.open("w", encoding="utf-8") as stream:
        stream.write(head)
        np.savetxt(stream, np.column_stack([angle, *columns]), fmt="%.5f", delimiter=",")
    return path


def write_spec(folder: Path) -> Path:
    """A spec with its nominal beside it."""
    angle = np.arange(-180.0, 180.0, STEP_CAM_DEG)
    nominal = folder / "nominal.csv"
    with nominal.open("w", encoding="utf-8") as stream:
        stream.write("angle [cam deg],N [mm]\n")
        np.savetxt(stream, np.column_stack([angle, _design(0.0).value(angle)]), fmt="%.5f", delimiter=",")
    spec = folder / "ordered.toml"
    spec.write_text(
        'title = "Club camshaft"\nrevision = "B"\n'
        '[[limit]]\nof = "max_lift"\nnominal = "7.62 mm"\nbelow = "0.03 mm"\nabove = "0.03 mm"\nclause = "rules 7.3"\n'
        '[[limit]]\nof = "duration"\nat = "1.27 mm"\nnominal = 170\nbelow = 40\nabove = 40\n'
        '[[envelope]]\nnominal = "nominal.csv"\nfit = ["angle"]\n'
        '[[envelope.band]]\nfrom = -75.0\nto = 75.0\nbelow = "0.02 mm"\nabove = "0.02 mm"\n',
        encoding="utf-8",
    )
    return spec
