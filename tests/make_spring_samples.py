"""Writes the sample springs: an invented tray of 64 for the Quillmere four, heights of its valves, and a spec.

Run as `python tests/make_spring_samples.py`; the committed files are what this writes.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

SAMPLES = Path(__file__).resolve().parent.parent / "sample_profiles"
HEIGHTS = (40.0, 38.0, 36.0, 34.0, 32.0, 30.0, 28.5, 27.4, 26.8, 26.4, 26.25, 26.1)
LOST_SET, OTHER_WIRE = 22, 47
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


def tray_text(generator: np.random.Generator) -> str:
    """Three winding batches; one spring has lost its set, one is of another wire."""
    lines = []
    for i in range(64):
        batch = i % 3 if i < 60 else 1
        free = 46.4 + (-0.12, 0.0, 0.1)[batch] + 0.07 * generator.normal()
        rate = 29.2 + (0.35, 0.0, -0.3)[batch] + 0.18 * generator.normal()
        solid = 26.42 + 0.05 * generator.normal()
        free -= 0.55 if i == LOST_SET else 0.0
        rate += 1.6 if i == OTHER_WIRE else 0.0
        for height in HEIGHTS:
            travel = free - height
            force = rate * travel * (1.0 + 0.0006 * travel) + 1500.0 * max(solid - height, 0.0)
            lines.append(f"Q{i + 1:02d},{height:.2f},{force + 0.35 * generator.normal():.1f}")
    return PREAMBLE + "\n".join(lines) + "\n"


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
    return {
        "springs_quillmere_tray.csv": tray_text(generator),
        "springs_quillmere_heights.csv": heights_text(generator),
        "springs_quillmere_spec.toml": SPEC,
    }


if __name__ == "__main__":
    for name, text in samples().items():
        (SAMPLES / name).write_text(text, encoding="utf-8")
