"""The recipe "Add a characteristic", followed: one row with its function, and everything else knows it."""

from __future__ import annotations

import json
import sys
from dataclasses import replace
from pathlib import Path
from types import FrameType

import make_readme
import numpy as np
import pytest
from something import each

from valvelab.cli.main import main
from valvelab.files.lift_table import read_lift_table
from valvelab.inspection.lobes import characteristics
from valvelab.inspection.lobes.characteristics import LIFT, LobeRow
from valvelab.inspection.lobes.inspect import LobesInspection, inspect_lobes
from valvelab.lobe.characteristics import LobeCharacteristics
from valvelab.lobe.conditioning import Trace
from valvelab.measured import Each
from valvelab.records.spec import Spec
from valvelab.tables.lobes import lobe_facts, lobe_tables
from valvelab.window.tables import fact_columns

ROOT = Path(__file__).resolve().parent.parent
FOUR = ROOT / "sample_profiles" / "quillmere_four_camshaft.csv"
MOST_MODULES = 6


def half_lift(lobes: LobeCharacteristics) -> Each:
    found = lobes.max_lift()
    return Each(0.5 * found.value, 0.5 * found.u)


TRIAL = LobeRow(
    "half_lift",
    "mm",
    "length",
    "lobe",
    "half of the greatest lift",
    "half of it",
    "plain arithmetic",
    of=lambda shaft, _at: shaft.ask(half_lift),
    table=LIFT,
    u_column=True,
)


def half_width(lobes: LobeCharacteristics, lift_mm: float) -> Each:
    found = lobes.events_once(lift_mm).duration
    return Each(0.5 * found.value, 0.5 * found.u)


TRIAL_AT = LobeRow(
    "half_width",
    "cam deg",
    "angle",
    "lobe",
    "half of the angle over a lift",
    "half of it",
    "plain arithmetic",
    "lift",
    of=lambda shaft, at_mm: {} if at_mm is None else shaft.ask(half_width, at_mm),
    table="Half width",
    block="durations",
)


@pytest.fixture(autouse=True)
def _added(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(characteristics, "CHARACTERISTICS", (*characteristics.CHARACTERISTICS, TRIAL, TRIAL_AT))


def judged() -> LobesInspection:
    return inspect_lobes(read_lift_table(FOUR), Spec.model_validate({"limit": [{"of": "half_lift", "min": "3.47 mm"}]}))


def test_the_document_and_its_schema_hold_it(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["lobes", str(FOUR), "--json"]) == 0
    for lobe in each(json.loads(capsys.readouterr().out)["lobes"]):
        assert lobe["half_lift_mm"] == pytest.approx(0.5 * lobe["max_lift_mm"])
        assert lobe["uncertainty"]["half_lift_mm"] == pytest.approx(0.5 * lobe["uncertainty"]["max_lift_mm"], rel=1e-6)
    assert main(["schema", "lobes"]) == 0
    lobe_schema = json.loads(capsys.readouterr().out)["$defs"]["LobeResult"]
    assert "half_lift_mm" in lobe_schema["required"]


def test_a_limit_on_it_is_judged() -> None:
    inspection = judged()
    found = {row.item: row for row in inspection.result.verdicts}
    assert [*found] == [lobe.lobe for lobe in inspection.result.lobes]
    assert {row.decision for row in found.values()} == {"accept", "reject"}
    assert found["1I"].unit == "mm"
    assert found["1I"].standard_uncertainty == inspection.result.lobes[0].uncertainty["half_lift_mm"]


def test_the_terminal_shows_it(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["lobes", str(FOUR)]) == 0
    title, head, _, _, first, *_ = capsys.readouterr().out.splitlines()
    assert title == LIFT
    assert "half lift" in head
    shown = first.split()
    assert any(float(text) == pytest.approx(0.5 * float(shown[1]), abs=1e-4) for text in shown[2:])


def test_paper_shows_it() -> None:
    table = next(table for table in lobe_tables(judged(), "metric") if table.title == LIFT)
    column = table.header.index("half lift")
    assert table.header[column + 1] == "u"
    for row in each(table.rows):
        assert float(str(row[column])) == pytest.approx(0.5 * float(str(row[1])), abs=1e-4)


@pytest.mark.usefixtures("app")
def test_the_window_shows_it() -> None:
    (fact,) = (fact for fact in lobe_facts(judged(), "1I", "metric") if fact.name == "half lift")
    named, value, u = (column.text(fact) for column in fact_columns())
    assert named == "half lift, mm"
    assert float(value) > 3.0
    assert float(u) > 0.0
    assert "half of the greatest lift" in fact.meaning


def test_the_listing_and_the_readme_name_it(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["characteristics", "--json"]) == 0
    listed = {row["name"]: row for row in json.loads(capsys.readouterr().out)["characteristics"]}
    assert listed["half_lift"]["meaning"] == TRIAL.meaning
    assert "`half_lift`" in make_readme.rewritten(make_readme.README)


def turned_twice(traces: tuple[Trace, ...]) -> tuple[Trace, ...]:
    once = traces[0].angle_cam_deg
    angle, sweep = np.tile(once, 2), np.repeat([0, 1], once.size)
    again = [np.interp(once - 0.2, once, trace.lift_mm, period=360.0) for trace in traces]
    lifts = [np.concatenate([trace.lift_mm, lift]) for trace, lift in zip(traces, again, strict=True)]
    return tuple(Trace(trace.name, angle, lift, sweep) for trace, lift in zip(traces, lifts, strict=True))


def modules_of(frame: FrameType | None) -> set[str]:
    found = set()
    while frame is not None:
        name = frame.f_globals.get("__name__", "")
        found |= {name} if name.startswith("valvelab.inspection.") else set()
        frame = frame.f_back
    return found


def test_a_value_passes_few_modules_on_its_way_from_the_table_to_its_verdict() -> None:
    """Every module of the inspection that stands on the way to the value, to its limit and to the decision.

    The table has two turns that disagree, so that the uncertainty is widened on the way.
    """
    table = read_lift_table(FOUR)
    table = replace(table, traces=turned_twice(table.traces))
    spec = Spec.model_validate({"limit": [{"of": "half_lift", "min": "3.47 mm"}]})
    passed: set[str] = set()
    reached: set[str] = set()

    def watch(frame: FrameType, event: str, _argument: object) -> None:
        if event == "call" and frame.f_code.co_name in {"half_lift", "decide", "parse_quantity"}:
            reached.add(frame.f_code.co_name)
            passed.update(modules_of(frame))

    sys.setprofile(watch)
    try:
        inspection = inspect_lobes(table, spec)
    finally:
        sys.setprofile(None)
    assert all(group.widening is not None for group in inspection.groups)
    assert reached == {"half_lift", "decide", "parse_quantity"}
    assert len(passed) <= MOST_MODULES, passed


def test_one_at_a_lift_is_known_everywhere_too(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["lobes", str(FOUR), "--json"]) == 0
    (row,) = (row for row in json.loads(capsys.readouterr().out)["lobes"][0]["durations"] if row["at_mm"] == 1.27)
    assert row["half_width_cam_deg"] == pytest.approx(0.5 * row["duration_cam_deg"])
    assert row["uncertainty"]["half_width_cam_deg"] == pytest.approx(0.5 * row["uncertainty"]["duration_cam_deg"])
    assert main(["lobes", str(FOUR)]) == 0
    assert "Half width, by checking lift (mm)" in capsys.readouterr().out
    limit = {"of": "half_width", "at": "1.27 mm", "max": "180 cam deg", "lobes": ["1I"]}
    spec = Spec.model_validate({"limit": [limit]})
    inspection = inspect_lobes(read_lift_table(FOUR), spec)
    (verdict,) = inspection.result.verdicts
    assert (verdict.decision, verdict.measured) == ("accept", pytest.approx(row["half_width_cam_deg"]))
    tables = lobe_tables(inspection, "metric")
    (table,) = (table for table in tables if table.title.startswith("Half width") and "at 1.270" in table.header)
    assert float(str(table.rows[0][table.header.index("at 1.270")])) == pytest.approx(
        row["half_width_cam_deg"], abs=1e-2
    )
