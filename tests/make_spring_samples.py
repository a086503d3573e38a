"""Writes the sample springs: an invented tray of 64 for the Quillmere four, heights of its valves, and a spec.

Run as `python tests/make_spring_samples.py`; the committed files are what this writes.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

SAMPLES = Path(__file__).resolve().parent.parent / "sample_profiles"
HEIGHTS = (40.0, 38.0, 36.0, 34.0, 32.0, 30.0, 28.5, 27.4, 26.8, 26.4, 26.25, 26.1)
LOST_SET, OTHER_WIRE = 22, 47
RAN = 16
SEASON_HEIGHTS = (40.0, 38.0, 36.0, 34.0, 32.0, 30.0, 28.5, 27.4)
PREAMBLE = """\
# part: Quillmere 1.6 pushrod four, valve springs, tray of 64
# serial: QF-S-64
# operator: bench two
# instrument: lever tester and height stop
# installed height: 38.00 mm
# valve lift: 10.60 mm
# wire diameter: 4.00 mm
# mean coil diameter: 28.40 mm
# active coils: 4.6
# total coils: 6.6
# material: chrome-silicon
# force uncertainty: 0.6 N
# height uncertainty: 0.02 mm
spring,height [mm],force [N]
"""
SPEC = """\
title = "Quillmere 1.6 valve springs"
revision = "B"

[decision]
rule = "guarded"
confidence = 0.95

[fitting]
installed_height = "38.00 mm"
valve_lift = "10.60 mm"

[[limit]]
of = "seat_force"
nominal = "250 N"
below = "15 N"
above = "15 N"
clause = "club build sheet 4.1"

[[limit]]
of = "rate"
min = "28.0 N/mm"
max = "31.0 N/mm"
clause = "club build sheet 4.2"

[[limit]]
of = "coil_bind_margin"
min = "0.75 mm"
clause = "club build sheet 4.3"
"""
SEASON = """\
# What a season may cost the springs of the Quillmere four before they go back to the club's workshop.
title = "Quillmere 1.6 valve springs after a season"
revision = "A"

[[limit]]
of = "seat_force_change_pct"
min = "-6 %"
clause = "club build sheet 7.2"
"""


@dataclass(frozen=True)
class Wound:
    """A spring as it was wound: free length and solid height in mm, rate in N/mm."""

    name: str
    free: float
    rate: float
    solid: float

    def row(self, height: float, noise: float, kept: float = 1.0) -> str:
        """A reading at a height; kept: the share of its force that the coils still give."""
        travel = self.free - height
        force = kept * self.rate * travel * (1.0 + 0.0006 * travel) + 1500.0 * max(self.solid - height, 0.0)
        return f"{self.name},{height:.2f},{force + 0.35 * noise:.1f}"


def tray(generator: np.random.Generator) -> tuple[list[Wound], list[str]]:
    """Three winding batches, and their readings; one spring has lost its set, one is of another wire."""
    springs, lines = [], []
    for i in range(64):
        batch = i % 3 if i < 60 else 1
        free = 46.4 + (-0.12, 0.0, 0.1)[batch] + 0.07 * generator.normal()
        rate = 29.2 + (0.35, 0.0, -0.3)[batch] + 0.18 * generator.normal()
        solid = 26.42 + 0.05 * generator.normal()
        free -= 0.55 if i == LOST_SET else 0.0
        rate += 1.6 if i == OTHER_WIRE else 0.0
        springs.append(Wound(f"Q{i + 1:02d}", free, rate, solid))
        lines += [springs[-1].row(height, generator.normal()) for height in HEIGHTS]
    return springs, lines


def season_text(springs: list[Wound], generator: np.random.Generator) -> str:
    """The springs that ran a season, each softer by 3 to 6 %."""
    lines = []
    for spring in springs[:RAN]:
        kept = 1.0 - (0.03 + 0.03 * generator.random())
        lines += [spring.row(height, generator.normal(), kept) for height in SEASON_HEIGHTS]
    return PREAMBLE.replace("tray of 64", "the 16 that ran a season") + "\n".join(lines) + "\n"


def heights_text(generator: np.random.Generator) -> str:
    """Eight valves, a little deeper than the installed height."""
    lines = [
        "# shims: 0.25 mm, 0.50 mm, 1.00 mm",
        "# max shims: 3",
        "# target seat force: 250 N",
        "# minimum coil-bind margin: 0.80 mm",
        "# valve lift: 10.60 mm",
        "position,height [mm]",
    ]
    positions = ("1I", "1E", "2I", "2E", "3I", "3E", "4I", "4E")
    lines += [f"{position},{38.1 + 0.9 * abs(generator.normal()):.2f}" for position in positions]
    return "\n".join(lines) + "\n"


def samples() -> dict[str, str]:
    """File names and what belongs in them."""
    generator = np.random.default_rng(1620)
    springs, lines = tray(generator)
    return {
        "springs_quillmere_tray.csv": PREAMBLE + "\n".join(lines) + "\n",
        "springs_quillmere_heights.csv": heights_text(generator),
        "springs_quillmere_spec.toml": SPEC,
        "springs_quillmere_after_a_season.csv": season_text(springs, np.random.default_rng(1621)),
        "springs_quillmere_season.toml": SEASON,
    }


if __name__ == "__main__":
    for name, text in samples().items():
        (SAMPLES / name).write_text(text, encoding="utf-8")
