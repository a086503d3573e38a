"""What a shaft's readings give before anything is said of it: each journal, and the axis through their centres."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from valvelab.camshaft.journal import JournalForm, JournalUncertainty, evaluate_journal, journal_uncertainty
from valvelab.camshaft.straightness import AxisLine, least_squares_axis, minimum_zone_axis
from valvelab.errors import CannotEvaluate
from valvelab.frozen import frozen
from valvelab.measured import Measured, missing
from valvelab.phrase import Phrase
from valvelab.records.form_measurement import ShaftReadings
from valvelab.records.result import Note, info, warning

if TYPE_CHECKING:
    from valvelab.camshaft.roundness import JournalTrace
    from valvelab.records.shaft_result import TaperResult

_LOBE_NAME = re.compile(r"\d+\s*[IE]\d*", re.IGNORECASE)
AT_VEE_MM = 1.0


@frozen
class MeasuredJournal:
    """One journal trace and its form with its uncertainties; both None with the reason where it can't be evaluated.

    label: the journal's name, with its position where it was read in several tracks.
    """

    label: str
    trace: JournalTrace
    form: JournalForm | None = None
    u: JournalUncertainty | None = None
    refusal: str = ""


@frozen
class Axis:
    """The centres the axis lines went through, the vees' own places among them, and both lines where there are any.

    `centres_mm`: (toward 0 deg, toward 90 deg) for each place. `spreads_mm`: a centre's standard uncertainty. refusal:
    why there are no lines.
    """

    positions_mm: tuple[float, ...]
    centres_mm: tuple[tuple[float, float], ...]
    names: tuple[str, ...]
    least_squares: AxisLine | None
    minimum_zone: AxisLine | None
    spreads_mm: tuple[float | None, ...] = ()
    refusal: str = ""
    worst_station: str | None = None

    def zone(self, line: AxisLine | None) -> Measured:
        """Diameter of the cylinder about a line, um."""
        if line is None:
            return missing(self.refusal)
        known = [spread for spread in self.spreads_mm if spread is not None]
        shares = np.square(line.weights).sum(axis=1)
        unknown = len(known) < len(self.spreads_mm)
        return Measured(line.zone_mm, None if unknown else math.sqrt(float(shares @ np.square(known)))).times(1000.0)


@frozen
class MeasuredForm:
    """The axis, and what two tracks of a lobe or journal differ by."""

    axis: Axis
    tapers: tuple[TaperResult, ...]


def is_lobe(trace: JournalTrace) -> bool:
    """Whether a trace went round a lobe, by its name."""
    return _LOBE_NAME.fullmatch(trace.name) is not None


def at_place(station: str, position_mm: float | None) -> str:
    """A track's name where its station was read in several: with its position in mm."""
    return Phrase("{station} at {position} mm", station=station, position=f"{position_mm:g}")


def measured_journal(
    trace: JournalTrace, traces: Sequence[JournalTrace], readings: ShaftReadings, undulations: int | None
) -> MeasuredJournal:
    """One journal of `traces`, its form filtered at `undulations` per turn."""
    several = sum(other.name == trace.name for other in traces) > 1
    label = at_place(trace.name, trace.position_mm) if several else trace.name
    try:
        form = evaluate_journal(trace, readings.journal_radius_mm, undulations)
    except CannotEvaluate as error:
        return MeasuredJournal(label, trace, refusal=str(error))
    return MeasuredJournal(label, trace, form, journal_uncertainty(form, readings.probe_uncertainty_mm))


def measured_axis(readings: ShaftReadings, journals: Sequence[MeasuredJournal]) -> tuple[Axis, list[Note]]:
    """The lines through the centres of the journals that were evaluated, and what has to be said of them."""
    known = [(journal.trace, journal.form, journal.u) for journal in journals if journal.form and journal.u]
    places: list[tuple[float, tuple[float, float], str, float | None]] = [
        (trace.position_mm, form.least_squares.centre_mm, trace.name, u.centre_mm)
        for trace, form, u in known
        if trace.position_mm is not None
    ]
    placed = len(places)
    notes: list[Note] = []
    for place in () if readings.vees is None else readings.vees.positions_mm:
        if all(abs(place - position) > AT_VEE_MM for position, *_ in places):
            places.append((place, (0.0, 0.0), Phrase("vee at {place} mm", place=f"{place:g}"), 0.0))
            told = Phrase("the vee at {place} mm counts as a centre with no eccentricity", place=f"{place:g}")
            notes.append(info("straightness", told))
    positions, centres, names, spreads = zip(*places, strict=True) if places else ((), (), (), ())
    least = zone = worst = None
    refusal = ""
    try:
        z, c = np.asarray(positions, dtype=np.float64), np.asarray(centres, dtype=np.float64).reshape(-1, 2)
        if z.size < len(known):
            notes.append(warning("straightness", "stations without a position were left out"))
        least, zone = least_squares_axis(z, c), minimum_zone_axis(z, c)
        far = int(np.argmax(least.distances_mm[:placed])) if placed else least.worst
        several = Counter(names)[names[far]] > 1
        worst = at_place(names[far], positions[far]) if several else names[far]
    except CannotEvaluate as error:
        least = zone = None
        refusal = str(error)
        notes.append(warning("straightness", Phrase("not derived: {error}", error=error)))
    return Axis(positions, centres, names, least, zone, spreads, refusal, worst), notes
