"""The document, its edits and history, what is remembered and what is recovered: all without a toolkit."""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from invented_camshaft import write_spec, write_table
from something import each

from valvelab.errors import CannotEvaluate, Reason
from valvelab.workbench import bays, edits, recovery, settings
from valvelab.workbench.background import Question, answer
from valvelab.workbench.contents import read_content
from valvelab.workbench.document import Answer, BenchFile, Content, Document, Problem
from valvelab.workbench.history import LONGEST, History
from valvelab.workbench.lobes_bay import LobesState


def history(document: Document | None = None) -> tuple[History, list[tuple[Document, Document]]]:
    told: list[tuple[Document, Document]] = []
    return History(document or Document(), lambda old, new: told.append((old, new))), told


def read_all(document: Document) -> Document:
    for file in document.unread():
        document = edits.content_arrived(document, file, read_content(file))
    return document


def test_the_workbench_needs_no_toolkit() -> None:
    code = (
        "import sys, valvelab.workbench.bays as s, valvelab.workbench.recovery, valvelab.workbench.contents\n"
        "assert s.BAYS\n"
        "assert not [n for n in sys.modules if n.split('.')[0] in {'PySide6', 'pyqtgraph', 'numpy', 'scipy'}]"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


def test_an_edit_is_told_once_and_an_empty_edit_not_at_all() -> None:
    bench, told = history()
    bench.apply(edits.add_files(bench.document, ["/a.csv"]), "put files on the bench")
    bench.apply(edits.add_files(bench.document, ["/a.csv"]), "put files on the bench")
    assert [(len(old.files), len(new.files)) for old, new in told] == [(0, 1)]
    assert len(bench.past) == 1


def test_undo_and_redo_go_through_every_state() -> None:
    bench, _ = history()
    states = [bench.document]
    for number in range(4):
        bench.apply(edits.add_files(bench.document, [f"/{number}.csv"]), f"step {number}")
        states.append(bench.document)
    assert bench.undo_label == "step 3"
    for state in reversed(states[:-1]):
        bench.undo()
        assert bench.document == state
    bench.undo()
    assert bench.document == states[0]
    assert bench.redo_label == "step 0"
    for state in states[1:]:
        bench.redo()
        assert bench.document == state
    assert bench.redo_label is None


@given(st.lists(st.floats(0.05, 7.0), min_size=1, max_size=30))
def test_a_drag_is_one_step(values: list[float]) -> None:
    bench, _ = history()
    start = bench.document
    for value in values:
        bench.apply(edits.set_fields(bench.document, LobesState, checking_lift_mm=value), "move", gesture="drag")
    bench.end_gesture()
    assert len(bench.past) == 1
    bench.apply(edits.set_fields(bench.document, LobesState, checking_lift_mm=9.0), "move", gesture="drag")
    assert len(bench.past) == 2
    bench.undo()
    bench.undo()
    assert bench.document == start


def test_an_edit_after_undo_ends_the_way_forward() -> None:
    bench, _ = history()
    bench.apply(edits.add_files(bench.document, ["/a.csv"]), "a")
    bench.undo()
    bench.apply(edits.add_files(bench.document, ["/b.csv"]), "b")
    assert bench.redo_label is None
    assert [file.path for file in bench.document.files] == ["/b.csv"]


def test_undo_keeps_what_was_found_out() -> None:
    bench, _ = history()
    bench.apply(edits.add_files(bench.document, ["/a.csv"]), "a")
    content = Content("lift table", value=object())
    bench.follow(edits.content_arrived(bench.document, bench.document.files[0], content))
    bench.apply(edits.remove_file(bench.document, "/a.csv"), "remove a")
    bench.undo()
    assert bench.document.content(bench.document.files[0]) is content
    assert not bench.document.unread()


def test_old_states_share_their_files() -> None:
    bench, _ = history()
    bench.apply(edits.add_files(bench.document, ["/a.csv"]), "a")
    kept = bench.document.files[0]
    for number in range(LONGEST + 100):
        bench.apply(edits.set_fields(bench.document, LobesState, lobe=f"{number}I"), "choose")
    assert bench.document.files[0] is kept
    assert len(bench.past) == LONGEST


def test_a_document_cannot_be_changed() -> None:
    document = edits.set_fields(Document(), LobesState, lobe="1I")
    with pytest.raises(AttributeError):
        document.bay = "springs"  # type: ignore[misc]
    with pytest.raises(TypeError):
        document.states[LobesState] = LobesState()  # type: ignore[index]


def test_a_state_is_as_at_first_until_something_is_decided() -> None:
    assert Document().state(LobesState) == LobesState(checking_lift_mm=1.27)
    document = edits.set_fields(Document(), LobesState, checking_lift_mm=2.0)
    assert document.state(LobesState).checking_lift_mm == 2.0
    with pytest.raises(TypeError):
        edits.set_fields(Document(), LobesState, unheard=1)


def test_a_lift_table_and_a_spec_make_a_question(tmp_path: Path) -> None:
    table, spec = write_table(tmp_path / "shaft.csv"), write_spec(tmp_path)
    bay = bays.by_name("lobes")
    assert bay is not None
    document = replace(edits.add_files(Document(), [str(table)]), bay="lobes")
    assert bays.outstanding(document) is None, "nothing is asked before the files are read"
    alone = bays.outstanding(read_all(document))
    both = bays.outstanding(read_all(edits.add_files(document, [str(spec)])))
    assert alone is not None
    assert both is not None
    assert alone.key != both.key


def test_a_nominal_table_is_not_what_is_inspected(tmp_path: Path) -> None:
    from valvelab.workbench.lobes_bay import table_in_use

    table, spec = write_table(tmp_path / "shaft.csv"), write_spec(tmp_path)
    paths = [str(tmp_path / "nominal.csv"), str(table), str(spec)]
    document = read_all(edits.add_files(Document(), paths))
    used = table_in_use(document)
    assert used is not None
    assert used.path == str(table)


def test_reading_a_file_again_makes_a_new_question(tmp_path: Path) -> None:
    table = write_table(tmp_path / "shaft.csv")
    document = read_all(replace(edits.add_files(Document(), [str(table)]), bay="lobes"))
    first = bays.outstanding(document)
    assert first is not None
    document = edits.answer_arrived(document, "lobes", Answer(first.key, value="x"))
    assert bays.outstanding(document) is None
    again = bays.outstanding(read_all(edits.read_again(document)))
    assert again is not None
    assert again.key != first.key


def test_a_refusal_is_an_answer_and_a_mistake_is_not() -> None:
    def refuse() -> object:
        raise CannotEvaluate(Reason.TOO_FEW_READINGS, "too few readings")

    def mistake() -> object:
        raise ZeroDivisionError

    assert answer(Question(1, "work", refuse)).failure == "too few readings"
    with pytest.raises(ZeroDivisionError):
        answer(Question(1, "work", mistake))


@pytest.mark.parametrize(
    ("name", "text", "words"),
    [
        ("bad.csv", "angle [cam deg],1I [mm]\n0,0\n1,zz\n2,0\n", "line 3"),
        ("bad.toml", "[[limit]]\nof = 3\n", "of"),
        ("bad.csv", "", "found"),
        ("torn.toml", "title = ", ""),
    ],
)
def test_a_bad_file_is_a_problem_that_names_it(tmp_path: Path, name: str, text: str, words: str) -> None:
    (tmp_path / name).write_text(text, encoding="utf-8")
    content = read_content(BenchFile(str(tmp_path / name)))
    assert content.value is None
    assert content.problem is not None
    assert content.problem.about == name
    assert words in content.problem.text
    assert str(tmp_path) not in content.problem.text


def test_a_missing_file_is_a_problem(tmp_path: Path) -> None:
    content = read_content(BenchFile(str(tmp_path / "away.csv")))
    assert content.problem is not None
    document = edits.content_arrived(
        edits.add_files(Document(), [str(tmp_path / "away.csv")]), BenchFile(str(tmp_path / "away.csv")), content
    )
    assert document.problems() == (content.problem,)


def test_a_failed_inspection_is_a_problem() -> None:
    document = edits.answer_arrived(Document(bay="lobes"), "lobes", Answer(1, failure="no base circle"))
    assert document.problems() == (Problem("error", "lobes", "no base circle"),)


def test_a_file_without_names_asks_for_columns_and_takes_them(tmp_path: Path) -> None:
    bare = write_table(tmp_path / "bare.txt", ("1I", "1E"), names=False)
    content = read_content(BenchFile(str(bare)))
    assert content.problem is None
    assert content.preview is not None
    assert len(content.preview.rows[0]) == 3
    named = BenchFile(str(bare), "angle=0 [cam deg], 1I=1 [mm], 1E=2 [mm]", "lift table")
    table = read_content(named).value
    assert [trace.name for trace in table.traces] == ["1I", "1E"]  # type: ignore[attr-defined]


def test_column_assignments_are_remembered_by_shape(tmp_path: Path) -> None:
    kept = settings.remember_columns(settings.Settings(), "shape", "lift table", "angle=0, 1I=1 [in]")
    settings.save(settings.Settings(), kept, tmp_path)
    found = settings.load(tmp_path)
    assert settings.remembered_columns(found, "shape") == ("lift table", "angle=0, 1I=1 [in]")
    assert settings.remembered_columns(found, "other") is None
    for number in range(300):
        found = settings.remember_columns(found, f"{number}", "lift table", "angle=0")
    assert len(found.columns) == 200
    assert settings.remembered_columns(found, "299") is not None


@pytest.mark.parametrize(
    "text", ["", "{", "[]", '{"version": 99, "scheme": "dark"}', '{"version": 1, "scheme": 3, "columns": [1]}']
)
def test_settings_that_cannot_be_read_are_the_defaults(tmp_path: Path, text: str) -> None:
    (tmp_path / "settings.json").write_text(text, encoding="utf-8")
    assert settings.load(tmp_path) == settings.Settings()


def test_settings_keep_what_is_sound(tmp_path: Path) -> None:
    found = {"version": 1, "scheme": "dark", "columns": {"a": "lift table: angle=0", "b": 3}, "unheard": 1}
    (tmp_path / "settings.json").write_text(json.dumps(found), encoding="utf-8")
    assert settings.load(tmp_path) == settings.Settings(scheme="dark", columns={"a": "lift table: angle=0"})


def test_recovery_brings_back_the_decisions(tmp_path: Path) -> None:
    document = edits.add_files(Document(bay="lobes", units="inch"), ["/a.csv", "/b.toml"])
    document = edits.assign_columns(document, "/a.csv", "lift table", "angle=0, 1I=1 [in]")
    document = edits.set_fields(document, LobesState, lobe="2E", checking_lift_mm=0.508)
    document = edits.content_arrived(document, document.files[0], Content("lift table", value=object()))
    own = recovery.OwnFile(tmp_path)
    own.save(document)
    own.leave()
    left, said = recovery.claim(tmp_path)
    assert left is not None
    assert left.document == replace(document, contents=Document().contents)
    assert said == ()
    left.remove()
    assert recovery.claim(tmp_path) == (None, ())
    assert list(tmp_path.iterdir()) == []


def test_every_kind_of_file_is_read_and_taken_by_a_bay() -> None:
    from valvelab.files.kinds import READERS, read_function

    assert len({read_function(reader.name) for reader in each(READERS)}) == len(READERS)
    with pytest.raises(KeyError):
        read_function("napkin")
    assert [reader.name for reader in READERS if reader not in bays.kinds()] == []
    for bay in each(bays.BAYS):
        assert set(bay.takes) <= {reader.name for reader in READERS}


def test_every_bay_is_behind_the_door() -> None:
    for bay in each(bays.BAYS):
        assert bays.work_of(bay.name).state.bay == bay.name
    with pytest.raises(KeyError):
        bays.work_of("napkin")


def test_a_folder_or_a_job_file_brings_the_files_it_names(tmp_path: Path) -> None:
    from valvelab.workbench.dropped import opened

    for name in ("a.csv", "b.toml", "train.toml", "c.pdf"):
        (tmp_path / name).write_text("x", encoding="utf-8")
    plain = [Path(path).name for path in opened([str(tmp_path)])]
    assert plain == ["a.csv", "b.toml", "train.toml"]
    job = tmp_path / "job.toml"
    job.write_text('[[part]]\ninspect = "motion"\nfile = "a.csv"\noptions = ["--train=train.toml"]\n', encoding="utf-8")
    assert [Path(path).name for path in opened([str(tmp_path)])] == ["a.csv", "train.toml"]
    assert [Path(path).name for path in opened([str(job)])] == ["a.csv", "train.toml"]
    job.write_text("[[part]]\nnonsense = 1\n", encoding="utf-8")
    assert [Path(path).name for path in opened([str(job)])] == ["job.toml"]
