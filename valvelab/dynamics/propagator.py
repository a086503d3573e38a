"""The exact step of the linear gear, its cam held, as matrices.

Source: linear systems under a force that is linear over the step, textbook (matrix exponential).
"""

from __future__ import annotations

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.dynamics.model import Matrices, ValveGear
from valvelab.frozen import frozen

TERMS = 14
"""Of the exponential's series, after scaling to a norm of at most a half: the rest is below 1e-16."""


@frozen
class Propagator:
    """State (positions, then velocities) after a step from that before it, and from inputs at its two ends.

    state (2 n, 2 n). start, end (2 n, 1 + n): weights of the inputs at the step's start and end. The inputs are the
    force on the valve beyond gear and preload that are held shut, N, and the squeeze of each of the n coils, mm.
    """

    state: FloatArray
    start: FloatArray
    end: FloatArray


def propagator(gear: ValveGear, parts: Matrices, step_s: float) -> Propagator:
    """Step of the chain with the gear's spring and damper between valve and a cam that stands still."""
    nodes = parts.mass.size
    stiffness, damping = parts.stiffness.copy(), parts.damping.copy()
    stiffness[0, 0] += gear.stiffness_n_per_mm
    damping[0, 0] += gear.gear_damping
    size, inputs = 2 * nodes, nodes + 1
    push = np.zeros((nodes, inputs))
    push[0, 0] = 1.0
    push[:, 1:] = -gear.spring.clash_factor * parts.element_rate * coil_squeeze(nodes).T
    # in units of the step, so that positions and velocities are of one size and squaring keeps its digits
    by_mass = step_s / parts.mass[:, None]
    rates = np.zeros((size + 2 * inputs, size + 2 * inputs))
    rates[:nodes, nodes:size] = np.eye(nodes)
    rates[nodes:size, :nodes] = -stiffness * by_mass * step_s
    rates[nodes:size, nodes:size] = -damping * by_mass
    rates[nodes:size, size : size + inputs] = push * by_mass * step_s
    rates[size : size + inputs, size + inputs :] = np.eye(inputs)
    unit = np.repeat([1.0, 1.0 / step_s], nodes)[:, None]
    whole = exponential(rates)
    held, rising = unit * whole[:size, size : size + inputs], unit * whole[:size, size + inputs :]
    return Propagator(unit * whole[:size, :size] / unit.T, held - rising, rising)


def coil_squeeze(nodes: int) -> FloatArray:
    """Squeeze of each coil by the places of its ends, (n, n), a ratio: upper less lower one, the last on the seat."""
    return np.eye(nodes) - np.eye(nodes, k=1)


def exponential(matrix: FloatArray) -> FloatArray:
    """Exponential of a square matrix (n, n), a plain number in every place, by scaling, series and squaring."""
    norm = float(np.abs(matrix).sum(axis=1).max())
    halvings = max(0, int(np.ceil(np.log2(max(norm, 1e-300)))) + 1)
    small = matrix / 2.0**halvings
    term = whole = np.eye(matrix.shape[0])
    for order in range(1, TERMS + 1):
        term = term @ small / order
        whole = whole + term
    for _ in range(halvings):
        whole = whole @ whole
    return whole
