"""What a cam card shows: its figures one under another, a column each kind of lobe, and the sentences below."""

from __future__ import annotations

from valvelab.decimals import figure
from valvelab.inspection.lobes.cam_card import KINDS, LIFTS_MM, CardKind, MeasuredCard
from valvelab.measured import Measured
from valvelab.phasing.timing import EventName, TradeEvent, trade_event
from valvelab.phasing.timing import advance as advance_of
from valvelab.tables.description import Column, Table, facts
from valvelab.tables.lobes import lift_told
from valvelab.units import System, display_unit


def _measured(head: str, unit: str, field: str) -> Column[CardKind]:
    def of(one: CardKind) -> Measured:
        found: Measured = getattr(one, field)
        return found

    return Column(head, unit, lambda one: of(one).value, lambda one: of(one).u)


def _event(head: str, number: int, which: EventName) -> Column[CardKind]:
    """Opening or closing at the lift of that number, as the trade says it."""

    def measured(one: CardKind) -> Measured:
        found: Measured = getattr(one.rows[number], which)
        return found

    def told(one: CardKind) -> TradeEvent | None:
        crank = measured(one).value
        return None if crank is None else trade_event(one.kind, which, crank)

    def angle(one: CardKind) -> float | None:
        event = told(one)
        return None if event is None else event.angle_deg

    def reference(one: CardKind) -> str:
        event = told(one)
        return "" if event is None else event.reference

    return Column(head, "crank deg", angle, lambda one: measured(one).u, after=reference)


def _at_lift(number: int, system: System) -> tuple[Column[CardKind], ...]:
    at = f"at {lift_told(LIFTS_MM[number], system)} {display_unit('mm', system).label}"

    def duration(one: CardKind) -> Measured:
        return one.rows[number].duration

    return (
        _event(f"opens {at}", number, "opening"),
        _event(f"closes {at}", number, "closing"),
        Column(f"duration {at}", "crank deg", lambda one: duration(one).value, lambda one: duration(one).u),
    )


def card_table(card: MeasuredCard, system: System) -> Table:
    """Lift, lash, centreline, events and durations; what no kind has is left out."""
    columns: list[Column[CardKind]] = [
        _measured("lobe lift", "mm", "lift"),
        _measured("valve lift, no lash", "mm", "valve_lift"),
        Column("lash", "mm", lambda one: one.lash_mm),
        Column(
            "centreline",
            "crank deg",
            lambda one: one.centreline_deg,
            after=lambda one: "ATDC" if one.kind == "intake" else "BTDC",
        ),
        *(column for number in range(len(LIFTS_MM)) for column in _at_lift(number, system)),
    ]
    shown = [column for column in columns if column.filled(card.kinds)]
    by_kind = [facts(shown, one, card.kinds, system) for one in card.kinds]
    header = ("", *(head for one in card.kinds for head in (one.kind, "u")))
    rows = tuple(
        (row[0].label, *(cell for fact in row for cell in (fact.shown, "" if fact.u is None else fact.shown_u)))
        for row in zip(*by_kind, strict=True)
    )
    return Table(header, rows)


def card_told(card: MeasuredCard, system: System) -> tuple[str, ...]:
    """Separation, how the shaft stands, overlap, and what the figures are means of."""
    found = [f"Lobe separation {_figure(card.separation)} cam deg."] if card.separation.value is not None else []
    lines = {one.kind: one.centreline_deg for one in card.kinds}
    if len(lines) == len(KINDS):
        advance = advance_of(lines["intake"], lines["exhaust"])
        where = "straight up" if abs(advance) < 5e-3 else f"{abs(advance):.2f} crank deg {_late(advance)}"
        overlaps = " and ".join(
            f"{_figure(card.overlap(number))} crank deg at {lift_told(at, system)} {display_unit('mm', system).label}"
            for number, at in enumerate(LIFTS_MM)
            if card.overlap(number).value is not None
        )
        found += [f"Installed {where}{'' if card.stated else ', for no centreline is stated'}.", f"Overlap {overlaps}."]
    lobes = "; ".join(f"{one.kind} {', '.join(one.lobes)}" for one in card.kinds)
    return (*found, f"Means of the lobes measured: {lobes}. Lifts and events at the follower, without lash.")


def _late(advance: float) -> str:
    return "advanced" if advance > 0.0 else "retarded"


def _figure(measured: Measured) -> str:
    return figure(measured.value, measured.u, "deg")
