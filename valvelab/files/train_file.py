"""Reading a train (TOML)."""

from __future__ import annotations

from valvelab.files.contents import Given
from valvelab.files.spec_file import read_toml_with_source
from valvelab.records.result import Source
from valvelab.records.train import Train


def read_train(path: Given) -> tuple[Train, Source]:
    """The train, canonical, and the file's identity; raises BadFile with the key of what can't be used."""
    return read_toml_with_source(path, Train)
