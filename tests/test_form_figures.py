"""Plots and certificate pages of shaft form, texture and gauge studies show the figures of the result."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from valvelab.cli.main import main
from valvelab.figures.description import Figure
from valvelab.figures.form_places import (
    marked_ratio,
    marked_roughness,
    marked_section,
    marked_shares,
    not_accepted,
    place_of,
    worst_readings,
)
from valvelab.figures.gauge_figures import components_figure, means_figure, ranges_figure
from valvelab.figures.shaft_figures import (
    axis_figure,
    bowed_shaft_figure,
    harmonics_figure,
    roundness_figure,
    section_figure,
)
from valvelab.figures.texture_figures import material_ratio_figure, roughness_figure, thinned, trace_figure
from valvelab.inspection.form.gauge import inspect_gauge
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


def judged(command: str, folder: Path, **limits: str) -> Any:
    """The sample's inspection, held against these limits: a characteristic's name and `max = 3`, say."""
    spec = folder / "spec.toml"
    spec.write_text("".join(f'[[limit]]\nof = "{name}"\n{end}\n' for name, end in limits.items()), encoding="utf-8")
    known = use(command)
    return known.inspect(known.part(file=sample_profiles() / FILES[command], spec=spec), Around())


def marked(figure: Figure, *decisions: str) -> list[tuple[float, float]]:
    """Where a figure has the marks of these decisions."""
    rows = (part for part in figure.marks if part.role in decisions and not part.bare)
    return [(float(x), float(y)) for part in rows for x, y in zip(part.x, part.y, strict=True)]


def test_the_shaft_is_marked_where_it_is_bad(tmp_path: Path) -> None:
    found = judged("shaft", tmp_path, tir='max = "0.02 mm"', straightness='max = "10 um"', taper='max = "1 um"')
    rows = {row.characteristic: row for row in not_accepted(found.result.verdicts)}
    worst = found.result.straightness.worst_station
    assert (place_of(found, rows["tir"]), place_of(found, rows["straightness"])) == ("J3", worst)
    assert place_of(found, rows["taper"]) == "3I"
    side = bowed_shaft_figure(found, worst={"J2": "reject", "J4": "undecided", "3I": "reject", "J1": "accept"})
    at = {form.trace.name: form.trace.position_mm for form in found.journals}
    # 3I was read at 176 and 184 mm
    assert sorted(x for x, _ in marked(side, "reject")) == pytest.approx([at["J2"], 180.0])
    assert [x for x, _ in marked(side, "undecided", "accept")] == pytest.approx([at["J4"], at["J1"]])
    roles = [band.role for band in side.bands if band.x.size == 4]
    assert (roles.count("reject"), roles.count("undecided"), roles.count("guide")) == (2, 1, 3)
    ends = marked(marked_section(section_figure(found), found, {worst: "reject"}), "reject")
    assert np.hypot(*ends[0]) == pytest.approx(found.result.straightness.minimum_zone_um / 2.0, rel=1e-6)


def test_a_trace_is_marked_where_it_is_bad(tmp_path: Path) -> None:
    found = judged("texture", tmp_path, ra='max = "0.1 um"', rz='min = "9 um"', rt='max = "0.1 um"', rvk='min = "9 um"')
    rough = found.rough
    pieces = [rough.roughness_um[a:b] for a, b in pairwise(rough.bounds)]
    figure = marked_roughness(roughness_figure(found), found)
    names = {text: float(part.x[0]) for part in figure.marks for text in part.texts}
    edges = rough.x_mm[list(rough.bounds[:-1])], rough.x_mm[[bound - 1 for bound in rough.bounds[1:]]]
    # Ra is the mean size of the heights, Rz of a section its highest less its lowest (ISO 21920-2)
    for name, wanted in (
        ("Ra", max(range(5), key=lambda n: np.abs(pieces[n]).mean())),
        ("Rz", min(range(5), key=lambda n: np.ptp(pieces[n]))),
    ):
        assert edges[0][wanted] < names[name] < edges[1][wanted]
    ends = [(x, y) for part in figure.marks if part.texts == ("Rt",) for x, y in zip(part.x, part.y, strict=True)]
    assert [y for _, y in ends] == [rough.evaluated_um.max(), rough.evaluated_um.min()]
    ((ratio, height),) = marked(marked_ratio(material_ratio_figure(found), found), "reject", "undecided")
    assert found.result.parameters.rmrk2_pct < ratio < 100.0
    assert height < 0.0
    accepted = judged("texture", tmp_path, ra='max = "9 um"')
    assert marked(marked_roughness(roughness_figure(accepted), accepted), "accept", "reject", "undecided") == []


def test_a_gauge_is_marked_where_it_is_bad(tmp_path: Path) -> None:
    found = judged("gauge", tmp_path, grr_percent="max = 2")
    shares = marked_shares(components_figure(found), found)
    ((_, over),) = marked(shares, "reject")
    assert over > found.result.anova.grr_percent
    assert curve(shares, "limit")[1] == pytest.approx([2.0, 2.0])
    ((part, value),) = marked(worst_readings(found, "undecided"), "undecided")
    ranges = np.ptp(found.question.readings.readings, axis=2)
    assert value == ranges.max()
    assert value in ranges[round(part) - 1]
    assert found.result.anova.repeatability_sd > found.result.anova.reproducibility_sd, "so the ranges are shown"
    reading = found.question.readings
    shifted = reading.readings + np.array([0.0, 0.02, 0.0])[None, :, None]
    question = replace(found.question, readings=replace(reading, readings=shifted))
    other = worst_readings(inspect_gauge(question), "reject")
    assert other.name == "gauge_means"
    assert other.marks[-1].texts[0].endswith(", B")


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
