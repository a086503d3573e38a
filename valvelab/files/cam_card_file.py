"""A cam card as a spec (TOML) that a degreeing is held against."""

from __future__ import annotations

from valvelab.files.toml_text import toml_keys, toml_table
from valvelab.phasing.timing import EventName, event_words, lobe_kind
from valvelab.records.cam_card import CamCard, CardEvents

_HEAD = "# cam card: centrelines in crank deg, intake ATDC, exhaust BTDC; lifts at the follower"


def cam_card_toml(card: CamCard, title: str | None) -> str:
    """The spec that reads back to this card; events of a lobe of neither kind stand as bare numbers."""
    stated = {name: value for name, value in card if not isinstance(value, tuple)}
    blocks = [
        "\n".join([_HEAD, *toml_keys({"title": title})]),
        toml_table("[card]", stated),
        *(toml_table("[[card.lift]]", dict(row)) for row in card.lift),
        *(toml_table("[[card.duration]]", _events(row)) for row in card.duration),
    ]
    return "\n\n".join(blocks) + "\n"


def _events(row: CardEvents) -> dict[str, object]:
    def told(which: EventName, number: float | None) -> str | float | None:
        kind = lobe_kind(row.lobe)
        return number if kind is None or number is None else event_words(kind, which, number)

    opening, closing = told("opening", row.opening_deg), told("closing", row.closing_deg)
    return {**dict(row), "opening_deg": opening, "closing_deg": closing}
