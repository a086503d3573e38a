"""Valve gear at speed: quasi-static control, surge, and the dynamic model's balances, frequencies and convergence."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from analytic_lobe import PolynomialLobe
from scipy.integrate import solve_ivp
from scipy.linalg import eigh, expm
from something import each

from valvelab.dynamics.control import contact_force, separation
from valvelab.dynamics.model import SpringChain, ValveGear, matrices
from valvelab.dynamics.propagator import exponential
from valvelab.dynamics.response import Drive, Response, respond, step_needed
from valvelab.dynamics.surge import lift_harmonics_um, resonances
from valvelab.dynamics.sweep import LobeDrive, drive_of, sweep
from valvelab.errors import CannotEvaluate
from valvelab.valve_motion.rocker import RatioRocker
from valvelab.valve_motion.valve_lift import Gear, Timing, whole_cycle

TIMING = Timing(0.0, 106.0)
LOBE = LobeDrive(PolynomialLobe(8.0, 75.0), RatioRocker(1.5), TIMING, 106.0)
SPRING = SpringChain(300.0, 40.0, 520.0)
GEAR = ValveGear(0.120, 20_000.0, SPRING, lash_mm=0.2)
LOSSLESS = ValveGear(
    0.120, 20_000.0, SpringChain(300.0, 40.0, 520.0, damping_ratio=0.0), damping_ratio=0.0, seat_damping_ratio=0.0
)


# quasi-static


def test_separation_of_a_harmonic_lift_in_closed_form() -> None:
    """v = h/2 (1 + cos 2θ) about the nose: a = −2h at the top by cam rad, so ω² = (F₀ + k h)/(2 h m)."""
    crank = np.linspace(-179.9, 179.9, 3599)
    cam = np.radians(crank / 2.0)
    lift = 5.0 * (1.0 + np.cos(2.0 * cam))
    bend = -20.0 * np.cos(2.0 * cam) * (math.pi / 360.0) ** 2
    found = separation(crank, lift, bend, 0.1, 200.0, 30.0)
    force = 200.0 + 30.0 * lift
    by_hand = np.sqrt((force / (0.1 * 20e-3 * np.cos(2.0 * cam)))[np.cos(2 * cam) > 0].min()) * 60.0 / math.pi
    assert found.crank_rpm == pytest.approx(by_hand)
    at_top = math.sqrt(500.0 / (0.1 * 20e-3)) * 60.0 / math.pi
    assert by_hand <= at_top
    # at that very speed the least contact force is nothing, and a little slower something
    assert contact_force(lift, bend, 0.1, 200.0, 30.0, found.crank_rpm).min() == pytest.approx(0.0, abs=1e-9)
    assert contact_force(lift, bend, 0.1, 200.0, 30.0, 0.99 * found.crank_rpm).min() > 0.0


def test_separation_scales_with_the_root_of_force_over_mass() -> None:
    cycle = whole_cycle(LOBE.profile, Gear(LOBE.rocker), TIMING)
    motion = (cycle.crank_deg, cycle.lift_mm, cycle.acceleration_mm_per_crank_deg2)
    base = separation(*motion, 0.12, 300.0, 40.0).crank_rpm
    assert separation(*motion, 0.12, 1200.0, 160.0).crank_rpm == pytest.approx(2.0 * base)
    assert separation(*motion, 0.48, 300.0, 40.0).crank_rpm == pytest.approx(0.5 * base)


def test_a_valve_that_never_slows_never_leaves() -> None:
    found = separation(np.arange(3.0), np.ones(3), np.ones(3), 0.1, 200.0, 30.0)
    assert found.crank_rpm is None


# surge


def test_lift_harmonics_of_a_known_sum() -> None:
    angle = np.linspace(0.0, 2.0 * np.pi, 720, endpoint=False)
    lift = 5.0 + 3.0 * np.cos(angle - 0.4) + 0.25 * np.sin(9 * angle)
    found = lift_harmonics_um(lift, 20)
    assert found[[0, 8]] == pytest.approx([3000.0, 250.0])
    assert np.delete(found, [0, 8]) == pytest.approx(0.0, abs=1e-9)


def test_resonances_are_ranked_by_harmonic_and_stand_at_120_f_over_k() -> None:
    cycle = whole_cycle(LOBE.profile, Gear(LOBE.rocker), TIMING)
    rows = resonances(cycle.lift_mm[:-1], 520.0, 8000.0)
    sizes = [row.lift_harmonic_um for row in rows]
    assert sizes == sorted(sizes, reverse=True)
    assert all(row.crank_rpm == pytest.approx(60 * 2 * 520.0 / row.order) for row in rows)
    assert all(row.crank_rpm <= 9600.0 for row in rows)


def test_chain_has_the_stated_surge_and_the_springs_own_mass() -> None:
    """Chrome-silicon wire 4 mm, D 26 mm, 5 coils: 28.11106 N/mm, 40.2877 g, 417.6594 Hz (recomputed handbook formulas).

    With the retainer held, the chain's lowest frequency is the stated one exactly.
    """
    spring = SpringChain(300.0, 28.11106, 417.6594)
    assert spring.mass_kg * 1000.0 == pytest.approx(40.2877, rel=1e-5)
    parts = matrices(ValveGear(0.12, 20_000.0, spring))
    squared = eigh(parts.stiffness[1:, 1:], np.diag(parts.mass[1:]), eigvals_only=True)
    frequencies = np.sqrt(squared) / (2 * np.pi)
    assert frequencies[0] == pytest.approx(417.6594, rel=1e-9)
    # a uniform spring has whole multiples; ten elements come near the second
    assert frequencies[1] / frequencies[0] == pytest.approx(2.0, rel=0.02)


def test_slow_motion_feels_the_effective_mass() -> None:
    """Moved slowly the coils share the travel linearly, and the whole inertia is the stated effective mass."""
    parts = matrices(GEAR)
    shape = np.linalg.solve(parts.stiffness[1:, 1:], -parts.stiffness[1:, 0])
    whole = np.concatenate([[1.0], shape])
    assert whole @ (parts.mass * whole) == pytest.approx(0.120e-3)
    assert whole @ parts.stiffness @ whole == pytest.approx(40.0)


# dynamic model


def test_exponential_is_the_librarys() -> None:
    """SciPy's expm (Padé) is the second opinion; the size of a step's matrix, stiff and mild."""
    generator = np.random.default_rng(2)
    for scale in each((1e-3, 1.0, 30.0)):
        matrix = scale * generator.normal(size=(12, 12)) / 12.0
        assert exponential(matrix) == pytest.approx(expm(matrix), rel=1e-9, abs=1e-9 * np.abs(expm(matrix)).max())


def test_held_cam_is_followed_exactly_at_any_step() -> None:
    """A linear gear let go on a cam that holds still: x(t) by the library's exponential at the end of 20 steps."""
    gear = replace(GEAR, lash_mm=0.0, damping_ratio=0.0)
    (response,) = respond(gear, held(6.0, 7200, 6.002), [3000.0], 1, record_from=0, keep_state=True, step_s=2e-5)
    parts, nodes = matrices(gear), matrices(gear).mass.size
    stiffness = parts.stiffness.copy()
    stiffness[0, 0] += gear.stiffness_n_per_mm
    rates = np.block(
        [
            [np.zeros((nodes, nodes)), np.eye(nodes)],
            [-stiffness / parts.mass[:, None], -parts.damping / parts.mass[:, None]],
        ]
    )
    balance = np.linalg.solve(stiffness, np.eye(nodes)[0] * (gear.stiffness_n_per_mm * 6.0 - 300.0))
    start = response.state[4] - np.concatenate([balance, np.zeros(nodes)])
    end = response.state[24] - np.concatenate([balance, np.zeros(nodes)])
    assert np.abs(start[:nodes]).max() > 1e-4
    assert end == pytest.approx(expm(rates * 20 * 2e-5) @ start, abs=1e-9 * np.abs(start).max())


def held(lift_mm: float, steps: int, start_mm: float | None = None) -> Drive:
    """A cam that holds still; the first step may stand elsewhere, so that the valve is let go."""
    drive = np.full(steps, lift_mm)
    drive[0] = lift_mm if start_mm is None else start_mm
    return Drive(-360.0, drive, np.zeros(steps))


def test_small_signal_frequency_is_the_closed_form() -> None:
    """Valve on gear and massless spring: f = √((K + k)/m)/2π, from the zero crossings of a free vibration."""
    gear = ValveGear(0.120, 20_000.0, SpringChain(300.0, 40.0), damping_ratio=0.0, seat_damping_ratio=0.0)
    steps = 14_400
    (response,) = respond(gear, held(5.0, steps, 5.004), [1200.0], 1, record_from=0, step_s=0.1 / steps)
    swing = response.lift_mm[:-1] - response.lift_mm[:-1].mean()
    rising = np.flatnonzero((swing[:-1] < 0.0) & (swing[1:] >= 0.0))
    times = (rising - swing[rising] / (swing[rising + 1] - swing[rising])) * (0.1 / steps)
    measured = (times.size - 1) / (times[-1] - times[0])
    assert measured == pytest.approx(math.sqrt(20_040.0 / 0.120e-3) / (2 * math.pi), rel=5e-4)


def test_damping_ratio_is_the_decay_seen() -> None:
    """ln of successive peaks = 2π ζ/√(1 − ζ²) (textbook logarithmic decrement); the squeeze exceeds the fade-in."""
    gear = ValveGear(0.120, 20_000.0, SpringChain(300.0, 40.0), damping_ratio=0.03)
    (response,) = respond(gear, held(5.0, 14_400, 5.002), [1200.0], 1, record_from=0, step_s=0.1 / 14_400)
    swing = response.lift_mm[:-1] - response.lift_mm[-200:-1].mean()
    peaks = np.flatnonzero((swing[1:-1] > swing[:-2]) & (swing[1:-1] >= swing[2:])) + 1
    decay = np.log(swing[peaks[0]] / swing[peaks[6]]) / 6
    assert decay == pytest.approx(2 * math.pi * 0.03, rel=0.03)


def cam_work(response: Response) -> np.ndarray:
    """Work that the cam does on the gear, ∫ F dy by the trapezoidal rule."""
    force, drive = response.gear_force_n, response.drive_mm
    return np.concatenate([[0.0], np.cumsum(0.5 * (force[1:] + force[:-1]) * np.diff(drive))])


def energy(gear: ValveGear, position: np.ndarray, velocity: np.ndarray, drive_mm: np.ndarray) -> np.ndarray:
    """Kinetic and stored energy, N mm, for states (n, …) and the cam's drive (lash not yet taken off)."""
    parts = matrices(gear)
    kinetic = 0.5 * np.tensordot(parts.mass, velocity**2, axes=1)
    stored = 0.5 * np.einsum("i...,ij,j...->...", position, parts.stiffness, position)
    preload = gear.spring.seat_force_n * position[0]
    squeeze = np.maximum(drive_mm - gear.lash_mm - position[0], 0.0)
    pressed = np.maximum(gear.seat_squeeze_mm - position[0], 0.0)
    gaps = -np.diff(position, axis=0, append=np.zeros((1, *position.shape[1:])))
    bound = np.maximum(gaps - parts.element_gap_mm, 0.0)
    clash = 0.5 * gear.spring.clash_factor * parts.element_rate * (bound**2).sum(axis=0)
    contact = 0.5 * gear.stiffness_n_per_mm * squeeze**2 + 0.5 * gear.seat_stiffness * pressed**2
    return kinetic + stored + preload + contact + clash


@pytest.mark.parametrize("bind_mm", [None, 10.5])
def test_energy_balance_without_damping(bind_mm: float | None) -> None:
    """Kinetic and stored energy grow by just the work of the cam, through impacts, loft and coil clash."""
    spring = SpringChain(300.0, 40.0, 520.0, bind_mm, damping_ratio=0.0)
    gear = ValveGear(0.120, 20_000.0, spring, damping_ratio=0.0, seat_damping_ratio=0.0)
    slow, fast = respond(
        gear,
        drive_of(LOBE, 28_800),
        [3000.0, 7500.0],
        1,
        keep_state=True,
        record_from=0,
        step_s=0.125 * step_needed(gear, 7500.0),
    )
    for response in each((slow, fast)):
        nodes = response.state.shape[1] // 2
        total = energy(gear, response.state[:, :nodes].T, response.state[:, nodes:].T, response.drive_mm)
        balance = total - total[0] - cam_work(response)
        scale = float(np.ptp(total))
        assert scale > 1000.0
        assert np.abs(balance).max() < 2e-3 * scale
    assert (fast.lift_mm > fast.drive_mm + 0.1).any()
    assert (max(slow.coil_squeeze_mm, fast.coil_squeeze_mm) > 0.0) == (bind_mm is not None)


def test_momentum_balance() -> None:
    """Momentum of valve and coils changes by just the impulse of gear, seat and the spring's fixed end."""
    step = 0.25 * step_needed(GEAR, 6000.0)
    (response,) = respond(GEAR, drive_of(LOBE, 14_400), [6000.0], 1, keep_state=True, record_from=0, step_s=step)
    parts, nodes = matrices(GEAR), response.state.shape[1] // 2
    position, velocity = response.state[:, :nodes], response.state[:, nodes:]
    momentum = velocity @ parts.mass
    end = parts.element_rate * position[:, -1] + parts.damping[-1].sum() * velocity[:, -1]
    force = response.gear_force_n + response.seat_force_n - GEAR.spring.seat_force_n - end
    impulse = np.concatenate([[0.0], np.cumsum(0.5 * (force[1:] + force[:-1])) * step])
    assert np.ptp(momentum) > 0.5
    assert np.abs(momentum - momentum[0] - impulse).max() < 2e-3 * np.ptp(momentum)


BOUND = ValveGear(0.120, 20_000.0, SpringChain(300.0, 40.0, 520.0, 11.9, masses=4))
"""Its coils touch one by one under `hump`, which they do not stop from being followed."""


def hump(crank_deg: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Lift 12 (1 − u²)⁴ mm over 300 crank deg about 360, and its slope by crank deg."""
    u = np.clip((crank_deg - 360.0) / 150.0, -1.0, 1.0)
    return 12.0 * (1.0 - u**2) ** 4, -96.0 * u * (1.0 - u**2) ** 3 / 150.0


def bound_response() -> Response:
    drive = Drive(0.0, *hump(np.arange(14_400) / 20.0))
    (response,) = respond(BOUND, drive, [5000.0], 1, record_from=0, keep_state=True, step_s=step_needed(BOUND, 5000.0))
    return response


def test_touching_coils_are_an_independent_integrators() -> None:
    """SciPy's DOP853 at 1e-9 on the model's equations as they stand, as long as the valve is on its gear."""
    response, parts, gear = bound_response(), matrices(BOUND), BOUND
    nodes = parts.mass.size
    over = response.crank_deg < 440.0
    assert (response.gear_force_n[over & (response.drive_mm > 1.0)] > 0.0).all()
    speed = 6.0 * response.rpm

    def squeezes(position: np.ndarray) -> np.ndarray:
        gaps = -np.diff(position, axis=0, append=np.zeros_like(position[:1]))
        return np.maximum(gaps - parts.element_gap_mm, 0.0)

    def slope(t: float, state: np.ndarray) -> np.ndarray:
        x, v = state[:nodes], state[nodes:]
        force = -parts.stiffness @ x - parts.damping @ v
        lift, lift_slope = (float(value[0]) for value in hump(np.array([speed * t])))
        squeeze, closing = lift - x[0], lift_slope * speed - v[0]
        fading = min(max(squeeze / gear.gear_squeeze_mm, 0.0), 1.0)
        force[0] += max(0.0, gear.stiffness_n_per_mm * squeeze + fading * gear.gear_damping * closing)
        pressed = gear.seat_squeeze_mm - x[0]
        fading = min(max(pressed / gear.seat_squeeze_mm, 0.0), 1.0)
        force[0] += max(0.0, gear.seat_stiffness * pressed - fading * gear.seat_damping * v[0])
        force[0] -= gear.spring.seat_force_n
        clash = gear.spring.clash_factor * parts.element_rate * squeezes(x)
        force -= clash
        force[1:] += clash[:-1]
        return np.concatenate([v, force / parts.mass])

    times = response.crank_deg[over] / speed
    start = np.zeros(2 * nodes)
    found = solve_ivp(slope, (0.0, times[-1]), start, "DOP853", times, rtol=1e-9, atol=1e-11, max_step=2e-5).y
    touching = squeezes(found[:nodes])
    at_once = np.count_nonzero(touching, axis=0)
    assert ((at_once > 0) & (at_once < nodes)).any()
    assert response.coil_squeeze_mm == pytest.approx(touching.max(), rel=6e-3)
    assert np.abs(response.state[over, :nodes].T - found[:nodes]).max() < 3.2e-3


def test_coils_that_stand_apart_do_not_push() -> None:
    """Beside touching ones, a node between coils apart takes up just the impulse of the chain's springs and dampers.

    The impulse is the trapezoidal rule with its end correction, which leaves some 1e-5 of the greatest coil force.
    """
    response, parts = bound_response(), matrices(BOUND)
    nodes, step = parts.mass.size, 120.0 / (response.rpm * response.steps)
    position, velocity = response.state[:, :nodes], response.state[:, nodes:]
    force, rate = -position @ parts.stiffness - velocity @ parts.damping, -velocity @ parts.stiffness
    chain = 0.5 * step * (force[1:] + force[:-1]) + step**2 / 12.0 * (rate[:-1] - rate[1:])
    pushed = np.diff(velocity * parts.mass, axis=0) - chain
    gaps = -np.diff(position, axis=1, append=0.0) - parts.element_gap_mm
    near = np.maximum(gaps[1:], gaps[:-1]) > -1e-4
    apart = ~(near[:, :-1] | near[:, 1:]) & near.any(axis=1)[:, None]
    assert apart.sum() > 100
    greatest = BOUND.spring.clash_factor * parts.element_rate * response.coil_squeeze_mm
    assert np.abs(pushed[:, 1:][apart]).max() < 2e-4 * greatest * step


def test_convergence_is_of_second_order() -> None:
    """Halving the step divides the error by four while contact is kept (smooth forces)."""
    steps = 720
    angle = np.linspace(0.0, 2 * np.pi, 14_400, endpoint=False)
    drive = Drive(0.0, 5.0 + 2.0 * np.sin(angle) ** 3, 6.0 * np.sin(angle) ** 2 * np.cos(angle) * np.pi / 360.0)

    def lift_at(finer: int) -> np.ndarray:
        step = 0.03 / (finer * steps)
        (response,) = respond(LOSSLESS, drive, [4000.0], 1, record_from=0, keep_state=True, step_s=step)
        assert (response.gear_force_n > 0.0).all()
        return response.state[finer - 1 :: finer, 0]

    reference = lift_at(64)
    errors = [np.abs(lift_at(finer) - reference).max() for finer in (2, 4, 8)]
    orders = np.log2(np.array(errors[:-1]) / np.array(errors[1:]))
    assert orders == pytest.approx(2.0, abs=0.15)


def test_slow_running_follows_the_deflected_kinematic_lift() -> None:
    (response,) = respond(GEAR, drive_of(LOBE), [400.0], 2)
    gear = Gear(LOBE.rocker, 0.2, 20_000.0, 300.0, 40.0)
    static = np.maximum((response.drive_mm - gear.lost_mm) * gear.share, 0.0)
    assert np.abs(response.lift_mm - static).max() < 0.01


def test_a_shut_valve_stays_at_rest() -> None:
    (response,) = respond(GEAR, held(0.0, 7200), [3000.0], 2)
    assert np.abs(response.lift_mm).max() < 1e-12
    assert response.seat_force_n == pytest.approx(300.0)


def test_sweep_finds_the_onset_between_its_speeds_and_maps_the_force() -> None:
    speeds = np.linspace(3000.0, 9000.0, 13)
    found = sweep([LOBE], GEAR, speeds, 3)[0]
    first = int(np.argmax(found.lost))
    assert first > 0
    assert speeds[first - 1] < found.first_loss_rpm <= speeds[first]
    assert not found.lost[:first].any()
    assert found.force_n.shape == (13, 360)
    assert (found.loft_mm[: first - 1] < 0.02).all()
    assert found.loft_mm[-1] > 0.1
    assert found.bounce_mm[-1] > found.bounce_mm[0]
    cycle = whole_cycle(LOBE.profile, Gear(LOBE.rocker, 0.2), TIMING)
    static = separation(cycle.crank_deg, cycle.lift_mm, cycle.acceleration_mm_per_crank_deg2, 0.12, 300.0, 40.0)
    # vibration takes away margin: contact is lost somewhat before the quasi-static speed
    assert 0.5 * static.crank_rpm < found.first_loss_rpm < 1.05 * static.crank_rpm


def test_no_figure_beyond_the_free_travel() -> None:
    # far above its quasi-static speed a soft spring cannot bring the valve back: without a spring's travel the lift and
    # a half counts, with it that travel
    soft = replace(GEAR, spring=SpringChain(100.0, 10.0, 300.0))
    speeds = np.linspace(2000.0, 14_000.0, 13)
    found = sweep([LOBE], soft, speeds, 3)[0]
    asked = float(LOBE.rocker.ratio * 8.0 - soft.lash_mm)
    assert found.free_travel_mm == pytest.approx(1.5 * asked, rel=1e-4)
    first = int(np.argmax(found.beyond))
    assert 0 < first < speeds.size - 1
    assert found.beyond_rpm == speeds[first]
    assert found.beyond[first:].all()
    for values in (found.least_force_n, found.peak_force_n, found.loft_mm, found.bounce_mm, found.coil_squeeze_mm):
        assert np.isfinite(values[:first]).all()
        assert np.isnan(values[first:]).all()
    assert np.isnan(found.force_n[first:]).all()
    assert (found.loft_mm[:first] <= 1.5 * asked).all()
    assert found.lost[first:].all()
    assert found.float_rpm is not None
    assert found.float_rpm <= speeds[first]
    bound = sweep([LOBE], replace(soft, spring=replace(soft.spring, bind_travel_mm=13.0)), speeds, 3)[0]
    assert bound.free_travel_mm == 13.0
    assert bound.beyond_rpm is not None
    assert bound.beyond_rpm <= speeds[first]


def test_lobes_in_one_batch_answer_as_each_alone() -> None:
    other = LobeDrive(PolynomialLobe(7.0, 70.0, 200.0), RatioRocker(1.5), Timing(200.0, -110.0), -110.0)
    speeds = np.array([3000.0, 4000.0])
    both = sweep([LOBE, other], GEAR, speeds, 2)
    for lobe, found in zip((LOBE, other), both, strict=True):
        alone = sweep([lobe], GEAR, speeds, 2)[0]
        assert found.least_force_n == pytest.approx(alone.least_force_n, abs=1e-6)
        assert found.crank_deg == pytest.approx(alone.crank_deg)


def test_an_onset_below_the_sweep_is_not_claimed() -> None:
    found = sweep([LOBE], GEAR, [9000.0, 9500.0], 2)[0]
    assert found.lost.all()
    assert found.first_loss_rpm is None


def test_models_that_cannot_be_are_refused() -> None:
    with pytest.raises(CannotEvaluate, match="third"):
        ValveGear(0.005, 20_000.0, SPRING)
    with pytest.raises(CannotEvaluate, match="coarse"):
        respond(GEAR, held(1.0, 720), [500.0], step_s=1e-4)
    with pytest.raises(CannotEvaluate, match="above 0"):
        respond(GEAR, held(1.0, 7200), [0.0])
