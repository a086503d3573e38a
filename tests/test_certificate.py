"""The certificate: same input same bytes, everything embedded, inputs carried, tampering seen."""

from __future__ import annotations

import io
import json
import subprocess
import sys
import tomllib
from dataclasses import replace
from hashlib import sha256
from itertools import pairwise
from pathlib import Path

import numpy as np
import papers
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pypdf import PdfReader, PdfWriter
from something import each

from valvelab.cautions import CAUTIONS
from valvelab.cli.main import main
from valvelab.errors import BadFile
from valvelab.figures.description import Axis, Band, Curve, Dial, Figure, Guide, HeatMap, Marks
from valvelab.job.carried import carry, job_toml
from valvelab.job.comparison import compare_results
from valvelab.job.verify import verify_bytes
from valvelab.places import resources, sample_profiles
from valvelab.records.job import Job
from valvelab.records.parts.lobes import LobesPart
from valvelab.records.parts.springs import SetsPart
from valvelab.records.result import Result, Source, Verdict, info, warning
from valvelab.records.spec import DecisionRule, Spec
from valvelab.report.assembly import Part, Words, assemble, grouped, number_of, overall
from valvelab.report.attachments import carried_files, is_inside
from valvelab.report.dial import label_anchors, spread_out
from valvelab.report.page_model import Attachment, Box, Certificate, FigureBlock, Paragraph, Section, texts
from valvelab.report.pdf import certificate_bytes
from valvelab.report.pdf_file import read_file
from valvelab.report.same_text import compare_texts
from valvelab.report.scales import Scale, scale_for, thinned, tick_texts, ticks
from valvelab.tables.description import Table
from valvelab.units import DisplayUnit

X = np.linspace(-70.0, 70.0, 561)


def verdict(decision: str, item: str = "1I", chance: float | None = 0.99) -> Verdict:
    return Verdict(
        characteristic="max_lift",
        item=item,
        measured=7.612,
        unit="mm",
        standard_uncertainty=0.0008,
        lower=7.57,
        upper=7.67,
        probability_conforming=chance,
        decision=decision,
        clause="rule 7.3",  # type: ignore[arg-type]
    )


def plots() -> FigureBlock:
    lift = 7.6 * np.cos(np.radians(X)) ** 4
    deviation = 0.03 * np.sin(np.radians(3.0 * X))
    angle = Axis("Cam angle", "cam deg", (-70.0, 70.0))
    figure = Figure(
        "lift",
        "Lift",
        angle,
        Axis("Lift", "mm"),
        curves=(Curve(X, lift, "measured", "1I"),),
        guides=(Guide(1.27, "y", label="checking lift"), Guide(0.0, "x")),
    )
    broken = np.where(np.abs(X) < 10.0, np.nan, deviation)
    envelope = Figure(
        "deviation",
        "Deviation",
        angle,
        Axis("Deviation", "mm"),
        curves=(Curve(X, broken, "measured"),),
        bands=(Band(X, np.full(X.size, -0.02), np.full(X.size, 0.02)),),
        marks=(Marks(X[[40]], deviation[[40]], "reject", texts=("outside",)),),
    )
    chart = HeatMap("map", "Deviation", angle, ("1I", "1E"), X, np.vstack([deviation, broken]), Axis("d", "mm"))
    dial = Dial("places", "Places", np.array([10.0, 12.0, 200.0]), ("1I", "1E", "2I"), ("intake", "exhaust", "intake"))
    return FigureBlock(((figure, envelope), (chart, dial)), 90.0, titles=("left", "right"), caption="seen from the end")


def certificate(serial: str = "QM-0417", verdicts: tuple[Verdict, ...] = (), **changes: object) -> Certificate:
    source = Source(file="folder/lift.csv", sha256="0123456789abcdef" * 4)
    result = Result(
        command="lobes",
        source=(source,),
        verdicts=verdicts or (verdict("accept"), verdict("undecided", "1E", 0.6)),
        notes=(info("1I", "two readings left out"), warning("1E", "a & b < c")),
    )
    part = Part(
        "Camshaft",
        result,
        (("part", "club <camshaft> & more"), ("serial number", serial), ("operator", None)),
        (plots(),),
        (),
        ("lobe", "camshaft"),
        lambda: (Section("Detail", (plots(),)),),
        serial=serial,
    )
    job = Job(title="Hill climb", made="2026-03-05", part=(LobesPart(file=Path("lift.csv")),))
    attachments = carry(job, {"lift.csv": b"angle,1I\n0,1\n"}, [result])
    made = assemble(
        [part], "2026-03-05", "metric", Words("Hill climb", full=True), Spec(title="Club", revision="C"), attachments
    )
    return replace(made, **changes)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def pdf() -> bytes:
    return certificate_bytes(certificate())


def words(pdf: bytes) -> str:
    return " ".join(" ".join(papers.page_texts(pdf)).split())


def test_same_certificate_same_bytes(pdf: bytes) -> None:
    assert certificate_bytes(certificate()) == pdf


def test_another_process_writes_the_same_bytes(tmp_path: Path, pdf: bytes) -> None:
    code = (
        f"import sys; sys.path.insert(0, {str(Path(__file__).parent)!r}); import test_certificate as t; "
        "open(sys.argv[1], 'wb').write(t.certificate_bytes(t.certificate()))"
    )
    subprocess.run([sys.executable, "-c", code, str(tmp_path / "again.pdf")], check=True)
    assert (tmp_path / "again.pdf").read_bytes() == pdf


def test_every_font_is_embedded(pdf: bytes) -> None:
    for page in each(PdfReader(io.BytesIO(pdf)).pages):
        for font in each(page["/Resources"]["/Font"].values()):  # type: ignore[index, union-attr]
            descriptor = font.get_object()["/FontDescriptor"].get_object()
            assert "/FontFile2" in descriptor, font.get_object()["/BaseFont"]


def test_plots_are_vectors(pdf: bytes) -> None:
    for page in each(PdfReader(io.BytesIO(pdf)).pages):
        assert not page.images


def test_every_page_says_what_it_is(pdf: bytes) -> None:
    texts = papers.page_texts(pdf)
    for number, text in each(enumerate(texts, start=1)):
        for expected in (f"page {number} of {len(texts)}", "serial QM-0417", "2026-03-05", "valvelab", "0123456789ab"):
            assert expected in text


def test_paper_tells_verdict_method_notes_and_cautions(pdf: bytes) -> None:
    text = words(pdf)
    for expected in (
        "Undecided",
        "1 undecided, 1 accepted",
        "club <camshaft> & more",
        "a & b < c",
        "not stated",
        "ISO 14253-1:2017",
        "at least 95 %",
        "JCGM 106:2012",
        "rule 7.3",
        "max lift",
        grouped(sha256(b"angle,1I\n0,1\n").hexdigest()),
    ):
        assert expected in text, expected
    for sentence in CAUTIONS:
        assert sentence in text


def test_several_parts_share_one_front_page() -> None:
    source = Source(file="j.csv", sha256="f" * 64)
    strict, simple = DecisionRule(), DecisionRule(rule="simple")
    parts = [
        Part(
            name,
            Result(command="x", source=(source,), verdicts=(verdict(decision),)),
            (("serial number", "QM-1"), ("cutoff", name)),
            (plots(),),
            (),
            ("lobe",),
            lambda name=name: (Section(name, (Paragraph(f"detail of {name}"),)),),
            serial="QM-1",
            spec=Spec(title=f"spec of {name}", decision=rule),
        )
        for name, decision, rule in (("Camshaft", "accept", strict), ("Shaft form", "reject", simple))
    ]
    pages = papers.page_texts(certificate_bytes(assemble(parts, "2026-03-05", words=Words("Winter", full=True))))
    front = " ".join(pages[0].split())
    for expected in (
        "Measurement certificate",
        "Winter",
        "Rejected",
        "Shaft form j.csv 0 0 1",
        "for the event",
        *CAUTIONS,
    ):
        assert expected in front
    for name in ("Camshaft", "Shaft form"):
        (own,) = [page for page in pages[1:] if f"spec of {name}" in page]
        assert f"detail of {name}" in " ".join(pages)
        assert "cutoff" in own
    whole = " ".join(" ".join(pages).split())
    assert "ISO 14253-1:2017" in whole
    assert "Simple rule" in whole


def test_rejected_ones_come_first() -> None:
    many = (*(verdict("accept", f"{n}I") for n in range(1, 30)), verdict("reject", "30I", 0.001))
    first = papers.page_texts(certificate_bytes(certificate(verdicts=many)))[0]
    assert "Rejected" in first
    assert "30I" in first
    assert "7I 7.612" not in first


@pytest.mark.parametrize(
    ("decisions", "expected"),
    [((), None), (("accept",), "accept"), (("accept", "undecided"), "undecided"), (("undecided", "reject"), "reject")],
)
def test_overall_verdict(decisions: tuple[str, ...], expected: str | None) -> None:
    assert overall([verdict(decision) for decision in decisions]) == expected


@pytest.mark.parametrize(
    "text", ["Ωmega " + "x" * 400 + " \u4e2d <b>&amp; \x07", "w " * 1200, "x" * 3000, "\n\n\t", ""]
)
def test_long_and_strange_texts_fit(text: str) -> None:
    made = certificate(serial=text, verdicts=(verdict("accept", text[:300]),))
    notes = Table(("about", "note"), ((text, text), ("1I", "after")), left=2, wrap=(1,), title=text)
    section = Section(text, (Paragraph(text), notes, Box(text, (text,))))
    pages = papers.page_texts(certificate_bytes(replace(made, sections=(*made.sections, section))))
    assert "after" in " ".join(pages)


def test_inputs_come_out_as_they_went_in(pdf: bytes) -> None:
    carried = carried_files(read_file(pdf), "c.pdf")
    assert carried == papers.carried_files(pdf)
    assert carried == {row.name: row.content for row in certificate().attachments}
    assert carried["lift.csv"] == b"angle,1I\n0,1\n"
    assert tomllib.loads(carried["job.toml"].decode())["made"] == "2026-03-05"


def test_every_text_of_a_certificate_is_found() -> None:
    """What a page shows is looked through for the places where files lay."""
    made = certificate("QM-0418", verdicts=(verdict("reject", "7E"),))
    boxed = Section("under it", (Box("a box", ("said in it",)), plots()))
    held = set(texts(replace(made, sections=(*made.sections, boxed))))
    assert held >= {"QM-0418", "7E", "under it", "a box", "said in it", "Cam angle", "measured", "lift.csv"}
    assert list(texts({"x": (np.array([1.0]), ["a"])})) == ["x", "a"]


def test_number_follows_from_what_is_carried() -> None:
    made = certificate()
    assert made.number == number_of(reversed(made.attachments))
    other = replace(made.attachments[0], content=made.attachments[0].content + b" ")
    assert number_of((other, *made.attachments[1:])) != made.number


def test_foreign_pdfs_are_refused(pdf: bytes) -> None:
    empty = io.BytesIO()
    PdfWriter().write(empty)
    climbing = PdfWriter(clone_from=io.BytesIO(pdf))
    climbing.add_attachment("../escaped.txt", b"x")
    written = io.BytesIO()
    climbing.write(written)
    for content in (b"", b"no pdf", pdf[:500], empty.getvalue(), written.getvalue()):
        with pytest.raises(BadFile, match=r"c\.pdf"):
            verify_bytes(content, "c.pdf")


@pytest.mark.parametrize("name", ["/etc/x", "../x", "a/../../x", "c:x", "a\\b", "", "x\0y"])
def test_names_that_leave_the_folder(name: str) -> None:
    assert not is_inside(name)


@given(st.text(max_size=40), st.lists(st.text(max_size=20), max_size=3))
def test_job_survives_its_toml(title: str, options: list[str]) -> None:
    clean = title.encode("utf-8", "replace").decode()
    words = tuple(option.encode("utf-8", "replace").decode() for option in options)
    job = Job(title=clean, units="inch", part=(SetsPart(file=Path("a b.csv"), together=words),))
    assert Job.model_validate(tomllib.loads(job_toml(job))) == job


def differences(stated: object, recomputed: object) -> list[str]:
    return [row.where for row in compare_results(stated, recomputed) if row is not None]


def test_results_are_compared_number_by_number() -> None:
    stated = {"lobes": [{"lobe": "1I", "max_lift_mm": 7.612345, "centre": None}], "version": "0.1"}
    assert differences(stated, {**stated, "version": "0.2"}) == []
    near = {"lobes": [{"lobe": "1I", "max_lift_mm": 7.612345 * (1 + 1e-8), "centre": None}], "version": "0.1"}
    assert differences(stated, near) == []
    off = {"lobes": [{"lobe": "1I", "max_lift_mm": 7.6124, "centre": 1.0}], "version": "0.1"}
    assert differences(stated, off) == ["lobes[1I].max_lift_mm", "lobes[1I].centre"]


@pytest.mark.parametrize(
    ("stated", "recomputed", "same"),
    [
        ("7.6124", "7.6125", True), ("7.6124", "7.6126", False), ("−0.031", "−0.032", True), ("0.031", "−0.031", False),
        ("accept", "reject", False), ("99.9%", "99.8%", True), ("12345678", "12345679", False), ("1.5", "1.50", False),
        ("a b", "a b c", False),
    ],
)  # fmt: skip
def test_paper_is_compared_within_rounding(stated: str, recomputed: str, same: bool) -> None:
    assert (not [row for row in compare_texts(stated, recomputed, "") if row is not None]) is same


def test_colours_of_text_have_contrast() -> None:
    # WCAG 2.1, success criterion 1.4.3: relative luminance and a ratio of at least 4.5 for text
    table = tomllib.loads((resources() / "certificate.toml").read_text(encoding="utf-8"))

    def luminance(code: str) -> float:
        channels = np.array([int(code[i : i + 2], 16) / 255.0 for i in (1, 3, 5)])
        linear = np.where(channels <= 0.03928, channels / 12.92, ((channels + 0.055) / 1.055) ** 2.4)
        return float(linear @ np.array([0.2126, 0.7152, 0.0722]))

    pairs = [(name, "paper") for name in ("text", "quiet", "heading", "accept", "reject", "undecided", "intake")]
    pairs += [(name, f"{name}_tint") for name in ("accept", "reject", "undecided")] + [("text", "stripe")]
    for ink, ground in [*pairs, ("exhaust", "paper")]:
        light, dark = luminance(table[ground]), luminance(table[ink])
        assert (light + 0.05) / (dark + 0.05) >= 4.5, (ink, ground)


@given(
    st.floats(-1e4, 1e4),
    st.floats(1e-6, 1e5),
    st.floats(30.0, 500.0),
    st.sampled_from(["mm", "cam deg", "N"]),
)
def test_ticks_lie_inside_and_apart(low: float, span: float, length: float, unit: str) -> None:
    scale = Scale(low, low + span, 0.0, length, DisplayUnit(unit, 1.0, 3))
    values = ticks(scale, 20.0)
    places = [scale.at(value) for value in values]
    assert all(-0.01 <= place <= length + 0.01 for place in places)
    assert all(second - first >= 19.9 for first, second in pairwise(places))
    assert len(set(tick_texts(values))) == len(values) or span < 1e-4 * abs(low)


def test_angle_ticks_are_those_of_a_protractor() -> None:
    scale = Scale(-70.0, 70.0, 0.0, 250.0, DisplayUnit("cam deg", 1.0, 3))
    assert ticks(scale, 34.0) == [-60.0, -30.0, 0.0, 30.0, 60.0]


def test_small_lengths_are_shown_in_micrometres() -> None:
    scale = scale_for(Axis("Deviation", "mm"), (-0.02, 0.03), (0.0, 100.0), "metric")
    assert scale.unit.label == "µm"
    assert scale.place(np.array([0.01]))[0] == pytest.approx(scale.at(10.0))


@given(st.floats(0.01, 1.0), st.integers(3, 400))
def test_thinning_keeps_the_curve(tolerance: float, count: int) -> None:
    x = np.linspace(0.0, 300.0, count)
    y = 50.0 * np.sin(x / 20.0)
    kept = thinned(x, y, tolerance)
    # each left-out point lies within the tolerance of the chord, so vertically within tolerance · √(1 + slope²); places
    # are taken to a thousandth
    assert np.abs(np.interp(x, x[kept], y[kept]) - y).max() <= (tolerance + 1e-3) * np.hypot(1.0, 2.5)


@given(st.lists(st.floats(-100.0, 100.0), max_size=16), st.floats(0.1, 20.0))
def test_labels_keep_apart_and_in_order(places: list[float], apart: float) -> None:
    given_places = np.array(places)
    placed = spread_out(given_places, apart)
    order = np.argsort(given_places, kind="stable")
    assert (np.diff(placed[order]) >= apart - 1e-6).all()
    # least squares keeps the mean, and moves nothing where nothing touches
    if places:
        assert placed.mean() == pytest.approx(given_places.mean(), abs=1e-6)
    if (np.diff(np.sort(given_places)) >= apart).all():
        assert placed == pytest.approx(given_places, abs=1e-6)


@given(st.lists(st.floats(0.0, 359.0), min_size=1, max_size=16))
def test_dial_labels_stand_outside_and_never_on_each_other(angles: list[float]) -> None:
    anchors = label_anchors(np.array(angles), 60.0, 8.0)
    assert all(np.hypot(x, y) >= 59.9 for x, y in anchors)
    for side in (1.0, -1.0):
        heights = sorted(y for x, y in anchors if x * side > 0.0)
        assert all(second - first >= 7.9 for first, second in pairwise(heights))


def test_drawing_loads_no_window_library() -> None:
    code = (
        "import sys, valvelab.report.pdf, valvelab.report.lobes_certificate; "
        "sys.exit(bool({'PySide6', 'pyqtgraph'} & set(sys.modules)))"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_attachment_order_does_not_matter() -> None:
    rows = (Attachment("b", b"2"), Attachment("a", b"1"))
    assert number_of(rows) == number_of(rows[::-1])


def test_no_angle_of_a_camshaft_is_broken_over_two_lines(tmp_path: Path) -> None:
    """Every opening and closing at every checking lift stands whole on paper."""
    table, paper, answer = sample_profiles() / "quillmere_four_camshaft.csv", tmp_path / "c.pdf", tmp_path / "c.json"
    assert main(["lobes", str(table), "--out", str(answer)]) == 0
    assert main(["certify", str(table), "--full", "--out", str(paper)]) == 0
    words = {word for page in PdfReader(paper).pages for word in page.extract_text().split()}
    rows = [row for lobe in json.loads(answer.read_bytes())["lobes"] for row in lobe["durations"]]
    angles = {f"{row[key]:.3f}" for row in rows for key in ("opening_cam_deg", "closing_cam_deg")}
    assert len(angles) > 70
    assert angles <= words
