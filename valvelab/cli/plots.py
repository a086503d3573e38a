"""Plots that a command writes: `--plot FILE`, whose ending says the form."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from valvelab.units import System
from valvelab.writing import write_whole

if TYPE_CHECKING:
    from valvelab.figures.description import Figure

HEIGHT_MM = 100.0


def write_plot(figure: Figure, path: Path, units: System) -> None:
    """Write a plot to its file."""
    from valvelab.report.figure_file import figure_bytes
    from valvelab.report.page_model import FigureBlock

    write_whole(path, figure_bytes(FigureBlock(((figure,),), HEIGHT_MM), path.suffix, units))
