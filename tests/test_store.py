"""The record store: what is added is found again as it was, on SQLite and on PostgreSQL, and nothing alters it."""

from __future__ import annotations

import json
import shutil
import sqlite3
from hashlib import sha256
from pathlib import Path

import pytest
from postgres import Server
from something import each

from valvelab.cli.main import main
from valvelab.errors import StoreError
from valvelab.records.stored import Entry, StoredFile, StoredItem, StoredRecord
from valvelab.store import Filter, open_store

ROOT = Path(__file__).resolve().parent.parent
SAMPLES = ROOT / "sample_profiles"
CAMSHAFT = SAMPLES / "quillmere_four_camshaft.csv"
SPEC = SAMPLES / "quillmere_four_camshaft.toml"


def entry(serial: str = "Q4-017", day: str = "2026-03-14", readings: bytes = b"angle,lift", **more: object) -> Entry:
    """A record made by hand, with its readings and a result."""
    result = json.dumps({"verdicts": []}).encode()
    files = {"lift.csv": ("readings", readings), "result-1-lobes.json": ("result", result)}
    record = StoredRecord.model_validate(
        {
            "recorded": "2026-03-15T08:00:00.000000+00:00",
            "date": day,
            "inspect": "lobes",
            "version": "0.2.0",
            "job_part": 0,
            "serial": serial,
            "temperature_degc": 20.4,
            "decision": "accept",
            "accepted": 2,
            "rejected": 0,
            "undecided": 0,
            "items": (StoredItem(item="1I", decision="accept"), StoredItem(item="1E", decision=None)),
            "files": tuple(
                StoredFile(name=name, role=role, sha256=sha256(data).hexdigest(), size=len(data))  # type: ignore[arg-type]
                for name, (role, data) in files.items()
            ),
            **more,
        }
    )
    return Entry.of(record, (data for _, data in files.values()))


def answer(capsys: pytest.CaptureFixture[str], *words: str, code: int = 0) -> dict[str, object]:
    """A command's JSON."""
    assert main(["records", *words, "--json", "--quiet"]) == code, capsys.readouterr().err
    found: dict[str, object] = json.loads(capsys.readouterr().out)
    return found


# -- the Python side --------------------------------------------------------------------------------------------------


def test_a_record_comes_back_as_it_was(place: str) -> None:
    kept = entry(customer="Quillmere club", operator="E. W. µ“弁”")
    with open_store(place) as store:
        store.add([kept])
    with open_store(place, create=False) as store:
        found = store.get(kept.record.id[:6])
        assert found == kept.record
        for file in each(found.files):
            assert store.content(file.sha256) == kept.contents[file.sha256]


def test_what_is_added_again_is_kept_once(place: str) -> None:
    with open_store(place) as store:
        store.add([entry()])
        store.add([entry(), entry(day="2027-03-14")])
        assert [row.date for row in store.find(Filter())] == ["2027-03-14", "2026-03-14"]


def test_filters(place: str) -> None:
    with open_store(place) as store:
        store.add(
            [
                entry("A", "2026-01-05", part="camshaft"),
                entry("B", "2026-02-05", customer="lake", decision="reject"),
                entry("A", "2026-03-05", decision=None),
            ]
        )

        def dates(**asked: object) -> list[str]:
            return [row.date[5:7] for row in store.find(Filter(**asked))]  # type: ignore[arg-type]

        assert dates() == ["03", "02", "01"]
        assert dates(serial="A") == ["03", "01"]
        assert dates(part="camshaft") == ["01"]
        assert dates(customer="lake") == ["02"]
        assert dates(decision="reject") == ["02"]
        assert dates(since="2026-02-05", until="2026-02-05") == ["02"]
        assert dates(limit=1) == ["03"]
        assert dates(serial="C") == []
        assert [row.date[5:7] for row in store.history("A")] == ["01", "03"]


def test_a_correction_stands_in_for_the_record_that_stays(place: str) -> None:
    wrong = entry()
    right = entry(serial="Q4-018", corrects=wrong.record.id, reason="serial misread")
    with open_store(place) as store:
        store.add([wrong])
        store.add([right])
        assert store.get(wrong.record.id).corrected_by == right.record.id
        assert store.get(right.record.id).corrected_by is None
        assert [row.id for row in store.find(Filter(standing=True))] == [right.record.id]
        with pytest.raises(StoreError, match=f"corrected already by {right.record.id[:12]}"):
            store.add([entry(day="2026-04-01", corrects=wrong.record.id, reason="again")])
        with pytest.raises(StoreError, match="no record of that name"):
            store.add([entry(day="2026-04-01", corrects="0" * 64, reason="of nothing")])
        assert len(store.find(Filter())) == 2


def test_an_instrument_out_of_calibration_is_flagged(place: str) -> None:
    with open_store(place) as store:
        store.add([entry("A", instrument_due="2026-03-13"), entry("B", instrument_due="2026-03-14"), entry("C")])
        flagged = {row.serial: row.out_of_calibration for row in store.find(Filter())}
    assert flagged == {"A": True, "B": False, "C": False}


def test_a_record_whose_name_is_not_its_own_is_not_kept(place: str) -> None:
    kept = entry()
    other = Entry(kept.record.model_copy(update={"serial": "Q4-999"}), kept.contents)
    with open_store(place) as store:
        with pytest.raises(StoreError, match="other contents than its name says"):
            store.add([entry("A"), other])
        assert store.find(Filter()) == ()


def test_names_are_the_first_signs(place: str) -> None:
    with open_store(place) as store:
        store.add([entry(str(number)) for number in range(40)])
        name = store.find(Filter(limit=1))[0].id
        assert store.get(name.upper()).id == name
        for wrong in ("abc", "ghij", "", "'; DROP TABLE record; --", "f" * 64):
            with pytest.raises(StoreError, match="expected"):
                store.get(wrong)


ALTERING = [
    "UPDATE record SET serial = 'X'", "DELETE FROM record", "UPDATE content SET data = ''", "DELETE FROM content",
    "UPDATE record_file SET name = 'X'", "DELETE FROM record_file", "UPDATE record_item SET decision = 'accept'",
    "DELETE FROM record_item",
]  # fmt: skip
REPLACING = [
    "INSERT OR REPLACE INTO content SELECT sha256, '' FROM content",
    "INSERT OR REPLACE INTO record SELECT * FROM record",
    "INSERT OR REPLACE INTO record_item SELECT record, place, item, 'reject' FROM record_item",
    "INSERT OR REPLACE INTO record_file SELECT record, place, 'X', role, sha256, size FROM record_file",
]  # fmt: skip


def test_sqlite_refuses_to_alter_or_delete(tmp_path: Path) -> None:
    file = tmp_path / "records.sqlite"
    with open_store(str(file)) as store:
        store.add([entry()])
        connection = sqlite3.connect(file)
        for statement in (*ALTERING, *REPLACING):
            with pytest.raises(sqlite3.IntegrityError, match="never altered or deleted"):
                connection.execute(statement)
        connection.close()
        assert store.find(Filter()) == (entry().record,)


def test_postgresql_refuses_to_alter_or_delete_even_to_its_owner(postgres: Server) -> None:
    import psycopg

    url = postgres.new_database()
    database = url.partition("@/")[2].partition("?")[0]
    with open_store(url) as store:
        store.add([entry()])
        for statement in (*ALTERING, "TRUNCATE record_item"):
            with pytest.raises(psycopg.errors.RaiseException, match="never altered or deleted"):
                postgres.say(statement, database=database)
        assert store.find(Filter()) == (entry().record,)


# -- the command ------------------------------------------------------------------------------------------------------


def test_what_was_inspected_is_added_listed_and_shown(place: str, capsys: pytest.CaptureFixture[str]) -> None:
    words = ["add", str(CAMSHAFT), "--spec", str(SPEC), "--customer", "Quillmere club", "--store", place]
    added = answer(capsys, *words, code=1)["records"][0]  # type: ignore[index]
    assert (added["serial"], added["operator"], added["date"]) == ("Q4-017", "E. W.", "2026-03-14")
    assert (added["temperature_degc"], added["spec_revision"]) == (20.4, "C")
    assert {row["role"] for row in added["files"]} == {"readings", "spec", "input", "job", "result"}
    assert len(added["items"]) >= 8
    main(["lobes", str(CAMSHAFT), "--spec", str(SPEC), "--json", "--quiet"])
    lobes = json.loads(capsys.readouterr().out)
    shown = answer(capsys, "show", added["id"][:8], "--store", place, code=1)
    assert shown["result"]["lobes"] == lobes["lobes"]  # type: ignore[index]
    assert len(shown["verdicts"]) == added["accepted"] + added["rejected"] + added["undecided"]  # type: ignore[arg-type]
    listed = answer(capsys, "list", "--serial", "Q4-017", "--verdict", "rejected", "--store", place)
    assert [row["id"] for row in listed["records"]] == [added["id"]]  # type: ignore[attr-defined]
    assert main(["records", "list", "--store", place]) == 0
    text = capsys.readouterr().out
    assert "✗ rejected" in text
    assert added["id"][:12] in text


def test_a_correction_takes_over_what_was_stated(
    place: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    readings = tmp_path / "lift.csv"
    shutil.copy(CAMSHAFT, readings)
    wrong = answer(capsys, "add", str(readings), "--customer", "lake", "--store", place)["records"][0]  # type: ignore[index]
    words = ["add", str(readings), "--serial", "Q4-018", "--corrects", wrong["id"][:8], "--store", place]
    assert main(["records", *words]) == 2, "a correction without its reason"
    capsys.readouterr()
    right = answer(capsys, *words, "--reason", "serial misread")["records"][0]  # type: ignore[index]
    assert (right["serial"], right["customer"], right["reason"]) == ("Q4-018", "lake", "serial misread")
    shown = answer(capsys, "show", wrong["id"], "--store", place)
    assert shown["record"]["corrected_by"] == right["id"]  # type: ignore[index]
    springs = SAMPLES / "springs_quillmere_tray.csv"
    words = ["records", "add", str(springs), "--corrects", right["id"], "--reason", "x", "--store", place]
    assert main(words) == 3
    assert "0 parts for lobes" in capsys.readouterr().err
