"""Which instrument card of the bench readings are corrected by."""

from __future__ import annotations

from typing import Literal

from valvelab.language import say
from valvelab.records.instrument_card import InstrumentCard
from valvelab.records.result import Source
from valvelab.workbench.document import BenchFile, Document, Kind

CARD: Kind[tuple[InstrumentCard, Source]] = Kind("instrument card")


def card_for(document: Document, dimension: Literal["length", "force"], instrument: str | None) -> BenchFile | None:
    """The card in use by choice where it is of that dimension, else the first that names the readings' instrument."""
    found = [(file, read[0]) for file, read in document.values_of(CARD) if read[0].dimension == dimension]
    chosen = document.current.get(CARD)
    named = [file for file, card in found if instrument is not None and card.is_of(instrument)]
    return next((file for file, _ in found if file.path == chosen), named[0] if named else None)


def corrected_by(document: Document, *cards: BenchFile | None) -> str:
    """Whose cards readings are corrected by, to follow a headline; empty without one."""
    found = (document.value_of(card, CARD) for card in cards if card is not None)
    names = " and ".join(read[0].name for read in found if read is not None)
    return say("; by the card of {names}").format(names=names) if names else ""
