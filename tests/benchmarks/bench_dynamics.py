"""The dynamic valve-gear model: 100 crank speeds × 4 cycles in one batch, and its error against a tight integrator.

Run `python tests/benchmarks/bench_dynamics.py`. Printed is CPU time on one thread, as ratios to the integrator's for
one cycle at one speed. The integrator is an adaptive eighth-order Runge-Kutta method at tolerance 1e-10 on the same
equations, one speed at a time; after contact is lost the motion is chaotic, so the error is taken over the first cycle
up to that point.
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

import numpy as np
from scipy.integrate import solve_ivp

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from analytic_lobe import PolynomialLobe

from valvelab.dynamics.model import SpringChain, ValveGear, matrices
from valvelab.dynamics.response import respond, step_needed
from valvelab.dynamics.sweep import LobeDrive, drive_of, sweep
from valvelab.valve_motion.rocker import RatioRocker
from valvelab.valve_motion.valve_lift import Gear as KinematicGear
from valvelab.valve_motion.valve_lift import Timing, valve_motion

Answer = TypeVar("Answer")
LOBE = LobeDrive(PolynomialLobe(8.0, 75.0), RatioRocker(1.5), Timing(0.0, 106.0), 106.0)
GEAR = ValveGear(0.120, 20_000.0, SpringChain(300.0, 40.0, 520.0, 13.0), lash_mm=0.2)


def tight(rpm: float, angles: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Valve lift and gear force at crank angles from the peak, from rest at −360, by the adaptive integrator."""
    parts = matrices(GEAR)
    nodes, speed = parts.mass.size, 6.0 * rpm
    gear_fade, seat_fade = GEAR.gear_damping / GEAR.gear_squeeze_mm, GEAR.seat_damping / GEAR.seat_squeeze_mm
    free = KinematicGear(LOBE.rocker, -1e3)

    def gear_force(turn: float, x: float, v: float) -> float:
        motion = valve_motion(LOBE.profile, free, LOBE.timing, [106.0 + turn])
        squeeze = float(motion.drive_mm[0]) - GEAR.lash_mm - x
        closing = float(motion.velocity_mm_per_crank_deg[0]) * speed - v
        damping = min(max(gear_fade * squeeze, 0.0), GEAR.gear_damping)
        return max(0.0, GEAR.stiffness_n_per_mm * squeeze + damping * closing)

    def slope(t: float, state: np.ndarray) -> np.ndarray:
        x, v = state[:nodes], state[nodes:]
        force = -parts.stiffness @ x - parts.damping @ v
        pressed = GEAR.seat_squeeze_mm - x[0]
        seat = max(0.0, GEAR.seat_stiffness * pressed - min(max(seat_fade * pressed, 0.0), GEAR.seat_damping) * v[0])
        force[0] += gear_force(-360.0 + speed * t, x[0], v[0]) + seat - GEAR.spring.seat_force_n
        over = np.maximum(-np.diff(x, append=0.0) - parts.element_gap_mm, 0.0)
        clash = GEAR.spring.clash_factor * parts.element_rate * over
        force -= clash
        force[1:] += clash[:-1]
        return np.concatenate([v, force / parts.mass])

    times = (angles + 360.0) / speed
    found = solve_ivp(
        slope,
        (0.0, times[-1]),
        np.zeros(2 * nodes),
        "DOP853",
        times,
        rtol=1e-10,
        atol=1e-12,
        max_step=720.0 / speed / 2000.0,
    )
    force = [gear_force(a, x, v) for a, x, v in zip(angles, found.y[0], found.y[nodes], strict=True)]
    return found.y[0], np.array(force)


def timed(work: Callable[[], Answer]) -> tuple[float, Answer]:
    """CPU seconds that some work takes, and what it gives."""
    start = time.process_time()
    answer = work()
    return time.process_time() - start, answer


def main() -> None:
    speeds = np.linspace(3600.0, 10_000.0, 100)
    cycle, _ = timed(lambda: tight(float(speeds[0]), np.arange(-360.0, 360.0) + 1.0))
    print("tight integrator, one cycle at one speed: 1")
    batch, _ = timed(lambda: respond(GEAR, drive_of(LOBE), speeds, 4))
    print(f"100 speeds x 4 cycles: {batch / cycle:.3f}, a cycle {batch / cycle / 400.0:.6f}")
    spent, swept = timed(lambda: sweep([LOBE], GEAR, speeds, 4))
    print(f"the whole sweep, onset refined to {swept[0].first_loss_rpm:.0f} rpm: {spent / cycle:.3f}")
    print("  rpm  step [us]  lift error [um]  force error [% of peak]  before landing [%]")
    for rpm in (3000.0, 3800.0):
        for finer in (1, 2, 4):
            step = step_needed(GEAR, 9000.0) / finer
            (response,) = respond(GEAR, drive_of(LOBE, 11_520), [rpm], 1, record_from=0, step_s=step)
            lift, force = tight(120.0 / (response.steps * step), response.crank_deg)
            off = np.abs(response.gear_force_n - force)
            open_ = response.drive_mm > 2.0 * GEAR.lash_mm
            share = 100.0 / force.max()
            lift_error = 1000.0 * np.abs(response.lift_mm - lift).max()
            errors = f"{share * off.max():18.3f} {share * off[open_].max():18.3f}"
            print(f"{rpm:5.0f} {1e6 * step:10.1f} {lift_error:12.3f} {errors}")


if __name__ == "__main__":
    main()
