"""One valve behind its train, and what the rows of the table of characteristics ask of it."""

from __future__ import annotations

from valvelab.frozen import frozen
from valvelab.inspection.engine.events import (
    event_number,
    lift_uncertainty,
    root_of_squares,
    valve_durations,
    valve_uncertainty,
)
from valvelab.inspection.engine.rule_lift import measured_of
from valvelab.inspection.engine.sides import Side
from valvelab.inspection.unit_doubts import LACKS_ANGLE
from valvelab.measured import Measured, missing
from valvelab.phasing.degreeing import NO_KIND
from valvelab.phasing.timing import EventName
from valvelab.phrase import Phrase, listed
from valvelab.records.motion_result import Control, PistonClearance, RuleReadings
from valvelab.records.train import Train
from valvelab.valve_motion.valve_lift import valve_motion

NEEDS_CLEARANCE = Phrase("not derived: needs [clearance], [crank] throw and rod, and the timing")
_NOT_PASSED = Phrase("the valve does not pass that lift on that flank")
_LACKS_TIMING = Phrase("the timing's own uncertainty is not known")


@frozen
class MeasuredValve:
    """One valve behind its train, and what was worked out of it. readings: those at its own retainer."""

    train: Train
    side: Side
    seating: Measured
    clearance: PistonClearance | None
    control: Control | None
    readings: RuleReadings | None = None

    @property
    def _lacks_angle(self) -> str:
        return LACKS_ANGLE if self.side.lobe.encoder_cam_deg is None else ""

    def event(self, which: EventName, lift_mm: float) -> Measured:
        """Opening or closing at a lift of the valve, as the trade counts it."""
        side = self.side
        if side.lobe.kind is None or side.no_centre:
            return missing(
                Phrase("what counts from dead centre is not known: {no_centre}", no_centre=side.no_centre)
                if side.lobe.kind
                else NO_KIND
            )
        (row,) = valve_durations(self.train, side, (lift_mm,))
        lacks = listed(filter(None, (_LACKS_TIMING, self._lacks_angle)), "; ")
        return Measured(event_number(side, row, which), row.uncertainty[f"{which}_crank_deg"], _NOT_PASSED, lacks=lacks)

    @property
    def rule_lift(self) -> Measured:
        """Lift without lash: as read at the retainer, else behind the lobe."""
        if self.readings is not None:
            return measured_of(self.readings)
        found = float(self.side.cycle.drive_mm.max())
        return Measured(found, lift_uncertainty(self.train, self.side, found))

    def duration(self, lift_mm: float) -> Measured:
        """Crank angle over which the valve is beyond a lift."""
        (row,) = valve_durations(self.train, self.side, (lift_mm,))
        u = row.uncertainty["duration_crank_deg"]
        return Measured(row.duration_crank_deg, u, _NOT_PASSED, lacks=self._lacks_angle)

    @property
    def max_lift(self) -> Measured:
        """Greatest lift."""
        u_lift = lift_uncertainty(self.train, self.side, float(self.side.cycle.drive_mm.max()))
        u = root_of_squares(u_lift, self.train.lash.uncertainty_mm)
        return Measured(float(self.side.cycle.lift_mm.max()), u)

    @property
    def lift_at_tdc(self) -> Measured:
        """Lift at gas-exchange top dead centre."""
        if self.side.no_centre:
            return missing(
                Phrase("what counts from dead centre is not known: {no_centre}", no_centre=self.side.no_centre)
            )
        return self._lift_at(0.0)

    def _lift_at(self, crank_deg: float) -> Measured:
        side = self.side
        lift = float(valve_motion(side.lobe.profile, side.gear, side.timing, [crank_deg]).lift_mm[0])
        return Measured(lift, valve_uncertainty(self.train, side, lift))

    @property
    def least_clearance(self) -> Measured:
        """Of the piston; its uncertainty is that of the lift there: drop at dead centre, throw, rod count as exact."""
        found = self.clearance
        if found is None:
            return missing(NEEDS_CLEARANCE)
        return Measured(found.min_mm, self._lift_at(found.at_crank_deg).u or None)
