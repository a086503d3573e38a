"""Readings corrected by their instrument's card: on the command line, in a job, on paper, on the window's bench."""

from __future__ import annotations

import json
from pathlib import Path
from shutil import copy
from typing import Any

import numpy as np
import pytest
from papers import page_texts
from something import each

from valvelab.cli.main import main
from valvelab.conformity.instrument import corrected
from valvelab.files.contents import JOB_ENDING, read_contents
from valvelab.files.corrected import corrected_lift_table, corrected_springs
from valvelab.files.instrument_card import read_instrument_card
from valvelab.files.lift_table import read_lift_table
from valvelab.files.spring_readings import read_spring_readings
from valvelab.job.certificates import write
from valvelab.job.parts import inspect_job, located
from valvelab.job.verify import verify_bytes
from valvelab.places import sample_profiles
from valvelab.records.job import Job
from valvelab.records.parts.lobes import LobesPart
from valvelab.records.parts.motion import MotionPart
from valvelab.records.parts.springs import SpringsPart
from valvelab.workbench import bays, edits, jobs, lobes_bay, springs_bay
from valvelab.workbench.card_choice import corrected_by
from valvelab.workbench.contents import read_content
from valvelab.workbench.document import BenchFile, Document

SAMPLES = sample_profiles()
DIAL, TESTER = SAMPLES / "quillmere_dial_card.toml", SAMPLES / "quillmere_spring_tester_card.toml"
LIFTS, TRAY = SAMPLES / "quillmere_four_camshaft.csv", SAMPLES / "springs_quillmere_tray.csv"
SPEC = SAMPLES / "springs_quillmere_spec.toml"

FEW = """# instrument: Lever Tester  and height stop
# date: 2026-05-02
# installed height: 38 mm
# valve lift: 8 mm
spring,height [mm],force [N]
"""
FEW += "".join(f"Q{k},{height},{(66 - height) * 12 + k}\n" for k in (1, 2) for height in (40, 38, 36, 34, 32, 30))


@pytest.fixture
def few(tmp_path: Path) -> Path:
    path = tmp_path / "few.csv"
    path.write_text(FEW, encoding="utf-8")
    return path


def asked(capsys: pytest.CaptureFixture[str], *words: object) -> dict[str, Any]:
    assert main([*map(str, words), "--json"]) in {0, 1, 4}
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


def notes_of(result: dict[str, Any], about: str = "instrument") -> list[tuple[str, str]]:
    return [(note["level"], note["text"]) for note in result["notes"] if note["about"] == about]


def test_forces_are_corrected_before_anything_is_computed(few: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plain, corrected_ = (asked(capsys, "springs", few, *words) for words in ((), ("--instrument", TESTER)))
    card = read_instrument_card(TESTER)[0].calibration
    for before, after in zip(each(plain["springs"]), corrected_["springs"], strict=True):
        for key in ("seat_force_n", "open_force_n"):
            raw = before[key]
            assert after[key] == pytest.approx(raw + float(card.correction(raw)), abs=1e-6)
            stated = float(card.calibration_uncertainty(raw))
            assert after["uncertainty"][key] >= stated
            assert after["uncertainty"][key] == pytest.approx(
                np.hypot(stated, before["uncertainty"][key]), rel=0.2
            )  # beside the scatter, which the division of the card widens
    most = max(abs(float(card.correction((66 - height) * 12 + k))) for k in (1, 2) for height in range(30, 41, 2))
    assert notes_of(corrected_) == [("info", f"corrected by card lever tester and height stop, at most {most:.3g} N")]
    assert {source["file"] for source in corrected_["source"]} == {str(few), str(TESTER)}


def test_what_is_asked_of_springs_elsewhere_is_asked_of_corrected_ones(
    few: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    seat = asked(capsys, "springs", few, "--instrument", TESTER)["springs"][0]["seat_force_n"]
    heights = tmp_path / "heights.csv"
    heights.write_text("position,height [mm]\n1I,38\n1E,38\n", encoding="utf-8")
    words = ("shims", few, "--heights", heights, "--fix", "1I=Q1", "--instrument", TESTER)
    planned = {row["spring"]: row["seat_force_n"] for row in asked(capsys, *words)["positions"]}
    assert planned["Q1"] == pytest.approx(seat)
    words = ("sets", few, "--size", "2", "--within", "seat_force=9 N", "--set", "Q1,Q2", "--instrument", TESTER)
    assert str(TESTER) in {source["file"] for source in asked(capsys, *words)["source"]}


def test_heights_have_a_card_of_their_own(few: Path, tmp_path: Path) -> None:
    stop = tmp_path / "stop.toml"
    points = "".join(f"[[point]]\ntrue = {h}\nreadings = [{h - 0.05}]\n" for h in (20, 30, 45))
    stop.write_text(f'name = "stop"\nunit = "mm"\nresolution = 0.01\n{points}', encoding="utf-8")
    table = read_spring_readings(few)
    both, sources = corrected_springs(table, [TESTER, stop])
    assert [source.file for source in sources] == [str(TESTER), str(stop)]
    raw, new = (one.springs[0].elements[0].compress for one in (table, both))
    assert new.height_mm == pytest.approx(raw.height_mm + 0.05)
    assert (new.force_n != raw.force_n).all()
    assert both.height_uncertainty_mm == pytest.approx(0.01 / np.sqrt(12.0), rel=0.01)
    assert "; stop" in (both.calibration or "")


def test_lifts_are_corrected_and_their_uncertainty_is_a_differences(few: Path) -> None:
    table = read_lift_table(LIFTS)
    found, _ = corrected_lift_table(table, DIAL)
    card = read_instrument_card(DIAL)[0].calibration
    for raw, new in zip(each(table.traces), found.traces, strict=True):
        assert new.lift_mm == pytest.approx(corrected(card, raw.lift_mm).values)
    texts = {note.text: note.level for note in found.notes}
    assert texts["corrected by card dial 3, at most 4.3 µm"] == "info"
    named = "the readings name the instrument 'bench on centres, flat probe', the card is that of 'dial 3'"
    assert texts[named] == "warning"
    assert corrected_lift_table(table, None) == (table, ())


def test_a_card_that_only_states_its_uncertainty_corrects_nothing(tmp_path: Path) -> None:
    path = tmp_path / "card.toml"
    path.write_text('name = "dial 3"\nunit = "in"\nuncertainty = 0.0002\n', encoding="utf-8")
    table = read_lift_table(LIFTS)
    found, _ = corrected_lift_table(table, path)
    assert found.probe_uncertainty_mm == pytest.approx(0.00508)
    assert [new.lift_mm.tolist() for new in found.traces] == [raw.lift_mm.tolist() for raw in table.traces]


def test_readings_outside_stay_as_they_are_and_are_wide(tmp_path: Path) -> None:
    short = tmp_path / "short.toml"
    short.write_text(DIAL.read_text(encoding="utf-8").split("[[point]]\ntrue = 7.0")[0], encoding="utf-8")
    table = read_lift_table(LIFTS)
    found, _ = corrected_lift_table(table, short)
    raw, new = table.traces[0].lift_mm, found.traces[0].lift_mm
    assert (new[raw > 6.1] == raw[raw > 6.1]).all()
    assert (new[(raw > 1.0) & (raw < 5.0)] != raw[(raw > 1.0) & (raw < 5.0)]).all()
    (note,) = [note for note in found.notes if "lie outside" in note.text]
    assert note.level == "warning"
    inside = corrected_lift_table(table, DIAL)[0].probe_uncertainty_mm
    assert (found.probe_uncertainty_mm or 0.0) > 2.0 * (inside or 0.0)


def test_a_card_that_does_not_fit_is_refused(few: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["lobes", str(LIFTS), "--instrument", str(TESTER)]) == 3
    refused = capsys.readouterr().err
    assert "unit: found 'N', a card of forces, expected one of lengths for" in refused
    assert main(["springs", str(few), "--instrument", str(TESTER), "--instrument", str(TESTER)]) == 3
    assert "a second card of forces" in capsys.readouterr().err
    assert main(["lobes", str(LIFTS), "--instrument", "nowhere.toml"]) == 3
    assert "nowhere.toml" in capsys.readouterr().err


def test_a_card_past_its_date_is_a_warning(few: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    late = tmp_path / "late.toml"
    late.write_text(TESTER.read_text(encoding="utf-8").replace("due = 2027", "due = 2026"), encoding="utf-8")
    late.write_text(late.read_text(encoding="utf-8").replace("2026-01-15\ndue", "2025-01-15\ndue"), encoding="utf-8")
    found = asked(capsys, "springs", few, "--instrument", late)
    text = "the calibration of lever tester and height stop was due on 2026-01-15, the readings are of 2026-05-02"
    assert ("warning", text) in notes_of(found)


@pytest.fixture(scope="module")
def paper(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, bytes]:
    """A certificate of springs by their tester's card, of another folder's files."""
    folder = tmp_path_factory.mktemp("job")
    copy(TESTER, folder / "card.toml")
    (folder / "few.csv").write_text(FEW, encoding="utf-8")
    job = Job.of(SpringsPart(file=Path("few.csv"), instrument=(Path("card.toml"),)), units="metric", made="2026-05-03")
    write(located(job, folder), folder / "paper.pdf")
    return folder, (folder / "paper.pdf").read_bytes()


def test_paper_tells_the_instrument_and_verifies(paper: tuple[Path, bytes]) -> None:
    folder, content = paper
    page = " ".join(" ".join(page_texts(folder / "paper.pdf")).split())
    told = "lever tester and height stop, no. QT-1, calibrated 2026-01-15, due 2027-01-15, standards weights of the"
    assert told in page
    assert verify_bytes(content, "paper.pdf").agrees


def test_a_job_names_cards_and_inspects_by_them(tmp_path: Path) -> None:
    for file in (LIFTS, DIAL, TESTER):
        copy(file, tmp_path / file.name)
    (tmp_path / "few.csv").write_text(FEW, encoding="utf-8")
    text = f'[[part]]\ninspect = "lobes"\nfile = "{LIFTS.name}"\ninstrument = "{DIAL.name}"\n'
    text += f'[[part]]\ninspect = "springs"\nfile = "few.csv"\ninstrument = ["{TESTER.name}"]\n'
    (tmp_path / "job.toml").write_text(text, encoding="utf-8")
    from valvelab.job.job_file import read_job

    job, folder = read_job(tmp_path / "job.toml")
    done = inspect_job(located(job, folder))
    assert set(done.inputs) == {LIFTS.name, DIAL.name, TESTER.name, "few.csv"}
    assert all(any("corrected by card" in note.text for note in part.result.notes) for part in each(done.parts))


# The bench


def bench(*paths: Path) -> Document:
    document = edits.add_files(Document(), [str(path) for path in paths])
    for file in document.files:
        document = edits.content_arrived(document, file, read_content(file))
    return document


def result_of(document: Document, bay: str) -> Any:
    work = bays.work_of(bay)
    question = work.question(document)
    assert question is not None
    return work.result(question.work())


def test_the_bench_takes_the_card_that_the_readings_name(few: Path) -> None:
    document = bench(few, DIAL, TESTER)
    assert [file.name for file in springs_bay.cards_in_use(document)] == [TESTER.name]
    result = result_of(document, "springs")
    assert any("corrected by card lever tester" in note.text for note in result.notes)
    (part,) = springs_bay.parts(document)
    assert isinstance(part, SpringsPart)
    assert part.instrument == (TESTER,)
    assert str(TESTER) in {file.path for file in springs_bay.uses(document)}
    told = corrected_by(document, *springs_bay.cards_in_use(document))
    assert told == "; by the card of lever tester and height stop"
    assert corrected_by(document, None) == ""


def test_another_card_is_used_once_it_is_chosen(tmp_path: Path) -> None:
    train = SAMPLES / "quillmere_four_train.toml"
    document = bench(LIFTS, DIAL, train)
    assert lobes_bay.card_in_use(document) is None  # it names another instrument
    chosen = edits.use_file(document, str(DIAL))
    assert lobes_bay.card_in_use(chosen) == BenchFile(str(DIAL))
    (part,) = lobes_bay.parts(chosen)
    assert isinstance(part, LobesPart)
    assert part.instrument == DIAL
    (moved,) = bays.work_of("motion").parts(chosen)
    assert isinstance(moved, MotionPart)
    assert moved.instrument == DIAL
    plain, used = (bays.work_of("lobes").question(one) for one in (document, chosen))
    assert plain is not None
    assert used is not None
    assert plain.key != used.key
    kept = tmp_path / f"bench{JOB_ENDING}"
    kept.write_bytes(jobs.packed(chosen, kept.name))
    again = jobs.opened(read_contents(kept), tmp_path)
    for file in again.files:
        again = edits.content_arrived(again, file, read_content(file))
    card = lobes_bay.card_in_use(again)
    assert card is not None
    assert card.name == DIAL.name
