"""What a degree wheel's sheet says of the engine and its lobes, and which of it rests on doubtful readings."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

from valvelab.angles import wrap_scalar
from valvelab.conformity.repeats import ANGLE_DIVISIONS_DEG, division_of, standing_off
from valvelab.frozen import frozen
from valvelab.measured import Measured, missing
from valvelab.phasing.degreeing import NO_KIND, Degreeing, LobePhasing, Sheet
from valvelab.phasing.plausibility import Finding
from valvelab.phasing.timing import EventName, trade_number
from valvelab.phrase import Phrase, listed
from valvelab.records.result import Note, warning

LACKS_WHEEL = Phrase("the wheel's uncertainty is not stated")
NOT_READ = Phrase("the sheet has no reading at that lift")
AGAIN = Phrase("read it again, or set it aside with a reason ([[set_aside]])")


@frozen
class Doubts:
    """Why values can't be decided on: what rests on dead centre, what on one lobe; empty texts and none where sure.

    lacks: what no uncertainty of the sheet holds.
    """

    dead_centre: str
    lobes: dict[str, str]
    lacks: str = ""

    def about(self, found: Measured, lobes: Sequence[str], *, from_dead_centre: bool) -> Measured:
        """A value of these lobes with why it is doubtful and what its uncertainty lacks."""
        told = [self.dead_centre] if from_dead_centre else []
        told += [self.lobes[lobe] for lobe in lobes if lobe in self.lobes]
        return replace(found, doubt=listed((text for text in dict.fromkeys(told) if text), "; "), lacks=self.lacks)


@frozen
class WheelEngine:
    """The engine as its sheet was worked out."""

    worked: Degreeing
    doubts: Doubts

    def about(self, found: Measured, kinds: Collection[str], *, from_dead_centre: bool) -> Measured:
        """A value that rests on the lobes of these kinds."""
        lobes = [lobe.lobe for lobe in self.worked.lobes if lobe.kind in kinds]
        return self.doubts.about(found, lobes, from_dead_centre=from_dead_centre)


@frozen
class WheelLobe:
    """One lobe as its sheet was worked out."""

    lobe: LobePhasing
    doubts: Doubts

    def duration(self, lift_mm: float) -> Measured:
        """Crank angle over which the follower is beyond a lift."""
        row = self.lobe.events_at(lift_mm)
        found = missing(NOT_READ) if row is None else row.duration
        return self.doubts.about(found, [self.lobe.lobe], from_dead_centre=False)

    def event(self, which: EventName, lift_mm: float) -> Measured:
        """Opening or closing at a lift of the follower, as the trade counts it."""
        row, kind = self.lobe.events_at(lift_mm), self.lobe.kind
        if row is None or kind is None:
            return missing(NOT_READ if kind is not None else NO_KIND)
        found = row.opening if which == "opening" else row.closing
        if found.value is not None:
            found = replace(found, value=trade_number(kind, which, found.value))
        return self.doubts.about(found, [self.lobe.lobe], from_dead_centre=True)


def doubts_of(sheet: Sheet, found: Sequence[Finding]) -> tuple[Doubts, list[Note]]:
    """What the findings that contradict and the repeats that stand off leave in doubt, and a note on each of those."""
    notes = [warning(about, text) for about, text in _standing_off(sheet)]
    told = [(finding.about, finding.sentence) for finding in found if finding.contradicts]
    told += [(note.about, note.text) for note in notes]
    centre = [text for about, text in told if about in {"stop", "wheel"}]
    lobes: dict[str, str] = {}
    names = {*(event.lobe for event in sheet.events), *(pair.lobe for pair in sheet.pairs)}
    for name in sorted(names):
        own = [text for about, text in told if about == name or about.startswith(f"{name} ") or about == "wheel"]
        if own:
            lobes[name] = _first(own)
    return Doubts(_first(centre), lobes, LACKS_WHEEL if sheet.wheel_uncertainty_deg is None else ""), notes


def _first(told: list[str]) -> str:
    if not told:
        return ""
    if len(told) == 1:
        return told[0]
    return Phrase("{first} (and {count} more, see the notes)", first=told[0], count=len(told) - 1)


def _standing_off(sheet: Sheet) -> list[tuple[str, str]]:
    """Every reading that stands off from the others of its list: what it concerns, and a sentence."""
    told: list[tuple[str, str]] = []
    for (about, what), values in (_stop(sheet) | sheet.repeats).items():
        offsets = [wrap_scalar(value - values[0]) for value in values]
        for place in standing_off(offsets, division_of(values, ANGLE_DIVISIONS_DEG)):
            sentence = Phrase(
                "{what}: {reading} deg stands off from the others; {again}",
                what=what,
                reading=f"{values[place]:g}",
                again=AGAIN,
            )
            told.append((about, sentence))
    return told


def _stop(sheet: Sheet) -> dict[tuple[str, str], list[float]]:
    """The stop's readings from its two sides."""
    found: dict[tuple[str, str], list[float]] = {}
    offsets = [wrap_scalar(value - sheet.stop_deg[0]) for value in sheet.stop_deg]
    for value, offset in zip(sheet.stop_deg, offsets, strict=True):
        near = abs(offset) < 0.5 * abs(max(offsets, key=abs))
        side = Phrase("the stop from one side") if near else Phrase("the stop from the other side")
        found.setdefault(("stop", side), []).append(value)
    return found
