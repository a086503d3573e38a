"""Plots and certificate pages of shaft form, texture and gauge studies show the figures of the result."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from valvelab.cli.main import main
from valvelab.figures.description import Figure
from valvelab.figures.gauge_figures import components_figure, means_figure, ranges_figure
from valvelab.figures.shaft_figures import axis_figure, harmonics_figure, roundness_figure, section_figure
from valvelab.figures.texture_figures import material_ratio_figure, roughness_figure, thinned, trace_figure
from valvelab.job.use import Around
from valvelab.job.uses import use
from valvelab.places import sample_profiles

FILES = {
    "shaft": "club_four_journals.csv", "texture": "club_four_lobe_3I_trace.csv", "gauge": "dial_gauge_study.csv",
}  # fmt: skip


def inspection(command: str) -> Any:
    """The sample's inspection, as the command line asks for it."""
    known = use(command)
    return known.inspect(known.part(file=sample_profiles() / FILES[command]), Around())


def curve(figure: Figure, label: str) -> tuple[np.ndarray, np.ndarray]:
    return next((part.x, part.y) for part in figure.curves if part.label == label)


def test_polar_plot_holds_the_trace_between_the_zone_circles() -> None:
    found = inspection("shaft")
    form = found.journals[2]
    figure = roundness_figure(form)
    assert figure.equal_scale
    radius = np.hypot(*curve(figure, "trace"))
    result = found.result.stations[2]
    # the two zone circles are apart by the roundness, along any ray from about their centre
    outer, inner = [np.hypot(part.x, part.y) for part in figure.curves if part.role == "series" and part.series == 1]
    assert outer - inner == pytest.approx(result.roundness_mzc_um, rel=1e-9)
    assert np.ptp(radius) == pytest.approx(result.roundness_lsc_um, rel=1e-9)
    # angles are drawn about the axis of turning, 11 µm off the circle's centre: a few thousandths of a micrometre
    angle = np.degrees(np.arctan2(*curve(figure, "trace")[::-1])) % 360.0
    spot = np.arange(0.0, 360.5, 1.0)
    assert (radius <= np.interp(angle, spot, outer) + 2e-3).all()
    assert (radius >= np.interp(angle, spot, inner) - 2e-3).all()


def test_axis_plots_show_the_zone() -> None:
    found = inspection("shaft")
    zone = found.result.straightness.minimum_zone_um
    figure = axis_figure(found)
    band = figure.bands[0]
    assert band.upper - band.lower == pytest.approx(zone)
    assert np.abs(figure.curves[0].y).max() == pytest.approx(zone / 2.0, rel=1e-6)
    assert figure.marks[0].texts == ("J1", "J2", "J3", "J4", "J5")
    end_on = section_figure(found)
    distance = np.hypot(end_on.marks[1].x, end_on.marks[1].y)
    assert distance.max() == pytest.approx(zone / 2.0, rel=1e-6)
    (bar,) = harmonics_figure(found.journals[0]).bands
    wanted = [1000.0 * row.amplitude_mm for row in found.journals[0].harmonics.orders[1:30]]
    assert bar.upper.reshape(-1, 4)[:, 1] == pytest.approx(wanted)
    assert bar.x.reshape(-1, 4).mean(axis=1) == pytest.approx(np.arange(2.0, 31.0))


def test_texture_plots_show_the_parameters() -> None:
    found = inspection("texture")
    values = found.result.parameters
    rough = roughness_figure(found)
    assert np.ptp(rough.curves[0].y) == pytest.approx(values.rt_um)
    assert len(rough.guides) == found.result.sections + 1
    ratio = material_ratio_figure(found)
    assert np.ptp(ratio.curves[1].y) == pytest.approx(values.rk_um)
    assert [guide.value for guide in ratio.guides if guide.along == "x"] == [values.rmrk1_pct, values.rmrk2_pct]
    assert len(trace_figure(found).curves) == 2


def test_thinning_keeps_every_extreme() -> None:
    z = np.random.default_rng(0).normal(size=200_000)
    x, y = thinned(np.arange(200_000.0), z)
    assert x.size <= 6100
    assert (y.max(), y.min()) == (z.max(), z.min())
    assert (np.diff(x) > 0.0).all()


def test_gauge_plots_show_the_study() -> None:
    found = inspection("gauge")
    means = means_figure(found)
    assert [part.label for part in means.curves] == ["A", "B", "C"]
    assert means.curves[1].y == pytest.approx(found.question.readings.readings[:, 1].mean(axis=1))
    # limits of the chart of averages: A2 = 1.023, of ranges: D4 = 2.574 for three readings (usual control-chart tables)
    average = float(np.ptp(found.question.readings.readings, axis=2).mean())
    (band,) = means.bands
    low, high = band.lower[0], band.upper[0]
    assert (high - low) / (2.0 * average) == pytest.approx(1.023, abs=1e-3)
    assert ranges_figure(found).guides[1].value / average == pytest.approx(2.574, abs=2e-3)
    shares = components_figure(found).bands[0].upper.reshape(-1, 4)[:, 1]
    assert shares[0] == pytest.approx(found.result.anova.grr_percent)


@pytest.mark.parametrize("command", list(FILES))
def test_certificates_are_written_and_verified(
    command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sheet = tmp_path / "certificate.pdf"
    spec = sample_profiles() / "club_four_shaft_spec.toml"
    words = [command, str(sample_profiles() / FILES[command]), "--spec", str(spec), "--quiet", "--out", str(sheet)]
    # the spec limits all three, so each paper by itself leaves the others' limits undecided
    assert main(words) == 4
    assert sheet.read_bytes().startswith(b"%PDF")
    assert main(["verify", str(sheet)]) == 0
    assert "agrees" in capsys.readouterr().out
