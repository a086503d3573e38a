"""How often the stated 95 % intervals hold the truth, scenario by scenario.

Run `python tests/benchmarks/bench_coverage.py [group …] [runs=40] [lobe=WORD] [full]`. Groups are those of
`tests/coverage_study.py`; `tuning` reads the tuning lobes by hand. Printed for each kind of characteristic: the least
coverage (%) of its characteristics and the greatest median u over rms error; `full` prints every characteristic.
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from coverage_study import KINDS, SCENARIOS, TUNING, Scenario, Study, correlated, hand_dial, study

COLUMNS = {
    "lift": ("max_lift",),
    "centre": ("centre", "chord"),
    "centroid": ("area_centre",),
    "event": tuple(name for name in KINDS if name.startswith(("opening", "closing"))),
    "dur": tuple(name for name in KINDS if name.startswith("duration")),
    "area": ("area",),
    "vel": ("velocity_max", "velocity_min"),
    "acc": ("acceleration_max", "acceleration_min"),
}
GROUPS = SCENARIOS | {
    "tuning short": tuple(
        Scenario(lobe, step, whole, 0.0254, 0.004)
        for lobe in TUNING
        for step, whole in ((2.0, True), (5.0, True), (5.0, False))
    ),
    "tuning lag 0.9": tuple(
        Scenario(lobe, step, whole, division, noise, 0.9)
        for lobe in TUNING
        for step, whole, division, noise in (
            (1.0, True, 0.0, 0.001),
            (1.0, False, 0.0, 0.001),
            (2.0, True, 0.01, 0.004),
            (5.0, False, 0.01, 0.004),
        )
    ),
    "tuning": tuple(row for lobe in TUNING for row in hand_dial(lobe)),
    "tuning correlated": tuple(row for lobe in TUNING for row in correlated(lobe)),
}


def line(found: Study) -> str:
    cells = []
    for names in COLUMNS.values():
        rows = [found.seen[name] for name in names if found.seen[name].given]
        if not rows:
            cells.append(f"{'–':>10s}")
            continue
        worst = min(row.coverage for row in rows)
        cells.append(f"{100.0 * worst:5.0f} {max(row.ratio for row in rows):4.2f}")
    return f"{found.scenario.title:66s}" + "".join(f"{cell:>11s}" for cell in cells) + f"{found.outliers:6.2f}"


def table(found: Study) -> str:
    lines = [found.scenario.title]
    for name, seen in found.seen.items():
        lines.append(
            f"  {name:18s} cover {100.0 * seen.coverage:4.0f} %  bias {seen.bias:11.3e}  rms {seen.rms:10.3e}"
            f"  u/rms {seen.ratio:5.2f}  given {100.0 * seen.given:4.0f} %"
        )
    return "\n".join(lines)


def main(arguments: list[str]) -> None:
    options = dict(argument.split("=", 1) for argument in arguments if "=" in argument)
    named = [argument for argument in arguments if "=" not in argument and argument != "full"]
    runs, word = int(options.get("runs", "40")), options.get("lobe", "")
    print(f"{'least coverage %, u/rms':66s}" + "".join(f"{name:>11s}" for name in COLUMNS) + "  left out")
    for name, scenarios in GROUPS.items():
        if name not in (named or SCENARIOS):
            continue
        chosen = [scenario for scenario in scenarios if word in scenario.title]
        print(f"-- {name}: {len(chosen)} scenarios")
        for scenario in chosen:
            found = study(scenario, runs)
            print(table(found) if "full" in arguments else line(found), flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
