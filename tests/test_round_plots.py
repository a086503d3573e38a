"""Round plots on paper: as high as they are wide, their words off their circles."""

from __future__ import annotations

import math

import pytest

from valvelab.figures.phasing_figures import event_diagram, wheel_dial
from valvelab.inspection.engine.phasing import PhasingInspection
from valvelab.job.phasing import inspect
from valvelab.job.use import Around
from valvelab.places import sample_profiles
from valvelab.records.parts.phasing import PhasingPart
from valvelab.report.blocks import Layout, height_of, on_one_page, shaped
from valvelab.report.page_model import FigureBlock
from valvelab.report.paper import MM, paper
from valvelab.report.plots import off_circle

WIDE = 480.0


@pytest.fixture
def inspection() -> PhasingInspection:
    return inspect(PhasingPart(file=sample_profiles() / "quillmere_four_degree_wheel.toml"), Around())


def test_a_round_plot_takes_no_more_height_than_it_fills(inspection: PhasingInspection) -> None:
    layout = Layout(paper(), "metric", WIDE)
    block = FigureBlock(((event_diagram(inspection),), (wheel_dial(inspection),)), 88.0)
    (drawn,) = on_one_page([block], layout, 700.0)
    assert isinstance(drawn, FigureBlock)
    assert drawn.height_mm * MM < WIDE / 2.0
    assert height_of(block, layout) == pytest.approx(height_of(shaped(block, layout), layout))


@pytest.mark.parametrize("angle", range(0, 360, 15))
@pytest.mark.parametrize("far", [0.7, 1.4])
def test_words_keep_to_their_side_of_a_circle(angle: float, far: float) -> None:
    turn, radius, half = math.radians(angle), 40.0, (18.0, 3.5)
    place = far * radius * math.sin(turn), far * radius * math.cos(turn)
    across, up = off_circle(place, half, (0.0, 0.0), radius)
    corners = [math.hypot(across + x, up + y) for x in (-half[0], half[0]) for y in (-half[1], half[1])]
    nearest = math.hypot(max(0.0, abs(across) - half[0]), max(0.0, abs(up) - half[1]))
    if far < 1.0:
        assert max(corners) <= radius + 1e-6
    else:
        assert nearest >= radius - 1e-6
    assert math.isclose(across * math.cos(turn), up * math.sin(turn), abs_tol=1e-6)
