"""Results go out in open forms that other programs read: JSON with its schema, XLSX, QIF, X3P."""

from __future__ import annotations

import io
import json
import os
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import openpyxl
import pytest
from lxml import etree
from something import each
from test_item_rows import frozen
from test_samples_frozen import COMMANDS

from valvelab import __version__
from valvelab.cli.main import main
from valvelab.cli.schema_command import schema_of
from valvelab.errors import CannotWrite, WrongUsage
from valvelab.files import result_workbook as workbook
from valvelab.files.surface_trace import read_surface_trace
from valvelab.job.exchange import Said, exchanged
from valvelab.places import sample_profiles
from valvelab.records.lift_check_result import LiftCheckResult
from valvelab.records.lobes_result import LobeResult
from valvelab.records.result import Result
from valvelab.tables.item_rows import item_rows

JUDGED = [
    "lobes_four", "lobes_v8", "shaft", "texture", "springs", "phasing", "lift_check", "motion_four", "compare_lobes",
    "compare_springs",
]  # fmt: skip
QIF = "{http://qifstandards.org/xsd/qif3}"
EXCERPT = Path(__file__).resolve().parent / "qif_excerpt.xsd"
WHOLE_SCHEMA = "VALVELAB_QIF_SCHEMA"
"""Environment variable: the folder with the standard's own schema, `QIFDocument.xsd`."""
SAID = Said({
    "part": "camshaft", "serial": "Q-7", "operator": "A. Wend", "date": "2026-05-02", "instrument": "dial 3",
    "instrument_due": "2027-01-31",
})  # fmt: skip
MEETING = str(sample_profiles() / "quillmere_spring_meeting.toml")


def sheets(result: Result) -> openpyxl.Workbook:
    """Its workbook, as another reader has it."""
    data = exchanged(result, ".xlsx", Said)
    assert isinstance(data, bytes)
    return openpyxl.load_workbook(io.BytesIO(data))


def sixteen_digits(cell: object) -> object:
    """A number as a workbook holds it: a spreadsheet keeps 15 digits, the sixteenth is a guard."""
    return float(f"{cell:.16G}") if isinstance(cell, float) else cell


def rows(book: openpyxl.Workbook, name: str) -> list[dict[str, object]]:
    head, *below = book[name].iter_rows(values_only=True)
    return [dict(zip(map(str, head), row, strict=True)) for row in below]


def qif(name: str) -> tuple[Result, Any]:
    result, _ = frozen(name)
    data = exchanged(result, ".qif", lambda: SAID)
    assert isinstance(data, bytes)
    return result, etree.fromstring(data)


# -- JSON --------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["lift_check", "sets", "texture"])
def test_a_document_names_the_schema_that_it_fits(name: str) -> None:
    result, document = frozen(name)
    written = json.loads(exchanged(result, ".json", Said))
    schema = schema_of(result.command)
    assert written["$schema"] == schema["$id"] == f"urn:valvelab:schema:{result.command}:{__version__}"
    jsonschema.Draft202012Validator(schema).validate(written)
    assert {key: value for key, value in written.items() if key != "$schema"} == document
    assert type(result).model_validate_json(json.dumps(written)) == result  # `shims --from` reads such a file


# -- XLSX --------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", COMMANDS)
def test_every_table_is_a_sheet_with_numbers_as_numbers(name: str) -> None:
    result, _ = frozen(name)
    book = sheets(result)
    assert book.sheetnames[0] == result.command
    assert book.sheetnames[-2:] == ["verdicts", "notes"]
    found = [list(row) for row in book[result.command].iter_rows(values_only=True)]
    for row, stated in each(zip(found, item_rows(result), strict=True)):
        assert row == [None if cell == "" else sixteen_digits(cell) for cell in stated]
    assert len(rows(book, "verdicts")) == len(result.verdicts)
    for row, verdict in zip(rows(book, "verdicts"), result.verdicts, strict=True):
        assert (row["item"], row["decision"]) == (verdict.item, verdict.decision)
        assert row["measured"] == sixteen_digits(verdict.measured)


def test_what_a_row_an_item_has_no_place_for_is_a_sheet_of_its_own() -> None:
    result, document = frozen("lobes_four")
    book = sheets(result)
    durations = [row for row in rows(book, "durations") if row["item"] == "2E"]
    stated = next(lobe for lobe in document["lobes"] if lobe["lobe"] == "2E")["durations"]
    found = [row["duration_crank_deg"] for row in durations]
    assert found == [sixteen_digits(row["duration_crank_deg"]) for row in stated]
    assert [row["cylinder"] for row in rows(book, "camshaft.cylinders")] == [1, 2, 3, 4]
    (whole,) = rows(book, "whole")
    mean = document["camshaft"]["lobe_separation_mean_cam_deg"]
    assert whole["camshaft.lobe_separation_mean_cam_deg"] == sixteen_digits(mean)
    curve = frozen("springs")[1]["springs"][0]["rate_curve"]
    found = [row["rate_n_per_mm"] for row in rows(sheets(frozen("springs")[0]), "rate_curve") if row["item"] == "Q01"]
    assert found == [sixteen_digits(value) for value in curve["rate_n_per_mm"]]


def test_a_text_is_never_computed_by_a_spreadsheet() -> None:
    result, _ = frozen("lift_check")
    assert isinstance(result, LiftCheckResult)
    car = result.checks[0].model_copy(update={"item": "=1+1", "entrant": "x" * 40_000})
    sheet = sheets(result.model_copy(update={"checks": (car,)}))["liftcheck"]
    assert (sheet["A2"].value, sheet["A2"].data_type, sheet["A2"].quotePrefix) == ("=1+1", "s", True)
    assert len(str(sheet["B2"].value)) == workbook.LONGEST_TEXT


def test_more_rows_than_a_sheet_holds_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(workbook, "MOST_ROWS", 6)
    with pytest.raises(CannotWrite, match="found 7 rows of"):
        exchanged(frozen("lift_check")[0], ".xlsx", Said)


# -- QIF 3.0, ISO 23952 ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", JUDGED)
def test_a_results_document_has_the_standard_s_form(name: str) -> None:
    _, document = qif(name)
    etree.XMLSchema(etree.parse(EXCERPT)).assertValid(document)


def test_a_results_document_fits_the_standard_s_own_schema() -> None:
    folder = os.environ.get(WHOLE_SCHEMA)
    if not folder:
        pytest.skip(f"{WHOLE_SCHEMA} names no folder with QIFDocument.xsd; the excerpt of it was held")
    schema = etree.XMLSchema(etree.parse(Path(folder) / "QIFDocument.xsd"))
    for name in each(JUDGED):
        schema.assertValid(qif(name)[1])


def test_the_excerpt_refuses_what_is_none() -> None:
    schema = etree.XMLSchema(etree.parse(EXCERPT))
    for tag in each(["CharacteristicItemId", "CharacteristicStatusEnum", "MaxValue"]):
        _, document = qif("lift_check")
        next(document.iter(f"{QIF}{tag}")).text = "9999 none"
        assert not schema.validate(document), tag
    _, document = qif("lift_check")
    next(document.iter(f"{QIF}CharacteristicItemId")).text = "9999"  # points at nothing
    assert not schema.validate(document)


@pytest.mark.parametrize("name", JUDGED)
def test_it_says_what_was_measured_asked_and_decided(name: str) -> None:
    result, document = qif(name)
    statuses = {"accept": "PASS", "reject": "FAIL", "undecided": "INDETERMINATE"}
    found = next(document.iter(f"{QIF}CharacteristicMeasurements"))
    assert len(found) == len(result.verdicts)
    for measured, row in zip(found, result.verdicts, strict=True):
        assert measured.findtext(f"{QIF}Status/{QIF}CharacteristicStatusEnum") == statuses[row.decision]
        value = next((child for child in measured if child.tag.endswith("Value")), None)
        assert (value is None) == (row.measured is None)
        if value is not None:
            assert float(str(value.text)) == row.measured
            assert float(value.get("combinedUncertainty", "nan")) == pytest.approx(
                row.standard_uncertainty, nan_ok=True
            )
    decisions = {row.decision for row in result.verdicts}
    whole = "FAIL" if "reject" in decisions else "UNKNOWN" if "undecided" in decisions else "PASS"
    assert document.findtext(f".//{QIF}MeasurementResults/{QIF}InspectionStatus/{QIF}InspectionStatusEnum") == whole


def test_it_says_who_measured_what_when_and_with_what() -> None:
    _, document = qif("lobes_four")
    assert document.findtext(f".//{QIF}InspectionOperator/{QIF}Name") == "A. Wend"
    assert document.findtext(f".//{QIF}InspectionStart") == "2026-05-02T00:00:00"
    assert document.findtext(f".//{QIF}MeasurementDevice/{QIF}Name") == "dial 3"
    assert document.findtext(f".//{QIF}ActualComponent/{QIF}SerialNumber") == "Q-7"
    assert len(list(qif("springs")[1].iter(f"{QIF}ActualComponent"))) == 64  # each spring is a part of its own


def test_what_is_not_judged_is_no_results_document() -> None:
    with pytest.raises(WrongUsage, match="found nothing that is judged, expected limits"):
        exchanged(frozen("lobes_four_plain")[0], ".qif", Said)


def test_a_sheet_s_own_words_reach_the_document(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "event.qif"
    assert main(["liftcheck", MEETING, "--out", str(out), "--quiet"]) == 1
    assert capsys.readouterr().err == ""
    document = etree.parse(out)
    assert document.findtext(f".//{QIF}InspectionOperator/{QIF}Name") == "scrutineer 2"
    assert document.findtext(f".//{QIF}MeasurementDevice/{QIF}Name") == "dial 2 QD-2"
    cars = [row.get("value") for row in document.iterfind(f".//{QIF}ActualComponent//{QIF}AttributeStr")]
    assert cars == ["car 14", "car 22", "car 31", "car 40", "car 57"]


# -- X3P, ISO 25178-72 -------------------------------------------------------------------------------------------------


def test_a_trace_comes_back_from_its_container(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    trace, out = sample_profiles() / "club_four_lobe_3I_trace.csv", tmp_path / "trace.x3p"
    assert main(["texture", str(trace), "--out", str(out), "--quiet"]) == 0
    first, again = read_surface_trace(trace), read_surface_trace(out)
    assert again.form == "X3P"
    np.testing.assert_allclose(again.z_um, first.z_um, rtol=0, atol=1e-9)
    np.testing.assert_allclose(again.x_mm - again.x_mm[0], first.x_mm - first.x_mm[0], rtol=0, atol=1e-9)
    assert not any(note.level == "warning" for note in again.notes), "both checksums hold"
    assert main(["texture", str(out), "--json"]) == 0
    parameters = json.loads(capsys.readouterr().out)["parameters"]
    stated = frozen("texture")[1]["parameters"]
    assert parameters["ra_um"] == pytest.approx(stated["ra_um"], rel=1e-9)
    assert main(["liftcheck", MEETING, "--out", str(out)]) == 2
    assert "found ending '.x3p', expected .json, .csv, .xlsx, .qif, .txt or .pdf" in capsys.readouterr().err


def test_every_number_of_a_lobe_stands_in_the_first_sheet() -> None:
    book = sheets(frozen("lobes_v8")[0])
    numbers = [name for name, field in LobeResult.model_fields.items() if field.annotation in {float, float | None}]
    assert set(numbers) <= {cell.value for cell in book["lobes"][1]}
