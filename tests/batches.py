"""Lots of invented spring trays, and `valvelab batch` asked in JSON."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from stored import lay_springs

from valvelab.cli.main import main

SPRINGS = 3


def lay_lot(folder: Path, count: int, first: int = 0) -> Path:
    """A folder of trays of springs, a day and 0.05 N apart, in folders of ten; the path of the spec beside it."""
    generator = np.random.default_rng(first)
    for number in range(first, first + count):
        own = folder / f"week {number // 10:03}" / f"tray {number:04}"
        own.mkdir(parents=True)
        forces = 248.0 - 0.05 * number + generator.normal(0.0, 2.0, SPRINGS)
        _, spec = lay_springs(own, *forces, date=str(np.datetime64("2026-01-01") + np.timedelta64(number, "D")))
        spec.replace(folder.parent / "springs.toml")
    return folder.parent / "springs.toml"


def batch(capsys: pytest.CaptureFixture[str], *words: object, code: int = 0) -> dict[str, Any]:
    """The command's JSON."""
    assert main(["batch", *map(str, words), "--json", "--quiet"]) == code, capsys.readouterr().err
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found
