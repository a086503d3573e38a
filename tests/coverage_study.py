"""Do the stated 95 % intervals hold the truth? Invented lobes are read on invented instruments and inspected whole.

A `Scenario` is a lobe, how it was read (step, whole turn or event only, turns), the gauge (division, noise and its
lag-one correlation) and `modifiers`, functions that change the reading of one run: an encoder's error, a drift, a
slipped turn. Every run draws anew where the lobe stands on the wheel and where its rest stands between two divisions.
A new scenario is one line in `SCENARIOS`; `study(scenario, runs)` gives each characteristic's coverage.

The lobes of `TUNING` served to choose methods; those of `TESTED` only to judge them. Their lifts are no round numbers:
on a lift of a whole number of divisions the rounding of nose and rest would cancel in every run.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import cache, partial

import numpy as np
from motion_laws import LawName, law
from numpy.polynomial import Polynomial
from numpy.typing import NDArray

from valvelab.errors import BadFile
from valvelab.inspection.lobes.inspect import inspect_lobes
from valvelab.lobe.trace import Trace
from valvelab.records.lobes_result import LobeResult
from valvelab.records.measurement import CHECKING_LIFTS_MM, LiftTable
from valvelab.records.result import Source

Floats = NDArray[np.float64]
Shape = Callable[[Floats, int], Floats]
INCH = 25.4
#: what a characteristic is judged by; the rest is printed
LIFT, ANGLE, AREA, MOTION = "lift", "angle", "area", "motion"


# --- lobes -----------------------------------------------------------------------------------------------------------


def by_law(name: LawName) -> Shape:
    """A published law as a flank: 0 at the foot (x = 0), 1 at the nose (x = 1)."""
    return lambda x, order: law(name, x, order)


def by_powers(*powers: int) -> Shape:
    """1 + Σ c u^p of u = 1 − x, the distance from the nose, at rest at the foot in as many derivatives as powers."""
    slopes = np.array([[np.prod(np.arange(p, p - order, -1.0)) for p in powers] for order in range(len(powers))])
    shares = np.linalg.solve(slopes, np.r_[-1.0, np.zeros(len(powers) - 1)])
    coefficients = np.zeros(max(powers) + 1)
    coefficients[0] = 1.0
    coefficients[list(powers)] = shares
    base = Polynomial(coefficients)
    orders = [base, *(base.deriv(order) for order in range(1, 4))]

    def shape(x: Floats, order: int) -> Floats:
        value = (-1.0) ** order * orders[order](1.0 - np.clip(x, 0.0, 1.0))
        return np.where((x < 0.0) | ((x > 1.0) & (order > 0)), 0.0, value)

    return shape


def double_harmonic(x: Floats, order: int) -> Floats:
    """½(1 − cos πx) − ⅛(1 − cos 2πx)."""
    w, inside = np.pi, np.clip(x, 0.0, 1.0)
    turned = 0.5 * np.pi * order
    value = -0.5 * w**order * np.cos(w * inside + turned) + 0.125 * (2.0 * w) ** order * np.cos(
        2.0 * w * inside + turned
    )
    if order == 0:
        return value + 0.375
    return np.where((x < 0.0) | (x > 1.0), 0.0, value)


def eased(x: Floats, order: int) -> Floats:
    """Integral of a raised-cosine step from 0 to 1 over 0 ≤ x ≤ 1, and its derivatives."""
    inside = np.clip(x, 0.0, 1.0)
    if order == 0:
        return 0.5 * inside - 0.5 / np.pi * np.sin(np.pi * inside) + np.maximum(x - 1.0, 0.0)
    if order == 1:
        return 0.5 * (1.0 - np.cos(np.pi * inside))
    value = 0.5 * np.pi ** (order - 1) * (np.sin if order == 2 else np.cos)(np.pi * inside)
    return np.where((x < 0.0) | (x > 1.0), 0.0, value)


@dataclass(frozen=True)
class Side:
    """One flank with its ramp: `angle` cam deg from foot to nose, the ramp's own angle and lift before it."""

    shape: Shape
    angle: float = 64.0
    ramp_angle: float = 22.0
    ramp_lift: float = 0.25

    def value(self, before_nose: Floats, height: float, order: int) -> Floats:
        along = self.angle - before_nose
        total = (height - self.ramp_lift) * self.shape(along / self.angle, order) / self.angle**order
        if not self.ramp_lift:
            return total
        blend, fade = 0.6 * self.ramp_angle, 0.5 * self.angle
        run = self.ramp_angle - 0.5 * blend + 0.5 * fade
        up = eased((along + self.ramp_angle) / blend, order) * blend ** (1 - order)
        return total + self.ramp_lift / run * (up - eased(along / fade, order) * fade ** (1 - order))


@dataclass(frozen=True)
class Lobe:
    """Opening and closing side about a nose at 0, with a dwell on top; lift in mm, angles in cam deg."""

    opening: Side
    closing: Side
    lift: float = 8.032
    dwell: float = 0.0

    @property
    def feet(self) -> tuple[float, float]:
        """Where lift begins and ends, from the nose."""
        half = 0.5 * self.dwell
        first, last = self.opening, self.closing
        return -half - first.angle - first.ramp_angle, half + last.angle + last.ramp_angle

    def value(self, from_nose: Floats, order: int = 0) -> Floats:
        t = np.mod(np.asarray(from_nose) + 180.0, 360.0) - 180.0
        off = np.maximum(np.abs(t) - 0.5 * self.dwell, 0.0)
        after = self.closing.value(off, self.lift, order) * (-1.0) ** order
        value = np.where(t <= 0.0, self.opening.value(off, self.lift, order), after)
        return value if order == 0 or not self.dwell else np.where(off == 0.0, 0.0, value)


def alike(shape: Shape, angle: float = 64.0, lift: float = 8.032, dwell: float = 0.0) -> Lobe:
    side = Side(shape, angle)
    return Lobe(side, side, lift, dwell)


TUNING: dict[str, Lobe] = {
    "cycloid": alike(by_law("cycloidal")),
    "2-6-8-10": alike(by_powers(2, 6, 8, 10), 66.0),
    "3-4-5": Lobe(Side(by_law("poly345"), 60.0, 20.0, 0.2), Side(by_law("poly345"), 68.0, 26.0, 0.3)),
    "modified trapezoid": alike(by_law("modified_trapezoid"), 66.0),
    "cycloid with dwell": alike(by_law("cycloidal"), 62.0, 8.032, 6.0),
}
TESTED: dict[str, Lobe] = {
    "2-10-12-14": alike(by_powers(2, 10, 12, 14), 62.0, 8.148),
    "roller 2-12-16-20": alike(by_powers(2, 12, 16, 20), 70.0, 10.3578),
    "4-5-6-7": alike(by_law("poly4567"), 66.0),
    "double harmonic": alike(double_harmonic, 60.0, 9.0621),
    "modified sine": alike(by_law("modified_sine"), 63.0),
    "flat nose 4-8-10-12": alike(by_powers(4, 8, 10, 12), 63.0),
    "blunt nose": alike(by_law("poly4567"), 60.0, 8.1481, 8.0),
    "asymmetric": Lobe(
        Side(by_powers(2, 8, 12, 16), 60.0, 18.0, 0.2), Side(by_powers(2, 6, 10, 14), 70.0, 28.0, 0.32), 8.6418
    ),
}  # fmt: skip
LOBES = TUNING | TESTED


# --- readings --------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Reading:
    """One run before the gauge rounds it; all arrays (n,), angles in cam deg, in reading order.

    read: the angle written down; stood: where the camshaft stood; turn: from 0; gain and shift of the lift there.
    """

    read: Floats
    stood: Floats
    turn: NDArray[np.int64]
    gain: Floats
    shift: Floats
    probe_mm: float | None = None
    encoder_cam_deg: float | None = None

    @property
    def progress(self) -> Floats:
        """0 at the first reading, 1 at the last."""
        return np.linspace(0.0, 1.0, self.read.size)


Modifier = Callable[[np.random.Generator, Reading], Reading]


def _encoder_wave(
    rng: np.random.Generator, reading: Reading, *, amplitude: float, periods: int, stated: bool
) -> Reading:
    phase = rng.uniform(0.0, 2.0 * np.pi)
    off = amplitude * np.cos(np.radians(periods * reading.read) + phase)
    u = amplitude / np.sqrt(2.0) if stated else reading.encoder_cam_deg
    return replace(reading, stood=reading.stood + off, encoder_cam_deg=u)


def encoder_wave(amplitude_cam_deg: float, *, periods: int = 1, stated: bool = True) -> Modifier:
    """A harmonic error of the wheel, its phase free; stated as its standard deviation, or not at all."""
    return partial(_encoder_wave, amplitude=amplitude_cam_deg, periods=periods, stated=stated)


def hand_set(u_cam_deg: float) -> Modifier:
    """Every reading is set to its angle by hand: off by a standard deviation of its own, stated."""
    return lambda rng, reading: replace(
        reading, stood=reading.stood + rng.normal(0.0, u_cam_deg, reading.read.size), encoder_cam_deg=u_cam_deg
    )


def drift(total_mm: float) -> Modifier:
    """The zero runs away evenly from the first reading to the last."""
    return lambda _rng, reading: replace(reading, shift=reading.shift + total_mm * reading.progress)


def slipped(cam_deg: float) -> Modifier:
    """Every turn after the first stands off by an angle."""
    return lambda _rng, reading: replace(reading, stood=reading.stood + cam_deg * (reading.turn > 0))


def scaled(factor: float) -> Modifier:
    """Every turn after the first has its lift multiplied."""
    return lambda _rng, reading: replace(reading, gain=np.where(reading.turn > 0, factor * reading.gain, reading.gain))


def probe_error(u_mm: float) -> Modifier:
    """A calibration error in proportion to the lift, stated."""
    return lambda rng, reading: replace(reading, gain=reading.gain * (1.0 + rng.normal(0.0, u_mm) / 8.0), probe_mm=u_mm)


@dataclass(frozen=True)
class Scenario:
    """step in crank deg; a division of 0 rounds nothing; noise_mm: standard deviation; lag: its correlation.

    closing: the first angle is read once more at the end. margin: cam deg that an event-only sweep reads beyond
    the feet.
    """

    lobe: str
    step: float = 5.0
    whole_turn: bool = True
    division_mm: float = 0.0
    noise_mm: float = 0.0
    lag: float = 0.0
    turns: int = 1
    closing: bool = False
    margin: float = 3.0
    modifiers: tuple[Modifier, ...] = ()
    remark: str = ""

    @property
    def title(self) -> str:
        """What was read and how, in a line."""
        division = {0.0: "no rounding", 0.01: "0.01 mm", 0.001 * INCH: "0.001 in", 0.0005 * INCH: "0.0005 in"}
        parts = [
            self.lobe, division.get(self.division_mm, f"{self.division_mm:g} mm"), f"{self.step:g} crank deg",
            "turn" if self.whole_turn else "event", f"noise {1000.0 * self.noise_mm:g} µm",
        ]  # fmt: skip
        if self.lag:
            parts.append(f"lag {self.lag:g}")
        if self.turns > 1:
            parts.append(f"{self.turns} turns")
        return ", ".join([*parts, self.remark] if self.remark else parts)


def take(scenario: Scenario, rng: np.random.Generator) -> tuple[LiftTable, float]:
    """One run: a lift table, and the nose's true angle on it (cam deg)."""
    lobe, step = LOBES[scenario.lobe], 0.5 * scenario.step
    nose = float(rng.uniform(0.0, 360.0))
    if scenario.whole_turn:
        read = step * np.arange(round(360.0 * scenario.turns / step) + scenario.closing)
    else:
        first, last = lobe.feet[0] - scenario.margin + nose, lobe.feet[1] + scenario.margin + nose
        read = step * np.arange(np.floor(first / step), np.ceil(last / step) + 1.0)
    ones = np.ones(read.size)
    turn = np.minimum(((read - read[0]) / 360.0 + 1e-9).astype(np.int64), scenario.turns - 1)
    reading = Reading(read, read - nose, turn, ones, 0.0 * ones)
    for modifier in scenario.modifiers:
        reading = modifier(rng, reading)
    lift = reading.gain * lobe.value(reading.stood) + reading.shift + _noise(rng, read.size, scenario)
    if scenario.division_mm:
        # the rest stands anywhere between two divisions
        zero = rng.uniform(-0.5, 0.5)
        lift = scenario.division_mm * np.round(lift / scenario.division_mm + zero)
    table = LiftTable(
        file="study",
        traces=(Trace("1I", read, lift),),
        source=Source(file="study", sha256="0" * 64),
        probe_uncertainty_mm=reading.probe_mm,
        encoder_uncertainty_cam_deg=reading.encoder_cam_deg,
    )
    return table, nose


def _noise(rng: np.random.Generator, size: int, scenario: Scenario) -> Floats:
    white = rng.normal(0.0, 1.0, size)
    noise = white.copy()
    for k in range(1, size):
        noise[k] = scenario.lag * noise[k - 1] + np.sqrt(1.0 - scenario.lag**2) * white[k]
    return scenario.noise_mm * noise


# --- truth and answers -----------------------------------------------------------------------------------------------

_CHECKED = tuple(lift for lift in CHECKING_LIFTS_MM if lift != 1.0)
#: characteristic: its kind
KINDS: dict[str, str] = {
    "max_lift": LIFT, "centre": ANGLE, "chord": ANGLE, "area_centre": ANGLE, "area": AREA,
    **{f"{name}@{lift:g}": ANGLE for lift in _CHECKED for name in ("opening", "closing", "duration")},
    "velocity_max": MOTION, "velocity_min": MOTION, "acceleration_max": MOTION, "acceleration_min": MOTION,
}  # fmt: skip
_FROM_NOSE = ("centre", "chord", "area_centre", "opening", "closing")


@cache
def truth(name: str) -> dict[str, float]:
    """Exact values of a lobe, angles counted from its nose."""
    lobe = LOBES[name]
    first, last = lobe.feet
    angle = np.linspace(first, last, 60_001)
    lift, speed, bend = (lobe.value(angle, order) for order in range(3))
    top = angle.size * (-first) / (last - first)

    def crossing(height: float, side: int) -> float:
        below = np.flatnonzero(lift < height)
        k = int(below[below < top].max()) if side < 0 else int(below[below > top].min()) - 1
        low, high = angle[k], angle[k + 1]
        for _ in range(50):
            middle = 0.5 * (low + high)
            before = (float(lobe.value(np.array([middle]))[0]) < height) == (side < 0)
            low, high = (middle, high) if before else (low, middle)
        return float(0.5 * (low + high))

    def middle(height: float) -> float:
        return 0.5 * (crossing(height, -1) + crossing(height, 1))

    area = float(np.trapezoid(lift, angle))
    values = {
        "max_lift": lobe.lift, "centre": middle(lobe.lift - 1.27), "chord": middle(1.27),
        "area_centre": float(np.trapezoid(angle * lift, angle)) / area, "area": area,
        "velocity_max": float(speed.max()), "velocity_min": float(speed.min()),
        "acceleration_max": float(bend.max()), "acceleration_min": float(bend.min()),
    }  # fmt: skip
    for height in _CHECKED:
        opening, closing = crossing(height, -1), crossing(height, 1)
        values |= {f"opening@{height:g}": opening, f"closing@{height:g}": closing}
        values[f"duration@{height:g}"] = closing - opening
    return values


def answers(lobe: LobeResult) -> dict[str, tuple[float | None, float | None]]:
    """The inspection's values and standard uncertainties under the names of `KINDS`."""
    u = lobe.uncertainty
    found: dict[str, tuple[float | None, float | None]] = {
        "max_lift": (lobe.max_lift_mm, u["max_lift_mm"]),
        "centre": (lobe.centres.nose_cam_deg, u["nose_cam_deg"]),
        "chord": (lobe.centres.chord_cam_deg, u["chord_cam_deg"]),
        "area_centre": (lobe.centres.area_cam_deg, u["area_cam_deg"]),
        "area": (lobe.area_mm_cam_deg, u["area_mm_cam_deg"]),
    }
    for name, power in (("velocity", ""), ("acceleration", "2")):
        for end in ("max", "min"):
            key = f"{name}_{end}_mm_per_cam_deg{power}"
            found[f"{name}_{end}"] = (getattr(lobe, key), u[key])
    for row in lobe.durations:
        lift = f"{row.at_mm:g}"
        found[f"opening@{lift}"] = (row.opening_cam_deg, row.uncertainty.opening_cam_deg)
        found[f"closing@{lift}"] = (row.closing_cam_deg, row.uncertainty.closing_cam_deg)
        found[f"duration@{lift}"] = (row.duration_cam_deg, row.uncertainty.duration_cam_deg)
    return found


@dataclass(frozen=True)
class Seen:
    """One characteristic over all runs; error and u are NaN where nothing was given."""

    error: Floats
    u: Floats

    @property
    def given(self) -> float:
        """Share of the runs that gave a number."""
        return float(np.isfinite(self.error).mean())

    @property
    def coverage(self) -> float:
        """Share of the given 95 % intervals that hold the truth."""
        held = np.isfinite(self.error)
        return float((np.abs(self.error[held]) <= 1.96 * self.u[held]).mean()) if held.any() else float("nan")

    @property
    def rms(self) -> float:
        """Root mean square of the error."""
        return float(np.sqrt(np.nanmean(self.error**2))) if self.given else float("nan")

    @property
    def bias(self) -> float:
        """Mean error."""
        return float(np.nanmean(self.error)) if self.given else float("nan")

    @property
    def ratio(self) -> float:
        """Median u over the rms error."""
        return float(np.nanmedian(self.u)) / max(self.rms, 1e-300) if self.given else float("nan")


@dataclass(frozen=True)
class Study:
    """What a scenario showed: every characteristic, and how often the table was refused or a reading left out."""

    scenario: Scenario
    seen: dict[str, Seen] = field(default_factory=dict)
    refused: int = 0
    outliers: float = 0.0

    def pooled(self, kind: str) -> float:
        """Coverage over all characteristics of one kind."""
        rows = [seen.coverage for name, seen in self.seen.items() if KINDS[name] == kind and seen.given]
        return float(np.mean(rows)) if rows else float("nan")


def study(scenario: Scenario, runs: int, seed: int = 1) -> Study:
    """Read and inspect a scenario many times."""
    rng = np.random.default_rng([seed, *scenario.title.encode()])
    exact = truth(scenario.lobe)
    off, stated = (np.full((runs, len(KINDS)), np.nan) for _ in range(2))
    refused, left_out = 0, 0
    for run in range(runs):
        table, nose = take(scenario, rng)
        try:
            lobe = inspect_lobes(table).result.lobes[0]
        except BadFile:
            refused += 1
            continue
        left_out += lobe.outliers
        found = answers(lobe)
        for column, name in enumerate(KINDS):
            value, u = found[name]
            if value is None or u is None:
                continue
            error = value - exact[name]
            if name.startswith(_FROM_NOSE):
                error = (error - nose + 180.0) % 360.0 - 180.0
            off[run, column], stated[run, column] = error, u
    seen = {name: Seen(off[:, column], stated[:, column]) for column, name in enumerate(KINDS)}
    return Study(scenario, seen, refused, left_out / max(runs - refused, 1))


# --- scenarios -------------------------------------------------------------------------------------------------------

MM_DIAL, INCH_DIAL = 0.01, 0.001 * INCH


def hand_dial(lobe: str) -> tuple[Scenario, ...]:
    """A dial and a degree wheel read by hand: both dials, four steps, the whole turn or the event only."""
    return tuple(
        Scenario(lobe, step, whole, division, noise)
        for division, noise in ((MM_DIAL, 0.002), (INCH_DIAL, 0.004))
        for step in (1.0, 2.0, 5.0, 10.0)
        for whole in (True, False)
    )


def correlated(lobe: str) -> tuple[Scenario, ...]:
    """First-order noise that hangs together from reading to reading, on a dial and on an unrounded gauge."""
    return tuple(
        Scenario(lobe, step, whole, division, noise, lag)
        for lag in (0.3, 0.6, 0.9)
        for step, whole, division, noise in (
            (1.0, True, 0.0, 0.001),
            (1.0, False, 0.0, 0.001),
            (2.0, True, MM_DIAL, 0.004),
            (5.0, False, MM_DIAL, 0.004),
        )
    )


SCENARIOS: dict[str, tuple[Scenario, ...]] = {
    "hand dial": tuple(row for lobe in TESTED for row in hand_dial(lobe)),
    "correlated noise": tuple(row for lobe in TESTED for row in correlated(lobe)),
    "bench": tuple(Scenario(lobe, 1.0, noise_mm=0.001) for lobe in TESTED),
    "steady hand": tuple(
        Scenario(lobe, step, whole, INCH_DIAL) for lobe in TESTED for step in (2.0, 5.0) for whole in (True, False)
    ),
    "encoder": tuple(
        Scenario(lobe, 1.0, noise_mm=0.001, modifiers=(encoder_wave(0.05, stated=stated),), remark=remark)
        for lobe in ("2-10-12-14", "asymmetric")
        for stated, remark in ((True, "wheel 0.05 stated"), (False, "wheel 0.05 unstated"))
    ),
    "harmonic encoder": tuple(
        Scenario(
            lobe,
            1.0,
            noise_mm=0.001,
            modifiers=(encoder_wave(0.05 * 2**0.5, periods=periods),),
            remark=f"wheel 0.05 stated, {periods} a turn",
        )
        for lobe in ("2-10-12-14", "4-5-6-7", "asymmetric", "double harmonic")
        for periods in (1, 2, 3)
    ),
    "hand wheel": tuple(
        Scenario(lobe, 5.0, True, MM_DIAL, 0.002, modifiers=(modifier,), remark=remark)
        for lobe in ("2-10-12-14", "4-5-6-7", "asymmetric")
        for remark, modifier in (
            ("wheel 0.25 crank, 1 a turn", encoder_wave(0.125 * 2**0.5)),
            ("wheel 0.25 crank, 3 a turn", encoder_wave(0.125 * 2**0.5, periods=3)),
            ("wheel 0.25 crank, each reading", hand_set(0.125)),
        )
    ),
    "high degree": tuple(
        Scenario(lobe, 1.0, noise_mm=0.001, lag=lag)
        for lobe in ("2-10-12-14", "roller 2-12-16-20", "flat nose 4-8-10-12", "asymmetric")
        for lag in (0.0, 0.6)
    ),
    "wide": tuple(
        Scenario(lobe, step, whole, division, noise)
        for lobe in TESTED
        for step in (10.0, 20.0)
        for whole, division, noise in ((True, 0.0, 0.001), (True, MM_DIAL, 0.002))
    ),
    "drift": (
        Scenario("2-10-12-14", 1.0, noise_mm=0.001, closing=True, modifiers=(drift(0.01),), remark="drift 10 µm"),
    ),
    "turns": (
        Scenario("asymmetric", 1.0, noise_mm=0.001, turns=2, modifiers=(slipped(0.5),), remark="slipped 0.5"),
        Scenario("asymmetric", 1.0, noise_mm=0.001, turns=2, modifiers=(scaled(0.99),), remark="scaled 0.99"),
    ),
}
