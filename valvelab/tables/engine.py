"""Tables of degreeing and of valve motion."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from operator import attrgetter
from typing import TYPE_CHECKING, Any

from valvelab.decimals import figure
from valvelab.inspection.engine.characteristics import CHARACTERISTICS, WHEEL
from valvelab.phrase import Phrase
from valvelab.records.phasing_result import AdjusterOutcome, Overlap, PhasingDuration, PhasingLobe, PhasingResult
from valvelab.tables.description import Column, Fact, Table, named_pairs, table_of, u_of
from valvelab.units import System, with_unit

if TYPE_CHECKING:  # degreeing is told without the records of motion
    from valvelab.records.motion_result import ContactExtreme, Control, MotionResult, MotionValve, ValveDuration

    AtValve = tuple[MotionValve, ValveDuration]
    Controlled = tuple[MotionValve, Control]
    Contact = tuple[MotionValve, ContactExtreme]

_ROWS = {row.name: row for row in (*CHARACTERISTICS, *WHEEL)}
READ_FROM = {"near_peak": "pairs near the nose", "events": "the events", None: "–"}


def _deg(
    head: str,
    value: Callable[[Any], float | None],
    u: Callable[[Any], float | None] | None = None,
    unit: str = "crank deg",
    tip: str = "",
) -> Column[Any]:
    return Column(head, unit, value, u, with_u=u is not None, tip=tip)


def degreeing(result: PhasingResult) -> list[Fact]:
    """True dead centre, separation, advance, correction: what a degreeing is done for."""
    u = result.uncertainty
    rows = (
        ("tdc_offset", result.tdc_offset_deg, result.tdc_uncertainty_deg, "deg", degrees),
        ("lobe_separation", result.lobe_separation_cam_deg, u["lobe_separation_cam_deg"], "cam deg", degrees),
        ("advance", result.advance_crank_deg, u["advance_crank_deg"], "crank deg", signed),
        ("correction", result.correction_crank_deg, u["correction_crank_deg"], "crank deg", signed),
    )
    found = [
        Fact("", _ROWS[name].head, unit, text(value, own), degrees(own, own), _ROWS[name].explained, value, own)
        for name, value, own, unit, text in rows
    ]
    step = result.nearest_adjuster_crank_deg
    tip = Phrase("The step on the shelf that comes nearest; the smaller of two equally near")
    return [*found, Fact("", "nearest step", "crank deg", signed(step), "", tip, step, None)]


def degrees(value: float | None, u: float | None = None) -> str:
    """An angle to the place of its uncertainty."""
    return figure(value, u, "deg")


def signed(value: float | None, u: float | None = None) -> str:
    """An angle with its sign: positive advances the camshaft."""
    text = degrees(value, u)
    return f"+{text}" if value is not None and value > 0.0 else text


def engine_table(result: PhasingResult) -> Table:
    """The same as a table."""
    rows = tuple((fact.name, fact.shown, fact.shown_u, fact.unit) for fact in degreeing(result))
    return Table(("", "value", "u", "unit"), rows, flush_left=(3,))


LOBES: tuple[Column[PhasingLobe], ...] = (
    Column("lobe", words=lambda row: row.lobe),
    _deg("centreline", lambda row: row.centreline_crank_deg, u_of("centreline_crank_deg")),
    _deg("card", lambda row: row.card_centreline_crank_deg),
    _deg("later", lambda row: row.difference_crank_deg),
    Column("from", words=lambda row: READ_FROM[row.centreline_from]),
)
STEPS: tuple[Column[AdjusterOutcome], ...] = (
    _deg("step", lambda row: row.step_crank_deg, tip="Positive advances the camshaft"),
    _deg("intake centreline", lambda row: row.intake_centreline_crank_deg),
    _deg("exhaust centreline", lambda row: row.exhaust_centreline_crank_deg),
    _deg("advance", lambda row: row.advance_crank_deg),
    _deg("remaining", lambda row: row.remaining_crank_deg, tip="Correction that would remain"),
)
AtLobe = tuple[PhasingLobe, PhasingDuration]
AT: Column[Any] = Column("at", "mm", lambda row: row.at_mm)


def _event(head: str, which: str) -> Column[Any]:
    """An event as the trade says it: before or after its dead centre."""

    def angle(row: Any) -> float | None:
        event = getattr(row, f"{which}_event")
        return None if event is None else event.angle

    def reference(row: Any) -> str:
        told: str = getattr(row, f"{which}_event").reference
        return told

    return Column(
        head, "crank deg", angle, u_of(f"{which}_crank_deg"), after=reference, tip="Before or after dead centre"
    )


def events(at: str = "") -> list[Column[Any]]:
    """Opening, closing and duration of a row of durations."""
    span = _deg("duration", lambda row: row.duration_crank_deg, u_of("duration_crank_deg"), tip="Closing − opening")
    return [_event(f"opens{at}", "opening"), _event(f"closes{at}", "closing"), span]


AT_LOBE: tuple[Column[AtLobe], ...] = named_pairs(
    replace(LOBES[0], tip="Cylinder and kind"),
    (
        AT, *events(),
        _deg("card", lambda row: row.card_duration_crank_deg, tip="What was ordered"),
        _deg("longer", lambda row: row.difference_crank_deg, tip="Measured − card"),
    ),
)  # fmt: skip


def phasing_tables(result: PhasingResult, system: System) -> list[Table]:
    """Centrelines, events and overlap at the follower, and what each step of the adjuster would give."""
    rows: list[AtLobe] = [(lobe, row) for lobe in result.lobes for row in lobe.durations]
    overlap: list[Column[Overlap]] = [
        AT,
        _deg("overlap", lambda row: row.crank_deg, lambda row: row.standard_uncertainty_crank_deg),
    ]
    return [
        table_of(result.lobes, LOBES, system, "Centrelines, after TDC"),
        table_of(rows, AT_LOBE, system, "Events at the follower"),
        table_of(result.overlap, overlap, system, "Overlap"),
        table_of(result.adjuster_outcomes, STEPS, system, "What each step would give"),
    ]


def _of(name: str, value: Callable[[Any], float | None], tip: str = "", *, with_u: bool = False) -> Column[Any]:
    row = _ROWS[name]
    return Column(row.head, row.unit, value, u_of(row.key), with_u=with_u, tip=tip)


def _within(block: str, key: str) -> Callable[[Any], float | None]:
    """A field of a block of a record; None where the record has no such block."""

    def read(row: Any) -> float | None:
        found = getattr(row, block)
        return None if found is None else getattr(found, key)

    return read


VALVE: Column[MotionValve] = Column("valve", words=lambda row: row.lobe)
LIFTS: tuple[Column[MotionValve], ...] = (
    VALVE,
    _of("max_valve_lift", lambda row: row.max_valve_lift_mm, "After lash and deflection"),
    _of("rule_lift", lambda row: row.rule_lift_mm, "From the lobe, lash zero, no deflection", with_u=True),
    Column("read at retainer", "mm", _within("rule_readings", "mean_mm"),
           _within("rule_readings", "standard_uncertainty_mm"), with_u=True),
    _of("valve_lift_at_gas_exchange_tdc", lambda row: row.valve_lift_at_gas_exchange_tdc_mm, "At gas exchange"),
    _of("piston_clearance", _within("piston_clearance", "min_mm"), "Least clearance of valve and piston"),
    _of("seating_velocity", lambda row: row.seating_velocity_mm_per_crank_deg),
)  # fmt: skip
LEAST_AT: Column[MotionValve] = Column(
    "least at", "crank deg", _within("piston_clearance", "at_crank_deg"), usual=(1, 1), tip="After dead centre"
)


def lift_table(result: MotionResult, system: System) -> Table:
    """Lifts and clearance, a row a valve."""
    return table_of(result.valves, LIFTS, system)


def event_table(result: MotionResult, system: System) -> Table:
    """Events at the valve at every checking lift."""
    rows: list[AtValve] = [(valve, row) for valve in result.valves for row in valve.durations]
    return table_of(rows, named_pairs(VALVE, (AT, *events())), system, "Events at the valve")


def clearance_tables(result: MotionResult, system: System) -> list[Table]:
    """Least clearance with the camshaft advanced and retarded, and with another lash."""
    moved = [valve for valve in result.valves if valve.clearance_changes]
    steps = sorted({row.advance_crank_deg for valve in moved for row in valve.clearance_changes})
    rows = [(valve, lash) for valve in moved for lash in dict.fromkeys(row.lash_mm for row in valve.clearance_changes)]
    columns: list[Column[tuple[MotionValve, float]]] = [
        *named_pairs(VALVE, [Column("lash", "mm", float)]),
        *(Column(f"{step:+g} deg".replace("-", "−"), "mm", partial(_moved, step=step)) for step in steps),
    ]
    return [table_of(rows, columns, system, "Least valve to piston with the camshaft advanced, and without lash")]


def _moved(row: tuple[MotionValve, float], *, step: float) -> float | None:
    valve, lash = row
    found = (one for one in valve.clearance_changes if one.lash_mm == lash and one.advance_crank_deg == step)
    return next((one.min_mm for one in found), None)


FLIES: Column[Controlled] = Column("flies clear", "rpm", _within("dynamic", "float_rpm"))
CONTROL: tuple[Column[Controlled], ...] = named_pairs(VALVE, (
    _of("separation", lambda row: row.separation_rpm, "An estimate, never a safe speed"),
    Column("at", "crank deg", lambda row: row.separation_at_crank_deg, usual=(1, 1)),
    _of("margin_at_max_speed", lambda row: row.margin_n_at_max_speed, "Least quasi-static force off the seat"),
    _of("dynamic_separation", lambda row: row.dynamic_separation_rpm),
    FLIES,
    Column("beyond free travel", "rpm", _within("dynamic", "beyond_travel_rpm")),
))  # fmt: skip


def control_tables(result: MotionResult, system: System) -> list[Table]:
    """Predicted speeds of control, and where the spring's surge meets the lift."""
    from valvelab.dynamics.sweep import FLOAT_LOFT_MM  # noqa: PLC0415 - loaded where a sweep was made

    flies = Phrase("flies {clear} clear", clear=with_unit(FLOAT_LOFT_MM, "mm", system, 2, 3))
    control = [replace(one, head=flies) if one.head == FLIES.head else one for one in CONTROL]
    rows: list[Controlled] = [(valve, valve.control) for valve in result.valves if valve.control is not None]
    orders = [(valve, row) for valve, control in rows for row in control.spring_resonances[:4]]
    surge = named_pairs(VALVE, (
        Column("surge order", value=lambda row: row.order, usual=(0, 0)),
        Column("crank speed", "rpm", lambda row: row.crank_rpm),
        Column("harmonic of the lift", "um", lambda row: row.lift_harmonic_um),
    ))  # fmt: skip
    return [
        table_of(rows, control, system, "Predicted control of the valve: estimates, never safe speeds"),
        table_of(orders, surge, system, "Surge of the spring against the lift"),
    ]


def reading_tables(result: MotionResult, system: System) -> list[Table]:
    """Indicator readings at the retainer."""
    rows = [(valve, read) for valve in result.valves if (read := valve.rule_readings) is not None]
    u = attrgetter("standard_uncertainty_mm")
    columns = named_pairs(VALVE, (
        Column("readings", value=lambda row: row.count, usual=(0, 0)),
        Column("mean", "mm", lambda row: row.mean_mm, u, with_u=True),
        Column("standard deviation", "mm", lambda row: row.standard_deviation_mm, u),
    ))  # fmt: skip
    return [table_of(rows, columns, system, "Indicator readings at the retainer, lash zero")]


def contact_tables(result: MotionResult, system: System, *, every_speed: bool = True) -> list[Table]:
    """Contact of lobe and follower at each speed, or by hand (0) and at the greatest only."""
    rows: list[Contact] = [
        (valve, row)
        for valve in result.valves
        for row in valve.contact
        if every_speed or row.crank_rpm in {0.0, max(other.crank_rpm for other in valve.contact)}
    ]
    columns = named_pairs(VALVE, (
        Column("speed", "rpm", lambda row: row.crank_rpm),
        Column("greatest pressure", "MPa", lambda row: row.max_pressure_mpa),
        Column("at", "crank deg", lambda row: row.max_pressure_at_crank_deg, usual=(0, 0)),
        Column("at the nose", "MPa", lambda row: row.nose_pressure_mpa),
        Column("film at the nose", "um", lambda row: row.nose_film_um),
        Column("film over roughness", value=lambda row: row.nose_film_ratio),
    ))  # fmt: skip
    return [table_of(rows, columns, system, "Contact of lobe and follower")]
