"""What a job's papers say besides what was inspected: stated in the window, kept in the job, under the shop's head."""

from __future__ import annotations

from pathlib import Path

import papers
import pytest
from PIL import Image
from PySide6.QtCore import QMimeData, QPointF, Qt, QUrl
from PySide6.QtGui import QDropEvent
from something import each

from valvelab.cli.main import main
from valvelab.places import sample_profiles
from valvelab.records.particulars import LONGEST_LINE, LONGEST_REMARKS, MOST_PHOTOGRAPHS, ShopCard
from valvelab.window.main_window import MainWindow
from valvelab.window.paper_details import PaperDetails
from valvelab.window.shop_details import ShopDetails
from valvelab.workbench.defaults import card_in, defaults_in, keep_card
from valvelab.workbench.records import inspected

STUDY = sample_profiles() / "dial_gauge_study.csv"


def picture(folder: Path, name: str, size: tuple[int, int] = (64, 32)) -> Path:
    """A small picture of one colour."""
    path = folder / name
    Image.new("RGB", size, (20, 90, 150)).save(path)
    return path


def asked(window: MainWindow) -> PaperDetails:
    """The dialog, open over the window."""
    window.do("details")
    found = window.findChildren(PaperDetails)[-1]
    assert found.isVisible()
    return found


@pytest.fixture
def stated(window: MainWindow, tmp_path: Path) -> MainWindow:
    """A gauge study whose papers are for somebody, with a photograph and the shop's head."""
    window.bench.add_files([str(STUDY)])
    keep_card(window.bench.place, ShopCard(name="Quillmere Engine Works", mark=picture(tmp_path, "mark.png")))
    dialog = asked(window)
    for name, text in (("title", "Spring build"), ("customer", "E. Wend"), ("job_number", "J-118")):
        dialog.lines[name].setText(text)
    dialog.remarks.setPlainText("Seat of valve 2 was cut twice.")
    dialog.add_photographs([str(picture(tmp_path, "seat.jpg"))])
    caption = dialog.photographs.item(0, 1)
    assert caption is not None
    caption.setText("seat of valve 2")
    dialog.full.setChecked(True)
    dialog.accept()
    return window


SPOKEN = (
    "Quillmere Engine Works", "Spring build", "E. Wend", "J-118", "Seat of valve 2 was cut twice", "seat of valve 2",
)  # fmt: skip


def test_the_paper_says_what_was_stated(stated: MainWindow, tmp_path: Path) -> None:
    target = tmp_path / "c.pdf"
    stated.save_certificate(target)
    front, *others = papers.page_texts(target)
    assert [words for words in SPOKEN if words not in " ".join(front.split())] == []
    assert any("Every verdict" in page or "Readings" in page for page in others)
    assert main(["verify", str(target), "--quiet"]) == 0
    carried = papers.carried_files(target).values()
    assert (tmp_path / "seat.jpg").read_bytes() in carried
    assert (tmp_path / "mark.png").read_bytes() in carried


def test_it_comes_back_with_the_job_and_certify_says_it(
    stated: MainWindow, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    job, target = tmp_path / "spring build.valvejob", tmp_path / "c.pdf"
    stated.job.save_in(job)
    assert not stated.job.unsaved
    before = stated.bench.document.particulars
    (tmp_path / "seat.jpg").unlink()
    stated.do("new_job")
    assert stated.bench.document.particulars is None
    stated.job.open(job)
    after = stated.bench.document.particulars
    assert before is not None
    assert after is not None
    assert after.photographs[0].file.is_file()
    assert after.with_files(lambda path: Path(path.name)) == before.with_files(lambda path: Path(path.name))
    monkeypatch.setenv("VALVELAB_SETTINGS", str(stated.bench.place))
    assert main(["certify", str(job), "--out", str(target)]) == 0
    assert "shop's card" in capsys.readouterr().err
    front = " ".join(papers.page_texts(target)[0].split())
    assert [words for words in SPOKEN if words not in front] == []
    main(["certify", str(job), "--out", str(target), "--no-defaults"])
    assert "shop's card" not in capsys.readouterr().err
    assert "Quillmere Engine Works" not in papers.page_texts(target)[0]


def test_it_is_an_edit_and_outlives_an_unclean_end(stated: MainWindow) -> None:
    from valvelab.workbench.saved_bench import saved_document, saved_text

    document = stated.bench.document
    assert saved_document(saved_text(document).encode()).particulars == document.particulars
    assert stated.job.unsaved
    stated.do("undo")
    assert stated.bench.document.particulars is None
    stated.do("redo")
    assert stated.bench.document.particulars == document.particulars
    found = inspected(document, "spring build")
    assert {entry.record.customer for entry in found.entries} == {"E. Wend"}


def test_what_paper_cannot_bear_is_said_and_nothing_is_lost(window: MainWindow, tmp_path: Path) -> None:
    dialog = asked(window)
    dialog.lines["customer"].setText("E" * (LONGEST_LINE + 1))
    dialog.accept()
    assert dialog.isVisible()
    assert f"Customer: found '{'E' * 40}', expected one line of 1 to {LONGEST_LINE} signs" in dialog.sentence.text()
    dialog.lines["customer"].setText("E. Wend")
    dialog.remarks.setPlainText("x" * (LONGEST_REMARKS + 1))
    dialog.accept()
    assert dialog.sentence.text().startswith("✗ Remarks: found ")
    dialog.remarks.setPlainText("")
    dialog.add_photographs([str(STUDY), str(tmp_path / "gone.jpg")])
    assert "dial_gauge_study.csv: found no picture that can be read" in dialog.sentence.text()
    assert "gone.jpg" in dialog.sentence.text()
    dialog.add_photographs([str(picture(tmp_path, "seat.png"))] * (MOST_PHOTOGRAPHS + 1))
    assert dialog.photographs.rowCount() == MOST_PHOTOGRAPHS
    assert f"at most {MOST_PHOTOGRAPHS} photographs" in dialog.sentence.text()
    dialog.photographs.selectRow(0)
    dialog.remove_chosen()
    assert dialog.photographs.rowCount() == MOST_PHOTOGRAPHS - 1
    dialog.reject()
    assert window.bench.document.particulars is None


def test_pictures_can_be_dropped(window: MainWindow, tmp_path: Path) -> None:
    dialog, data = asked(window), QMimeData()
    data.setUrls([QUrl.fromLocalFile(str(picture(tmp_path, "seat.png")))])
    buttons, keys = Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier
    dialog.dropEvent(QDropEvent(QPointF(), Qt.DropAction.CopyAction, data, buttons, keys))
    assert dialog.photographs.rowCount() == 1
    dialog.reject()


def test_a_photograph_that_is_gone_is_refused_by_name_and_kept_in_the_dialog(
    stated: MainWindow, tmp_path: Path
) -> None:
    (tmp_path / "seat.jpg").unlink()
    target, said = tmp_path / "c.pdf", []
    stated.bench.done.connect(lambda problem: said.append(problem.text))
    stated.save_certificate(target)
    assert not target.exists()
    assert any("seat.jpg" in text for text in said)
    dialog = asked(stated)
    assert dialog.photographs.rowCount() == 1
    assert "seat.jpg" in dialog.sentence.text()
    dialog.reject()


def test_the_shop_is_stated_once_for_all_jobs(window: MainWindow, tmp_path: Path) -> None:
    dialog = asked(window)
    assert dialog.head.currentText() == "None: no shop is stated yet"
    dialog.edit_shop()
    shop = dialog.findChildren(ShopDetails)[-1]
    shop.address.setPlainText("Mill Lane 4\nQuillmere")
    shop.accept()
    assert shop.isVisible()
    assert shop.sentence.text().startswith("✗ Name: found nothing, expected a text")
    shop.lines["name"].setText("Quillmere Engine Works")
    shop.use_mark(STUDY)
    assert "no picture that can be read" in shop.sentence.text()
    mark = picture(tmp_path, "mark.png")
    shop.use_mark(mark)
    shop.accept()
    assert dialog.head.currentText() == "Quillmere Engine Works (your shop)"
    dialog.reject()
    kept = card_in(defaults_in(window.bench.place).shop)
    assert kept is not None
    assert (kept.name, kept.address) == ("Quillmere Engine Works", "Mill Lane 4\nQuillmere")
    assert kept.mark is not None
    assert kept.mark != mark  # a copy, so that the picture may go
    assert kept.mark.read_bytes() == mark.read_bytes()
    keep_card(window.bench.place, kept)
    assert kept.mark.read_bytes() == mark.read_bytes()
    keep_card(window.bench.place, None)
    assert defaults_in(window.bench.place).shop is None


def test_a_job_may_bring_a_card_of_its_own(window: MainWindow, tmp_path: Path) -> None:
    keep_card(window.bench.place, ShopCard(name="Quillmere Engine Works"))
    picture(tmp_path, "club.png")
    card, torn = tmp_path / "club.toml", tmp_path / "torn.toml"
    card.write_text('name = "Quillmere Hill-climb Club"\nmark = "club.png"\n', encoding="utf-8")
    torn.write_text("name = 3\n", encoding="utf-8")
    window.bench.add_files([str(STUDY)])
    dialog = asked(window)
    dialog.use_card(str(torn))
    assert "torn.toml" in dialog.sentence.text()
    dialog.use_card(str(card))
    assert dialog.head.currentText() == "Quillmere Hill-climb Club (this job)"
    dialog.accept()
    window.job.save_in(tmp_path / "j.valvejob")
    card.unlink()
    window.job.open(tmp_path / "j.valvejob")
    window.save_certificate(tmp_path / "c.pdf")
    front = papers.page_texts(tmp_path / "c.pdf")[0]
    assert "Quillmere Hill-climb Club" in front
    assert "Quillmere Engine Works" not in front


def test_defaults_name_the_shop_s_card(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "settings"
    folder.mkdir()
    monkeypatch.setenv("VALVELAB_SETTINGS", str(folder))
    picture(tmp_path, "mark.png")
    (tmp_path / "works.toml").write_text('name = "Quillmere Engine Works"\nmark = "mark.png"\n', encoding="utf-8")
    (folder / "defaults.toml").write_text('shop = "../works.toml"\n', encoding="utf-8")
    for number, words in enumerate(each([["certify", str(STUDY)], ["gauge", str(STUDY)]])):
        target = tmp_path / f"{number}.pdf"
        assert main([*words, "--out", str(target)]) == 0
        assert f"from {folder / 'defaults.toml'} (--no-defaults leaves them out)" in capsys.readouterr().err
        assert "Quillmere Engine Works" in papers.page_texts(target)[0]
    (tmp_path / "other.toml").write_text('name = "Another"\n', encoding="utf-8")
    main(["certify", str(STUDY), "--shop", str(tmp_path / "other.toml"), "--out", str(tmp_path / "2.pdf")])
    assert "defaults:" not in capsys.readouterr().err
    assert "Another" in papers.page_texts(tmp_path / "2.pdf")[0]
    (folder / "defaults.toml").write_text("shop = 3\n", encoding="utf-8")
    assert main(["certify", str(STUDY), "--out", str(tmp_path / "3.pdf")]) == 3
    assert "shop: found 3, expected a file's name" in capsys.readouterr().err
    (folder / "defaults.toml").unlink()
    (tmp_path / "other.toml").write_text(f'name = "Another"\nmark = "{tmp_path}/mark.png"\n', encoding="utf-8")
    assert main(["certify", str(STUDY), "--shop", str(tmp_path / "other.toml"), "--out", str(tmp_path / "3.pdf")]) == 3
    assert "mark: found" in capsys.readouterr().err


def test_a_card_that_the_defaults_name_is_not_written_over(window: MainWindow, tmp_path: Path) -> None:
    place = window.bench.place
    (tmp_path / "works.toml").write_text('name = "Quillmere Engine Works"\n', encoding="utf-8")
    place.mkdir(exist_ok=True)
    (place / "defaults.toml").write_text(f'shop = "{tmp_path}/works.toml"\n', encoding="utf-8")
    shop = ShopDetails(place, "", window)
    assert shop.lines["name"].text() == "Quillmere Engine Works"
    assert not shop.lines["name"].isEnabled()
    assert "works.toml" in shop.sentence.text()


def test_the_part_is_named_where_its_readings_say_none(window: MainWindow, tmp_path: Path) -> None:
    rows = (sample_profiles() / "quillmere_four_camshaft.csv").read_text(encoding="utf-8").splitlines()
    plain = [row for row in rows if not row.startswith(("# part", "# serial"))]
    (tmp_path / "plain.csv").write_text("\n".join(plain) + "\n", encoding="utf-8")
    window.bench.add_files([str(tmp_path / "plain.csv")])
    dialog = asked(window)
    assert [(field.text(), field.isReadOnly()) for field in dialog.names.values()] == [("", False), ("", False)]
    dialog.names["part"].setText("Quillmere rally four")
    dialog.names["serial"].setText("QR-5")
    dialog.accept()
    window.save_certificate(tmp_path / "c.pdf")
    front = " ".join(papers.page_texts(tmp_path / "c.pdf")[0].split())
    assert "part Quillmere rally four" in front
    assert "serial number QR-5" in front
    assert main(["verify", str(tmp_path / "c.pdf"), "--quiet"]) == 0
    again = asked(window)
    assert [field.text() for field in again.names.values()] == ["Quillmere rally four", "QR-5"]
    again.names["serial"].clear()
    again.accept()
    said = window.bench.document.particulars
    assert said is not None
    assert (said.whose_is("lobes").part, said.whose_is("lobes").serial) == ("Quillmere rally four", None)
    window.do("undo")
    said = window.bench.document.particulars
    assert said is not None
    assert said.whose_is("lobes").serial == "QR-5"


def test_the_name_that_readings_say_counts(window: MainWindow) -> None:
    window.bench.add_files([str(sample_profiles() / "quillmere_four_camshaft.csv")])
    dialog = asked(window)
    assert [(field.text(), field.isReadOnly()) for field in dialog.names.values()] == [
        ("Quillmere club four camshaft", True),
        ("Q4-017", True),
    ]
    assert "quillmere_four_camshaft.csv" in dialog.names["part"].toolTip()
    dialog.accept()
    said = window.bench.document.particulars
    assert said is None or not said.whose


@pytest.mark.parametrize(
    ("file", "names"),
    [
        ("quillmere_four_degree_wheel.toml", ("Quillmere club four camshaft", "Q4-017")),
        ("club_four_journals.csv", ("Quillmere club four camshaft", "Q4-017")),
        ("springs_quillmere_tray.csv", ("Quillmere 1.6 pushrod four, valve springs, tray of 64", "QF-S-64")),
        ("dial_gauge_study.csv", ()),
        ("quillmere_spring_meeting.toml", ()),
    ],
)
def test_every_paper_that_names_its_part_is_asked_for_it(window: MainWindow, file: str, names: tuple[str, ...]) -> None:
    window.bench.add_files([str(sample_profiles() / file)])
    assert tuple(field.text() for field in asked(window).names.values()) == names
