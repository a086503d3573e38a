"""Readings corrected by their instrument's card before anything is computed from them; the raw ones stay in the file.

The card's uncertainty travels as the readings' own stated one does: of a lift the greatest that calibration leaves in
the difference of a reading and the resting one, of heights the greatest of all readings; of forces that of each force.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from valvelab.arrays import FloatArray, read_only
from valvelab.conformity.instrument import ErrorCurve, corrected
from valvelab.errors import BadFile
from valvelab.files.adopted_uncertainty import larger_of
from valvelab.files.contents import Given
from valvelab.files.instrument_card import read_instrument_card
from valvelab.lobe.division import find_division
from valvelab.phrase import Phrase
from valvelab.records.measurement import LiftTable
from valvelab.records.result import Note, Source, info, warning
from valvelab.springs.division import force_division

if TYPE_CHECKING:
    from valvelab.records.instrument_card import InstrumentCard
    from valvelab.records.spring_readings import ElementReadings, SpringReadings, SpringTable, Stroke

_RESTING = 0.05
"""The share of a lobe's readings that lies below the one its lift counts from (ours; no source)."""
_MANY = 2000


def corrected_lift_table(table: LiftTable, path: Given | None) -> tuple[LiftTable, tuple[Source, ...]]:
    """The table with its lifts corrected, and the card's identity; as it is without a card.

    Refuses a card that is not of lengths.
    """
    if path is None:
        return table, ()
    card, source = read_instrument_card(path)
    if card.dimension != "length":
        raise BadFile(source.file, "unit", f"{card.unit!r}, a card of forces", f"one of lengths for {table.file}")
    raw = [trace.lift_mm for trace in table.traces]
    lifts, said = _corrected(card, raw)
    traces = tuple(replace(trace, lift_mm=lift) for trace, lift in zip(table.traces, lifts, strict=True))
    known = card.calibration
    greatest = max(known.uncertainty_of_difference(_spread(one), np.quantile(one, _RESTING)).max() for one in raw)
    told = f"of a lift by the card of {card.name}"
    u, note = larger_of(table.probe_uncertainty_mm, _rounded(greatest), told, "probe uncertainty", "mm")
    division = table.probe_resolution_mm or known.division or find_division(np.concatenate(raw))
    notes = (*table.notes, *said, note, *_names(table.instrument, [card]), *card.notes(table.date))
    calibrated = replace(
        table,
        traces=traces,
        probe_uncertainty_mm=u,
        probe_resolution_mm=division or None,
        calibration=card.told,
        notes=notes,
    )
    return calibrated, (source,)


def corrected_springs(table: SpringTable, paths: Sequence[Given]) -> tuple[SpringTable, tuple[Source, ...]]:
    """The readings with forces and heights corrected, and the cards' identities; as they are without cards.

    A card's dimension says which it corrects; two of one dimension are refused.
    """
    cards: dict[str, InstrumentCard] = {}
    sources = []
    for path in paths:
        card, source = read_instrument_card(path)
        if card.dimension in cards:
            raise BadFile(source.file, "unit", f"a second card of {card.dimension}s", "one of forces, one of lengths")
        cards[card.dimension] = card
        sources.append(source)
    if (forces := cards.get("force")) is not None:
        table = _forces(table, forces)
    if (heights := cards.get("length")) is not None:
        table = _heights(table, heights)
    if cards:
        day = table.remarks.get("date")
        notes = [*_names(table.remarks.get("instrument"), list(cards.values()))]
        notes += [note for card in cards.values() for note in card.notes(day)]
        told = "; ".join(card.told for card in cards.values())
        table = replace(table, calibration=told, notes=(*table.notes, *notes))
    return table, tuple(sources)


def _forces(table: SpringTable, card: InstrumentCard) -> SpringTable:
    raw = [stroke.force_n for stroke in _strokes(table)]
    forces, said = _corrected(card, raw)
    u, note = _stated(card, raw, table.force_uncertainty_n, "force uncertainty")
    left = iter(forces)
    each = _spread(np.concatenate(raw))
    known = card.calibration.calibration_uncertainty(each)
    at, order = np.unique(corrected(card.calibration, each).values, return_index=True)
    over_force = read_only(at), read_only(np.maximum(known, table.force_uncertainty_n or 0.0)[order])
    found = table.force_resolution_n or card.calibration.division or force_division(np.concatenate(raw))
    return replace(
        _with_strokes(table, lambda stroke: replace(stroke, force_n=next(left))),
        force_uncertainty_n=u,
        force_resolution_n=found,
        uncertainty_over_force=over_force,
        notes=(*table.notes, *said, note),
    )


def _heights(table: SpringTable, card: InstrumentCard) -> SpringTable:
    raw = [stroke.height_mm for stroke in _strokes(table)]
    heights, said = _corrected(card, raw)
    u, note = _stated(card, raw, table.height_uncertainty_mm, "height uncertainty")
    left = iter(heights)
    return replace(
        _with_strokes(table, lambda stroke: replace(stroke, height_mm=next(left))),
        height_uncertainty_mm=u,
        height_resolution_mm=table.height_resolution_mm or card.calibration.division,
        notes=(*table.notes, *said, note),
    )


def _stated(card: InstrumentCard, raw: Sequence[FloatArray], own: float | None, about: str) -> tuple[float, Note]:
    readings = _spread(np.concatenate(raw))
    within = readings[np.isfinite(card.calibration.correction(readings))]
    found = card.calibration.calibration_uncertainty(within if within.size else readings).max()
    return larger_of(own, _rounded(found), f"by the card of {card.name}", about, card.canonical)


def _spread(readings: FloatArray) -> FloatArray:
    """Different readings, ascending; of very many some over their whole range, ends included."""
    each = np.unique(readings)
    return each if each.size <= _MANY else each[np.linspace(0, each.size - 1, _MANY).astype(np.intp)]


def _rounded(uncertainty: float) -> float:
    """To the four figures that a note tells."""
    return float(f"{uncertainty:.4g}")


def _strokes(table: SpringTable) -> list[Stroke]:
    return [
        stroke
        for spring in table.springs
        for element in spring.elements
        for stroke in (element.compress, element.release)
        if stroke is not None
    ]


def _with_strokes(table: SpringTable, change: Callable[[Stroke], Stroke]) -> SpringTable:
    """The table with every stroke changed, in the order of `_strokes`."""

    def element(one: ElementReadings) -> ElementReadings:
        compress = change(one.compress)
        return replace(one, compress=compress, release=None if one.release is None else change(one.release))

    def spring(one: SpringReadings) -> SpringReadings:
        return replace(one, elements=tuple(map(element, one.elements)))

    return replace(table, springs=tuple(map(spring, table.springs)))


def _corrected(card: InstrumentCard, raw: Sequence[FloatArray]) -> tuple[list[FloatArray], list[Note]]:
    """Readings as the card corrects them, and what is to be said of it."""
    calibration = card.calibration
    done = [corrected(calibration, readings) for readings in raw]
    notes = []
    if isinstance(calibration, ErrorCurve):
        most = max(float(np.abs(one.values - readings).max()) for one, readings in zip(done, raw, strict=True))
        notes.append(
            info(
                "instrument", Phrase("corrected by card {name}, at most {size}", name=card.name, size=_size(most, card))
            )
        )
        outside, count = sum(int(one.outside.sum()) for one in done), sum(readings.size for readings in raw)
        if outside:
            low, high = calibration.indication[[0, -1]]
            text = Phrase(
                "{outside} of {count} readings lie outside {low} to {high} {canonical}, where {name} was calibrated: "
                "they stay uncorrected, and the uncertainty is widened for it",
                outside=outside,
                count=count,
                low=f"{low:.6g}",
                high=f"{high:.6g}",
                canonical=card.canonical,
                name=card.name,
            )
            notes.append(warning("instrument", text))
    return [one.values for one in done], notes


def _size(value: float, card: InstrumentCard) -> str:
    return f"{1000.0 * value:.1f} µm" if card.dimension == "length" else f"{value:.3g} N"


def _names(instrument: str | None, cards: Sequence[InstrumentCard]) -> list[Note]:
    """A warning where the readings name another instrument than any of the cards."""
    if instrument is None or any(card.is_of(instrument) for card in cards):
        return []
    named = " and ".join(repr(card.name) for card in cards)
    return [
        warning(
            "instrument",
            Phrase(
                "the readings name the instrument {instrument}, the card is that of {named}",
                instrument=f"{instrument!r}",
                named=named,
            ),
        )
    ]
