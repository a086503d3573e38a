"""Reading a shop's card (TOML), and the files that what a paper says rests on."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from valvelab.errors import BadFile
from valvelab.files.contents import Given
from valvelab.files.spec_file import read_toml_with_source
from valvelab.records.particulars import Particulars, ShopCard
from valvelab.records.result import Source


def read_shop_card(path: Given) -> tuple[ShopCard, Source]:
    """The card and the file's identity; raises BadFile with the key of what can't be used."""
    card, source = read_toml_with_source(path, ShopCard)
    if card.mark is not None and card.mark.is_absolute():
        raise BadFile(source.file, "mark", repr(str(card.mark)), "a picture counted from the card's own folder")
    return card, source


def files_said(particulars: Particulars) -> Iterator[Path]:
    """Every file that particulars name, then the mark that the shop's card names, which is read only then.

    Raises BadFile.
    """
    yield from particulars.files
    if particulars.shop is not None and (mark := read_shop_card(particulars.shop)[0].mark) is not None:
        yield particulars.shop.parent / mark
