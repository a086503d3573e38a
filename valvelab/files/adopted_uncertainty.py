"""An uncertainty adopted from a gauge study: a small TOML file that a person can read, keep and point to."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from valvelab.errors import BadFile
from valvelab.files.contents import Given
from valvelab.files.spec_file import read_toml_with_source, toml_quantity
from valvelab.phrase import Phrase
from valvelab.records.gauge_result import AdoptedUncertainty
from valvelab.records.result import Note, Source, info, warning
from valvelab.writing import write_whole

if TYPE_CHECKING:  # a length alone is read without the readings of a shaft
    from valvelab.records.form_measurement import ShaftReadings


def write_adopted(path: Path, adopted: AdoptedUncertainty) -> None:
    """Write the file; TOML basic strings are JSON strings."""
    keys = adopted.model_dump()
    lines = ["# standard uncertainty of one reading, adopted from a gauge study"]
    lines += [f"{key} = {json.dumps(value, ensure_ascii=False)}" for key, value in keys.items()]
    write_whole(path, "\n".join(lines) + "\n")


def read_adopted(path: Given) -> AdoptedUncertainty:
    """The file, for readings that are lengths; refuses one that is not a length above 0."""
    return read_adopted_length(path)[0]


def read_adopted_length(path: Given) -> tuple[AdoptedUncertainty, float, Source]:
    """The file, its standard uncertainty in mm, its identity; refuses one that is not a length above 0."""
    adopted, source = read_toml_with_source(path, AdoptedUncertainty)
    value = toml_quantity(adopted.standard_uncertainty, "length", source.file, "standard_uncertainty")
    if value <= 0.0:
        raise BadFile(source.file, "standard_uncertainty", f"{value:g} mm", "a length above 0")
    return adopted, value, source


def with_adopted_probe(readings: ShaftReadings, path: Given) -> tuple[ShaftReadings, Source]:
    """The readings with the larger of their own probe uncertainty and the adopted one; a note says which counts."""
    adopted, value, source = read_adopted_length(path)
    told = f"adopted for {adopted.kind} from {adopted.study} ({Path(source.file).name})"
    used, note = larger_of(readings.probe_uncertainty_mm, value, told, "probe uncertainty", "mm")
    adopted_probe = readings.adopted_probe if used == readings.probe_uncertainty_mm else told
    notes = (*readings.notes, note)
    return replace(readings, probe_uncertainty_mm=used, adopted_probe=adopted_probe, notes=notes), source


def larger_of(own: float | None, value: float, told: str, about: str, unit: str) -> tuple[float, Note]:
    """The larger of the readings' own uncertainty and one from elsewhere, and a note that says which counts."""
    if own is not None and own >= value:
        return own, info(
            about,
            Phrase(
                "the readings' own {own} counts: no less than the {value} {told}",
                own=f"{own:g} {unit}",
                value=f"{value:g} {unit}",
                told=told,
            ),
        )
    if own is not None:
        return value, warning(
            about,
            Phrase(
                "{u}, {told}, counts: the readings' own {own} is less",
                u=f"{value:g} {unit}",
                told=told,
                own=f"{own:g} {unit}",
            ),
        )
    return value, info(about, Phrase("{u}, {told}", u=f"{value:g} {unit}", told=told))
