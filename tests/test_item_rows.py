"""Results as rows of a spreadsheet: every item with every number that its JSON states."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path
from typing import Any

import pytest
from something import each
from test_samples_frozen import COMMANDS, FROZEN

from valvelab.cli.main import main
from valvelab.csv_text import csv_text
from valvelab.job.uses import USES, use
from valvelab.places import sample_profiles
from valvelab.records.lift_check_result import LiftCheckResult
from valvelab.records.result import Result
from valvelab.tables.item_rows import item_rows

ITEMS = {
    "lobes": "lobes", "springs": "springs", "sets": "sets", "shims": "positions", "phasing": "lobes",
    "shaft": "stations", "motion": "valves", "liftcheck": "checks", "lash": "valves", "texture": "", "gauge": "",
}  # fmt: skip


def frozen(name: str) -> tuple[Result, dict[str, Any]]:
    """The answer on a sample, as a record and as its JSON."""
    document = json.loads((FROZEN / f"{name}.json").read_text(encoding="utf-8"))
    model = use(document["command"]).result
    record = model if isinstance(model, type) else model()
    return record.model_validate(document), document


def sheet(result: Result) -> list[dict[str, str]]:
    """Its CSV, as any reader of CSV has it."""
    return list(csv.DictReader(io.StringIO(csv_text(item_rows(result)))))


def numbers(record: dict[str, Any], before: str = "") -> dict[str, float]:
    """Every number of an item's JSON by the name of its column; lists and their rows apart."""
    found: dict[str, float] = {}
    for key, value in record.items():
        if key == "uncertainty":
            found |= {f"u_{name}": u for name, u in value.items() if u is not None}
        elif isinstance(value, dict):
            found |= numbers(value, f"{before}{key}.")
        elif isinstance(value, int | float) and not isinstance(value, bool):
            found[f"{before}{key}"] = value
    return found


@pytest.mark.parametrize("name", COMMANDS)
def test_every_item_is_a_row_with_every_number_of_its_json(name: str) -> None:
    result, document = frozen(name)
    key = document["kind"] if name.startswith("compare") else ITEMS[document["command"]]
    head = Result.model_fields
    items = document[key] if key else [{k: v for k, v in document.items() if k not in head}]
    rows = sheet(result)
    assert len(rows) == len(items)
    for row, item in each(zip(rows, items, strict=True)):
        stated = numbers(item)
        assert {column: float(row[column]) for column in stated} == stated


def test_every_use_says_what_its_rows_are() -> None:
    """A use whose answer has no items is one row itself; a new one has to say which it is."""
    whole = {"texture", "gauge"}
    for name in each(USES):
        model = use(name).result
        record = model if isinstance(model, type) else model()
        assert bool(record.ITEMS) == (name not in whole), name
        assert set(record.ITEMS) <= set(record.model_fields), name


def test_what_stands_at_a_lift_has_the_lift_in_its_name() -> None:
    result, document = frozen("lobes_four")
    first = sheet(result)[0]
    (at,) = [row for row in document["lobes"][0]["durations"] if row["at_mm"] == 1.27]
    assert float(first["duration_crank_deg@1.27mm"]) == at["duration_crank_deg"]
    assert float(first["u_duration_crank_deg@1.27mm"]) == at["uncertainty"]["duration_crank_deg"]
    phasing = sheet(frozen("phasing")[0])[0]
    assert phasing["opening_event.reference@1.27mm"] == "BTDC"


def test_events_at_one_lift_are_told_apart() -> None:
    row = sheet(frozen("lift_check")[0])[1]
    assert (row["item"], row["valve"], row["entrant"]) == ("car 14", "1E", "A. Wend")
    assert (float(row["opening.mean_deg@1.27mm"]), float(row["closing.mean_deg@1.27mm"])) == (52.25, 4.0)
    assert row["readings_mm"] == "10.21 10.22 10.21 10.22"


def test_the_gravest_verdict_on_an_item_stands_beside_it() -> None:
    result, _ = frozen("lift_check")
    decisions = {f"{row['item']} {row['valve']}": row["decision"] for row in sheet(result)}
    assert decisions == {
        "car 14 1I": "accept",
        "car 14 1E": "accept",
        "car 22 1I": "reject",
        "car 31 1I": "undecided",
        "car 40 1I": "undecided",
        "car 57 1I": "accept",
    }


def test_a_formula_stays_a_text() -> None:
    result, _ = frozen("lift_check")
    assert isinstance(result, LiftCheckResult)
    car = result.checks[0].model_copy(update={"item": "=1+1", "entrant": "@SUM(A1)"})
    (row,) = sheet(result.model_copy(update={"checks": (car,)}))
    assert (row["item"], row["entrant"]) == ("'=1+1", "'@SUM(A1)")


def test_a_command_writes_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    target = tmp_path / "event.csv"
    assert (
        main(["liftcheck", str(sample_profiles() / "quillmere_spring_meeting.toml"), "--out", str(target), "--quiet"])
        == 1
    )
    assert capsys.readouterr().out == ""
    text = target.read_text(encoding="utf-8")
    assert text.startswith("item,entrant,valve,kind,")
    assert len(text.splitlines()) == 7


def test_another_ending_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    target = tmp_path / "event.ods"
    assert main(["liftcheck", str(sample_profiles() / "quillmere_spring_meeting.toml"), "--out", str(target)]) == 2
    assert "expected .json, .csv, .xlsx, .qif, .txt or .pdf" in capsys.readouterr().err
