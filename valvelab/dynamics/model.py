"""Lumped model of a valve gear: a valve mass driven through a one-sided spring, a seat, and a valve spring with mass.

Forces in N, lengths in mm, time in s; masses inside in N s²/mm (kg/1000). Lift x counts from the shut valve.
Source: structural dynamics, textbook (lumped masses, penalty contacts).
"""

from __future__ import annotations

import math

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.errors import CannotEvaluate, Reason
from valvelab.frozen import frozen
from valvelab.phrase import Phrase


@frozen
class SpringChain:
    """A valve spring as a chain of equal masses between retainer and seat.

    surge_hz: first frequency with both ends held, None for a spring without mass. bind_travel_mm: travel from the
    shut valve at which all coils touch, None where not known. damping_ratio: of the first surge; higher modes have
    more.
    """

    seat_force_n: float
    rate_n_per_mm: float
    surge_hz: float | None = None
    bind_travel_mm: float | None = None
    masses: int = 9
    damping_ratio: float = 0.01
    clash_factor: float = 8.0

    @property
    def mass_kg(self) -> float:
        """Active mass of the spring from f = ½ √(rate/mass); 0 without a surge frequency."""
        return 0.0 if self.surge_hz is None else 1000.0 * self.rate_n_per_mm / (4.0 * self.surge_hz**2)

    @property
    def nodes(self) -> int:
        """Masses inside the chain."""
        return 0 if self.surge_hz is None else self.masses


@frozen
class ValveGear:
    """A whole gear. `effective_mass_kg` at the valve includes a third of the spring, as is usual for lumped masses.

    stiffness_n_per_mm: of the gear between cam and valve, at the valve. seat_stiffness_n_per_mm: of valve head and
    seat; four times the gear's where None. Damping ratios refer to the valve mass on that stiffness.
    """

    effective_mass_kg: float
    stiffness_n_per_mm: float
    spring: SpringChain
    lash_mm: float = 0.0
    damping_ratio: float = 0.05
    seat_stiffness_n_per_mm: float | None = None
    seat_damping_ratio: float = 0.2

    def __post_init__(self) -> None:
        """Refuse a gear that can't be."""
        for name, value in (
            ("effective mass", self.effective_mass_kg),
            ("gear stiffness", self.stiffness_n_per_mm),
            ("spring seat force", self.spring.seat_force_n),
            ("spring rate", self.spring.rate_n_per_mm),
        ):
            if not (math.isfinite(value) and value > 0.0):
                raise CannotEvaluate(
                    Reason.OUT_OF_RANGE,
                    Phrase("{name}: found {value}, expected above 0", name=name, value=f"{value:g}"),
                )
        if not self.valve_mass_kg > 0.0:
            raise CannotEvaluate(
                Reason.OUT_OF_RANGE,
                Phrase(
                    "effective mass: found {effective_mass} kg, expected more than the third of the "
                    "spring's mass that it includes, {mass} kg (rate and surge frequency give it)",
                    effective_mass=f"{self.effective_mass_kg:g}",
                    mass=f"{self.spring.mass_kg / 3.0:.4f}",
                ),
            )

    @property
    def valve_mass_kg(self) -> float:
        """Effective mass without the spring's third."""
        return self.effective_mass_kg - self.spring.mass_kg / 3.0

    @property
    def seat_stiffness(self) -> float:
        """Stiffness of valve head and seat, N/mm."""
        return self.seat_stiffness_n_per_mm or 4.0 * self.stiffness_n_per_mm

    @property
    def seat_squeeze_mm(self) -> float:
        """Penetration of the shut valve into its seat under the seat force."""
        return self.spring.seat_force_n / self.seat_stiffness

    @property
    def gear_squeeze_mm(self) -> float:
        """Squeeze of the gear under the seat force alone; its damping fades in over this much."""
        return self.spring.seat_force_n / self.stiffness_n_per_mm

    @property
    def gear_damping(self) -> float:
        """N s/mm."""
        return 2.0 * self.damping_ratio * math.sqrt(self.stiffness_n_per_mm * self.effective_mass_kg * 1e-3)

    @property
    def seat_damping(self) -> float:
        """N s/mm."""
        return 2.0 * self.seat_damping_ratio * math.sqrt(self.seat_stiffness * self.effective_mass_kg * 1e-3)


@frozen
class Matrices:
    """Linear part: masses (n,), stiffness and damping (n, n), node 0 the valve; `element_rate` of one element."""

    mass: FloatArray
    stiffness: FloatArray
    damping: FloatArray
    element_rate: float
    element_gap_mm: float


def matrices(gear: ValveGear) -> Matrices:
    """Mass, stiffness and damping of valve and spring chain, without gear and seat contact.

    The chain's element mass is set so that its first frequency with a held retainer is the stated one exactly; its
    damping is stiffness-proportional.
    """
    spring = gear.spring
    nodes, elements = spring.nodes + 1, spring.nodes + 1
    element_rate = spring.rate_n_per_mm * elements
    stiffness = np.zeros((nodes, nodes))
    for j in range(elements):
        stiffness[j, j] += element_rate
        if j + 1 < nodes:
            stiffness[j + 1, j + 1] += element_rate
            stiffness[j, j + 1] -= element_rate
            stiffness[j + 1, j] -= element_rate
    mass = np.full(nodes, gear.valve_mass_kg * 1e-3)
    damping = np.zeros_like(stiffness)
    if spring.surge_hz is not None:
        surge = 2.0 * math.pi * spring.surge_hz
        element_mass = element_rate * (2.0 * math.sin(math.pi / (2.0 * elements)) / surge) ** 2
        mass[1:] = element_mass
        # the retainer end carries half an element, and what lumping leaves short of a third of the spring
        carried = element_mass * sum((1.0 - j / elements) ** 2 for j in range(1, elements))
        mass[0] = gear.effective_mass_kg * 1e-3 - carried
        damping = stiffness * (2.0 * spring.damping_ratio / surge)
    gap = math.inf if spring.bind_travel_mm is None else spring.bind_travel_mm / elements
    return Matrices(mass, stiffness, damping, element_rate, gap)
