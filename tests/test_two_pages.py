"""The usual paper: two pages, the verdict in plain words, nothing small, nothing empty, under the shop's own head."""

from __future__ import annotations

import io
import json
from pathlib import Path

import papers
import pytest
from PIL import Image
from pypdf import PageObject, PdfReader
from something import each

from valvelab.cli.main import main
from valvelab.places import sample_profiles
from valvelab.records.result import Verdict
from valvelab.tables.sentences import margin

HEAD_PT, FOOT_PT = 45.0, 48.0
SMALLEST_PT = 7.5
"""Of what is read: files and digests."""
SAMPLES = {
    "four": (("quillmere_four_camshaft.csv", "--spec", "quillmere_four_camshaft.toml"), 2, "metric"),
    "v8": (("lake_v8_job.toml",), 2, "inch"),
    "tray": (("springs_quillmere_tray.csv", "--spec", "springs_quillmere_spec.toml"), 2, "metric"),
    "phasing": (("quillmere_four_degree_wheel.toml", "--spec", "quillmere_four_engine.toml"), 2, "metric"),
    "lift check": (("quillmere_meeting_job.toml",), 6, "metric"),
}
"""What is certified, how many pages it has, and in which units; a lift check has a list and a page a car."""


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """The paper of each sample."""
    folder, found = tmp_path_factory.mktemp("papers"), {}
    for name, (words, _, system) in SAMPLES.items():
        files = [str(sample_profiles() / word) if "." in word else word for word in words]
        target = folder / f"{name}.pdf"
        main(["certify", *files, "--units", system, "--out", str(target), "--quiet"])
        found[name] = target.read_bytes()
    return found


@pytest.mark.parametrize("name", SAMPLES)
def test_pages_sheet_and_fill(written: dict[str, bytes], name: str) -> None:
    """US Letter is 8.5 by 11 in (612 by 792 pt); A4 210 by 297 mm (ISO 216). Text reaches over a third of each page."""
    pages = PdfReader(io.BytesIO(written[name])).pages
    _, count, system = SAMPLES[name]
    assert len(pages) == count
    wide, high = (612.0, 792.0) if system == "inch" else (595.3, 841.9)
    for page in each(pages):
        assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx((wide, high), abs=0.1)
        heights = [place for place, _ in lines(page)]
        assert high - min(heights) > high / 3.0


def lines(page: PageObject) -> list[tuple[float, float]]:
    """Height on the page and size of each piece of text between its head and its foot, in points."""
    found: list[tuple[float, float]] = []

    def seen(text: str, cm: list[float], tm: list[float], _font: object, size: float) -> None:
        place = tm[5] * cm[3] + cm[5]
        if text.strip() and FOOT_PT < place < float(page.mediabox.height) - HEAD_PT:
            found.append((place, size))

    page.extract_text(visitor_text=seen)
    return found


@pytest.mark.parametrize("name", ["four", "v8"])
def test_what_is_read_is_large_enough(written: dict[str, bytes], name: str) -> None:
    """The second page has no drawing, whose words are smaller; most of what it says is in 8 points or more."""
    sizes = [size for _, size in lines(PdfReader(io.BytesIO(written[name])).pages[1])]
    assert min(sizes) >= SMALLEST_PT
    assert sum(size >= 8.0 for size in sizes) > 0.8 * len(sizes)


def answers(paper: bytes) -> list[dict[str, object]]:
    """The carried results."""
    return [json.loads(data) for name, data in papers.carried_files(paper).items() if name.startswith("result")]


def test_every_verdict_that_is_not_accepted_has_its_sentence(written: dict[str, bytes]) -> None:
    """What stands in the sentence is the difference of the carried figures, printed to the same decimals."""
    text = " ".join(papers.page_texts(written["four"])[0].split())
    (result,) = answers(written["four"])
    rows = [Verdict.model_validate(row) for row in result["verdicts"]]  # type: ignore[union-attr]
    (short,) = [row for row in rows if row.characteristic == "max_lift" and row.decision == "reject"]
    assert short.measured is not None
    assert short.lower is not None
    assert (
        f"Exhaust lobe 3E: max lift is {short.lower - short.measured:.5f} mm too low: {short.measured:.5f} mm" in text
    )
    (near,) = [row for row in rows if row.decision == "undecided"]
    assert near.measured is not None
    assert near.lower is not None
    assert near.probability_conforming is not None
    assert f"{near.measured:.5f} mm stands {near.measured - near.lower:.5f} mm above the limit" in text
    assert f"{100.0 * near.probability_conforming:.1f} % sure to conform" in text
    assert "Do not fit this camshaft before this is put right" in text
    assert sum(text.count(f"lobe {row.item}:") for row in rows if row.decision != "accept") >= 4


@pytest.mark.parametrize(
    ("lower", "upper", "value", "told"),
    [
        (None, 10.0, 10.5, "0.50 mm too high"),
        (9.0, 10.0, 8.75, "0.25 mm too low"),
        (None, 10.0, 9.5, "0.50 mm below"),
        (9.0, None, 9.5, "0.50 mm above"),
    ],
)
def test_how_far_a_value_stands_from_its_limit(
    lower: float | None, upper: float | None, value: float, told: str
) -> None:
    verdict = Verdict(
        characteristic="max_lift",
        item="1I",
        measured=value,
        unit="mm",
        standard_uncertainty=0.1,
        lower=lower,
        upper=upper,
        probability_conforming=0.5,
        decision="undecided",
    )
    assert margin(verdict, 2, "metric") == told


def picture(folder: Path, name: str, form: str) -> Path:
    """A small picture of one colour."""
    path = folder / name
    Image.new("RGB", (64, 32), (20, 90, 150)).save(path, form)
    return path


def test_letterhead_customer_remarks_and_photographs(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    picture(tmp_path, "mark.png", "PNG")
    seat = picture(tmp_path, "seat.jpg", "JPEG")
    card = tmp_path / "shop.toml"
    card.write_text('name = "Quillmere Engine Works"\naddress = "Mill Lane 4\\nQuillmere"\nmark = "mark.png"\n')
    target = tmp_path / "c.pdf"
    said = ("--shop", str(card), "--customer", "E. Wend", "--job-number", "J-118", "--remarks", "Seen at the gate.")
    shown = ("--photograph", f"{seat}=seat of valve 2")
    study = str(sample_profiles() / "dial_gauge_study.csv")
    assert main(["certify", study, *said, *shown, "--out", str(target), "--quiet"]) == 0
    front = " ".join(papers.page_texts(target)[0].split())
    spoken = ("Quillmere Engine Works", "Mill Lane 4", "E. Wend", "J-118", "Seen at the gate.", "seat of valve 2")
    assert [words for words in spoken if words not in front] == []
    assert len(PdfReader(target).pages[0].images) == 2
    assert seat.read_bytes() in papers.carried_files(target).values()
    capsys.readouterr()
    assert main(["verify", str(target)]) == 0
    seat.write_bytes(b"no picture")
    assert main(["certify", study, *shown, "--out", str(target), "--quiet"]) == 3
    assert "seat.jpg" in capsys.readouterr().err


def test_the_full_paper_has_every_verdict(tmp_path: Path, written: dict[str, bytes]) -> None:
    target = tmp_path / "c.pdf"
    tray, spec = (str(sample_profiles() / f"springs_quillmere_{name}") for name in ("tray.csv", "spec.toml"))
    main(["certify", tray, "--spec", spec, "--full", "--out", str(target), "--quiet"])
    short, full = (" ".join(papers.page_texts(paper)) for paper in (written["tray"], target))
    assert "Every verdict" in full
    assert "Every verdict" not in short
    assert full.count("club build sheet 4.1") > 64 > short.count("club build sheet 4.1")
