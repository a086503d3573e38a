"""Reading a shop's card (TOML)."""

from __future__ import annotations

from valvelab.files.contents import Given
from valvelab.files.spec_file import read_toml_with_source
from valvelab.records.particulars import ShopCard
from valvelab.records.result import Source


def read_shop_card(path: Given) -> tuple[ShopCard, Source]:
    """The card and the file's identity; raises BadFile with the key of what can't be used."""
    return read_toml_with_source(path, ShopCard)
