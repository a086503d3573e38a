"""How long a lift check takes, as ratios within one run.

Run `python tests/benchmarks/bench_lift_check.py`. Processor time of fresh processes, best of some, against importing
numpy, scipy.interpolate and scipy.optimize: one car with two valves of five readings as JSON and as paper; two hundred
cars as JSON and as a list of the event with a page a car; checking a paper against writing it. `few` leaves the two
hundred pages out.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from processes import IMPORTS, VALVELAB, processor_seconds

HEAD = """event = "Quillmere spring meeting"
date = "2026-05-02"
inspector = "scrutineer 2"
[instrument]
name = "dial 3"
uncertainty = "4 um"
resolution = "0.01 mm"
calibrated = "2026-02-10"
[[limit]]
of = "rule_lift"
max = "10.40 mm"
clause = "club rules 5.2"
"""


def check(car: int, valve: str) -> str:
    """One valve, read five times."""
    opened = ", ".join(f'"10.3{(car + turn) % 3 + 4} mm"' for turn in range(5))
    head = f'[[check]]\nitem = "car {car}"\nentrant = "no. {car}"\nvalve = "{valve}"\n'
    return f'{head}zero = ["0.00 mm"]\nopen = [{opened}]\n'


def sheet(path: Path, cars: int, valves: tuple[str, ...]) -> Path:
    """An event's sheet, invented."""
    rows = (check(car, valve) for car in range(1, cars + 1) for valve in valves)
    path.write_text(HEAD + "".join(rows), encoding="utf-8")
    return path


def main() -> None:
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        car = sheet(folder / "car.toml", 1, ("1I", "1E"))
        event = sheet(folder / "event.toml", 200, ("1I",))
        base = processor_seconds(*IMPORTS)
        print(f"{IMPORTS[-1]}, processor time: 1")

        def told(label: str, *words: str | Path) -> float:
            spent = processor_seconds(*VALVELAB, *words) / base
            print(f"  {label}: {spent:.2f}", flush=True)
            return spent

        told("one car, two valves, JSON", "liftcheck", car, "--json")
        paper = told("one car, two valves, paper", "liftcheck", car, "--out", folder / "car.pdf", "--quiet")
        print(f"    checking it, against writing it: {told('verify', 'verify', folder / 'car.pdf') / paper:.2f}")
        told("200 cars, JSON", "liftcheck", event, "--json", "--quiet")
        if "few" not in sys.argv:
            paper = told("200 cars, list and 200 pages", "liftcheck", event, "--out", folder / "event.pdf", "--quiet")
            print(f"    checking them: {told('verify', 'verify', folder / 'event.pdf') / paper:.2f}")


if __name__ == "__main__":
    main()
