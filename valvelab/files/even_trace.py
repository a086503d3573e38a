"""A surface trace of a file that states one step for all its points."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np

from valvelab.arrays import FloatArray, read_only
from valvelab.errors import BadFile
from valvelab.files.contents import Contents
from valvelab.files.plausible import LARGEST_PLACE_MM, LARGEST_READING_MM
from valvelab.records.form_measurement import SurfaceTrace
from valvelab.records.result import Note


def even_trace(
    contents: Contents, form: Literal["SMD", "X3P"], step_mm: float, z_um: FloatArray, notes: Sequence[Note] = ()
) -> SurfaceTrace:
    """A profile read at even steps from a file that is no table; refused where it is higher or longer than any."""
    file = contents.file
    beyond = np.flatnonzero(~(np.abs(z_um) <= 1000.0 * LARGEST_READING_MM))
    if beyond.size:
        found = f"a height of {z_um[beyond[0]] / 1000.0:g} mm"
        raise BadFile(file, f"point {beyond[0] + 1}", found, f"at most {LARGEST_READING_MM:g} mm")
    x_mm = np.arange(z_um.size, dtype=np.float64) * step_mm
    if x_mm[-1] > LARGEST_PLACE_MM:
        raise BadFile(file, "", f"a trace of {x_mm[-1]:g} mm", f"at most {LARGEST_PLACE_MM:g} mm")
    return SurfaceTrace(
        file=file, source=contents.source, form=form, x_mm=read_only(x_mm), z_um=read_only(z_um), notes=tuple(notes)
    )
