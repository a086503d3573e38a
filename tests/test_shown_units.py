"""Remarks, headlines, doubts and refusals speak in the units that are shown; records stay canonical."""

from __future__ import annotations

import ast
import json
import re
from collections.abc import Iterator
from pathlib import Path

import make_looks
import pytest
from papers import carried_files, page_texts
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication
from shown import texts_of
from something import each
from test_spoken_scenes import TYPED, scene
from waiting import at_rest

import valvelab
from valvelab.cli.main import main
from valvelab.errors import CannotEvaluate
from valvelab.language import say, show_measures
from valvelab.lobe.presence import refuse_noise
from valvelab.phrase import Phrase, listed
from valvelab.phrase_units import in_units, show_in
from valvelab.places import sample_profiles
from valvelab.records.said import said_in
from valvelab.records.springs_result import ExcludedSpring
from valvelab.window.main_window import MainWindow
from valvelab.workbench import bays

METRIC = re.compile(r"\d\)? ?(?:mm|µm|um|N|N/mm|MPa|kg)(?![\w/²³·])|\d mm/")
"""A figure in a unit that inches take the place of."""
IN_A_TEMPLATE = re.compile(r"\} ?(?:mm|µm|N|N/mm|MPa|kg)(?![\w/²³·])")


@pytest.fixture(autouse=True)
def canonical() -> Iterator[None]:
    """Whatever a test shows, the next one begins with canonical measures."""
    yield
    show_measures(None)


@pytest.mark.parametrize(
    ("phrase", "shown"),
    [
        (Phrase("stands off by {off} mm at {at} cam deg", off="0.0858", at="204"), "0.00338 in at 204 cam deg"),
        (Phrase("from {low} to {high} mm", low="28", high="38.5"), "from 1.102 to 1.52 in"),
        (Phrase("{count} × {cutoff} mm", count="5", cutoff="0.8"), "5 × 0.0315 in"),
        (Phrase("{size} µm in zero", size="12"), "472 µin in zero"),
        (Phrase("falls to {force} N", force="−1,200.5"), "falls to −269.88 lbf"),
        (Phrase("a stiffness of {rate} N/mm", rate="35"), "199.9 lbf/in"),
        (Phrase("{size} mm/cam deg²", size="0.0005"), "0.0000197 in/cam deg²"),
        (Phrase("shims {sizes}", sizes=listed(["0.5 mm", "1.27 mm"], " + ")), "shims 0.0197 in + 0.050 in"),
        (Phrase("{what} is open", what=Phrase("1I at {at} mm", at="1.27")), "1I at 0.050 in is open"),
        (Phrase("about 1.5 mm (0.060 in) of margin"), "about 0.060 in of margin"),
        (Phrase("{inches} in ({size})", inches="0.001", size=Phrase("{mm} mm", mm="0.0254")), "0.001 in"),
        (Phrase("{name} was read", name="40 mm"), "1.575 in was read"),
        (Phrase("{off} mm", off="0"), "0 in"),
        (Phrase("{count} rows of {file}", count=3, file="a 5 mm.csv"), "3 rows of a 5 mm.csv"),
        (Phrase("{n} mm long", n="unknown"), "unknown mm long"),
    ],
)
def test_a_phrase_in_inches(phrase: Phrase, shown: str) -> None:
    told = in_units(phrase, "inch")
    assert shown in told
    assert in_units(phrase, "metric") == phrase
    show_in("inch")
    assert say(phrase) == told
    show_in("metric")
    assert say(phrase) == phrase


def test_a_phrase_in_inches_and_german() -> None:
    from valvelab.window import languages

    languages.speak("de")
    try:
        show_in("inch")
        told = say(Phrase("no crossings at {lift} mm", lift="1.27"))
    finally:
        languages.speak("en")
    assert "0,050 in" in told
    assert "crossings" not in told


def test_a_refusal_speaks_of_what_is_shown() -> None:
    import numpy as np

    show_in("inch")
    with pytest.raises(CannotEvaluate) as refused:
        refuse_noise(("1I",), np.array([0.0254]), np.array([0.0127]))
    assert "a lift of 0.001 in in readings that scatter by 0.0005 in" in say(str(refused.value))


@pytest.mark.parametrize("name", make_looks.SCENES)
def test_nothing_is_metric_where_inches_are_shown(app: QApplication, tmp_path: Path, name: str) -> None:
    with scene(name, "en", tmp_path) as window:
        if window.bench.document.units == "metric":
            window.bench.toggle_units()
        at_rest(window.bench)
        QTest.qWait(20)
        found = texts_of(window)
        remarks = window.notes.model()
        for row in range(remarks.rowCount()):
            for column in range(remarks.columnCount()):
                for role in (Qt.ItemDataRole.DisplayRole, Qt.ItemDataRole.ToolTipRole):
                    found[str(remarks.index(row, column).data(role) or "")] = "remarks"
        metric = {text: at for text, at in found.items() if METRIC.search(text) and not at.startswith(TYPED)}
    assert metric == {}


def test_remarks_follow_the_units_and_the_result_does_not(window: MainWindow) -> None:
    window.bench.add_files([str(sample_profiles() / "quillmere_four_camshaft.csv")])
    at_rest(window.bench)

    def remark() -> str:
        model = window.notes.model()
        texts = (str(model.index(row, 2).data()) for row in range(model.rowCount()))
        return next(text for text in texts if "stands off by" in text)

    metric = remark()
    assert "0.0858 mm" in metric
    window.bench.toggle_units()
    at_rest(window.bench)
    assert "0.00338 in" in remark()
    bay = bays.by_name("lobes")
    assert bay is not None
    result = bays.work_of("lobes").result(bays.answer_value(window.bench.document, bay))
    assert metric in [note["text"] for note in json.loads(result.model_dump_json())["notes"]]
    window.bench.toggle_units()
    at_rest(window.bench)
    assert remark() == metric


COMMANDS = [
    "lobes quillmere_four_camshaft.csv --spec quillmere_four_camshaft.toml",
    "springs springs_quillmere_tray.csv --spec springs_quillmere_spec.toml",
    "shaft club_four_journals.csv --spec club_four_shaft_spec.toml",
    "texture club_four_lobe_3I_trace.csv",
    "gauge dial_gauge_study.csv",
    "phasing quillmere_four_degree_wheel_misread.toml",
    "motion quillmere_four_camshaft.csv --train quillmere_four_train.toml",
    "compare quillmere_four_camshaft.csv quillmere_four_after_a_season.csv",
    "liftcheck quillmere_spring_meeting.toml",
    "lash lake_tender_lash.csv",
]


@pytest.mark.parametrize("asked", COMMANDS, ids=lambda asked: asked.split()[0])
def test_a_terminal_and_its_notes_speak_in_inches(asked: str, capsys: pytest.CaptureFixture[str]) -> None:
    def told(*more: str) -> tuple[str, str]:
        command, *rest = asked.split()
        files = [str(sample_profiles() / word) if "." in word else word for word in rest]
        main([command, *files, *more])
        return capsys.readouterr()

    out, notes = told("--units", "inch", "--all")
    assert out.strip()
    assert METRIC.findall(out + notes) == []
    metric, _ = told("--units", "metric", "--json")
    inch, kept = told("--units", "inch", "--json")
    assert json.loads(inch) == json.loads(metric), "what another program reads is canonical"
    assert len(kept.splitlines()) == len(notes.splitlines())


@pytest.mark.parametrize("job", ["job", "lake_v8_job", "lake_tender_job", "quillmere_meeting_job"])
def test_paper_in_inches_says_nothing_in_millimetres(job: str, tmp_path: Path) -> None:
    paper, results = tmp_path / "paper.pdf", dict[str, dict[str, bytes]]()
    for units in each(["metric", "inch"]):
        asked = ["certify", str(sample_profiles() / f"{job}.toml"), "--full", "--units", units, "--date", "2026-03-06"]
        main([*asked, "--out", str(paper)])
        told = " ".join(" ".join(page_texts(paper)).split())
        told = told.replace("lever probe 0.1 um", "")  # as the file calls its instrument
        assert (METRIC.search(told) is None) is (units == "inch"), METRIC.findall(told)[:9]
        assert main(["verify", str(paper)]) == 0, "what is said in other units agrees with what is carried"
        results[units] = {name: data for name, data in carried_files(paper).items() if name.startswith("result-")}
    assert results["metric"] == results["inch"], "and that is canonical"


def test_a_record_keeps_what_its_reason_was_put_together_from() -> None:
    why = Phrase("seat force {found} N, at least {least} N", found="226.2", least="235.0")
    kept = ExcludedSpring(spring="Q23", reason=why)
    assert said_in(kept, "metric") is kept
    assert said_in(kept, "inch").reason == "seat force 50.85 lbf, at least 52.83 lbf"
    named = ExcludedSpring(spring="Q23", reason="cracked")
    assert said_in(named, "inch") is named, "nothing is made anew where no sentence changed"


def test_what_is_said_at_once_has_no_unit_of_its_own() -> None:
    """A measure in a text of the window is put in by `units.show`, or by a phrase, which knows how to turn it."""
    fixed = []
    for room in ("window", "workbench", "tables"):
        for path in sorted((Path(valvelab.__file__).parent / room).rglob("*.py")):
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                known = isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
                if not known or node.func.id not in {"say", "say_many", "word", "word_many", "marked"}:  # type: ignore[attr-defined]
                    continue
                texts = [one.value for one in node.args if isinstance(one, ast.Constant)]  # type: ignore[attr-defined]
                fixed += [(path.name, text) for text in texts if isinstance(text, str) and IN_A_TEMPLATE.search(text)]
    assert fixed == []
