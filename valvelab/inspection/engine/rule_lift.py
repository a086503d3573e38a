"""Repeated indicator readings of a valve's lift at its retainer: mean, uncertainty, readings that stand off."""

from __future__ import annotations

import math
from collections.abc import Sequence

from valvelab.conformity import repeats
from valvelab.measured import Measured
from valvelab.phrase import Phrase, listed
from valvelab.records.motion_result import ReadingSetAside, RuleReadings
from valvelab.records.result import Note, info, warning
from valvelab.records.train import RuleReadingRecord


def rule_readings_of(rows: Sequence[RuleReadingRecord], valve: str) -> RuleReadings | None:
    """What all readings of one valve say; None where there are none, or every one was set aside."""
    own = [row for row in rows if row.valve == valve]
    values = [value for row in own for value in row.readings_mm]
    aside: dict[int, str] = {}
    start = 0
    for row in own:
        aside |= {start + place: reason for place, reason in row.aside}
        start += len(row.readings_mm)
    found = repeats.repeats_of(values, sorted(aside))
    if found is None:
        return None
    stated = [row.uncertainty_mm for row in own if row.uncertainty_mm is not None]
    parts = [part for part in (found.uncertainty, max(stated) if stated else None) if part is not None]
    return RuleReadings(
        count=len(found.counted),
        mean_mm=found.mean,
        standard_deviation_mm=found.standard_deviation,
        standard_uncertainty_mm=math.hypot(*parts) if parts else None,
        readings_mm=tuple(values),
        division_mm=found.division,
        doubtful_readings=found.doubtful,
        set_aside=tuple(ReadingSetAside(reading=place, reason=reason) for place, reason in sorted(aside.items())),
        instrument_stated=bool(stated),
    )


def rule_notes(rows: Sequence[RuleReadingRecord], valve: str, found: RuleReadings | None) -> list[Note]:
    """What is said of the readings: those that stand off, those that were set aside."""
    if found is None:
        return [
            warning(
                valve,
                Phrase(
                    "all its rule readings are set aside ({reason}): the lift from the lobe counts",
                    reason=row.set_aside[0].reason,
                ),
            )
            for row in rows
            if row.valve == valve and row.set_aside
        ]
    notes = [
        info(
            valve,
            Phrase(
                "rule reading {reading}, {readings} mm, set aside: {reason}",
                reading=row.reading + 1,
                readings=f"{found.readings_mm[row.reading]:g}",
                reason=row.reason,
            ),
        )
        for row in found.set_aside
    ]
    doubt = doubt_of(found)
    return [*notes, *([warning(valve, doubt)] if doubt else [])]


def doubt_of(found: RuleReadings) -> str:
    """Which readings stand off, and what to do; empty where none does."""
    standing = {place: f"{found.readings_mm[place]:g} mm" for place in found.doubtful_readings}
    return repeats.doubt_of(Phrase("rule reading"), standing)


def measured_of(found: RuleReadings) -> Measured:
    """The mean as a measured value, with what is doubtful or unknown about it."""
    lacks = []
    if not found.instrument_stated:
        lacks.append(Phrase("the indicator's uncertainty is not stated"))
    if found.count == 1:
        lacks.append(Phrase("one reading tells nothing of its repeatability"))
    return Measured(found.mean_mm, found.standard_uncertainty_mm, doubt=doubt_of(found), lacks=listed(lacks, "; "))
