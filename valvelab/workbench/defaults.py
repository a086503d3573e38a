"""What a shop always asks for: a `defaults.toml` of its own beside the settings, and the card that heads its papers."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from valvelab.files.contents import read_contents
from valvelab.files.shop_card import read_shop_card
from valvelab.files.spec_file import read_toml
from valvelab.files.toml_text import toml_keys
from valvelab.records.particulars import Particulars, ShopCard
from valvelab.records.result import Record
from valvelab.records.spec import Quantity
from valvelab.workbench.settings import SHOP_CARD, SHOP_DEFAULTS
from valvelab.writing import make_folder, remove_file, write_whole

MARK = "shop_mark"


class Defaults(Record):
    """The file's keys; files are counted from its own folder.

    instrument: the card that goes with lift tables. shop: the card that heads papers; without the key `shop.toml`
    beside it, which the window writes.
    """

    units: Literal["auto", "metric", "inch"] = "auto"
    checking_lifts: tuple[Quantity, ...] = ()
    instrument: Path | None = None
    shop: Path | None = None


def defaults_in(folder: Path) -> Defaults:
    """The defaults that lie in a folder of settings, with their files where they lie.

    Raises BadFile for a file that can't be used.
    """
    path, own = folder / SHOP_DEFAULTS, folder / SHOP_CARD
    known = read_toml(path, Defaults) if path.is_file() else Defaults()
    shop = folder / known.shop if known.shop else own if own.is_file() else None
    instrument = None if known.instrument is None else folder / known.instrument
    return known.model_copy(update={"instrument": instrument, "shop": shop})


def headed(said: Particulars | None, folder: Path) -> Particulars:
    """What a paper says besides, under the card of a folder of settings where it says no other. Raises BadFile."""
    known = Particulars() if said is None else said
    return known if known.shop else known.model_copy(update={"shop": defaults_in(folder).shop})


def keep_card(folder: Path, card: ShopCard | None) -> None:
    """Keep a shop's card beside the settings, with a copy of its mark, whose path is whole; None keeps none.

    Raises BadFile, CannotWrite.
    """
    own = folder / SHOP_CARD
    if card is None:
        remove_file(own)
        return
    make_folder(folder, private=True)
    copied = None
    if card.mark is not None:
        copied = MARK + card.mark.suffix.lower()
        write_whole(folder / copied, read_contents(card.mark).data, private=True)
    keys = {**card.model_dump(), "mark": copied}
    write_whole(own, "\n".join([*toml_keys(keys), ""]), private=True)


def card_in(path: Path | None) -> ShopCard | None:
    """A shop's card with its mark where it lies; None for no path. Raises BadFile."""
    if path is None:
        return None
    card, _ = read_shop_card(path)
    return card if card.mark is None else card.model_copy(update={"mark": path.parent / card.mark})
