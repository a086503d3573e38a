"""The record store: what is added is found again as it was, on SQLite and on PostgreSQL, and nothing alters it."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from postgres import Server, database_of
from something import each
from sqlalchemy import Engine, event
from stored import answer, entry, lay_springs

from valvelab.cli.main import main
from valvelab.errors import StoreError
from valvelab.records.stored import Entry
from valvelab.store import Filter, open_store

ROOT = Path(__file__).resolve().parent.parent


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


def test_beginnings_whether_capitals_or_small(place: str) -> None:
    days = [("Q4-017", 1), ("q4-017", 3), ("Q4-018", 2), ("Q4_017", 4), ("Ö4", 5), ("R4", 6), (None, 7)]
    with open_store(place) as store:
        store.add([entry(serial, f"2026-01-0{day}", part="Camshaft", customer="lake") for serial, day in days])

        def serials(**asked: object) -> list[str | None]:
            return [row.serial for row in store.find(Filter(begins=True, **asked))]  # type: ignore[arg-type]

        assert serials(serial="q4-") == ["q4-017", "Q4-017", "Q4-018"], "by serial number, of each the newest first"
        assert serials(serial="Q4-", part="cam", customer="LAKE") == serials(serial="q4-")
        assert serials(serial="Q4", limit=2, offset=1) == ["Q4-017", "Q4-018"]
        assert serials(serial="q4_") == ["Q4_017"], "no sign stands for another"
        assert serials(serial="Ö") == ["Ö4"]
        assert serials(serial="017") == []
        assert serials(serial="", customer="l", since="2026-01-06") == [None, "R4"]


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


def test_no_question_looks_through_all_records_whatever_analyze_found(tmp_path: Path) -> None:
    # as SQLite explains it: a search by an index, or the newest first along one
    file = str(tmp_path / "records.sqlite")
    asked: list[tuple[str, Any]] = []

    def listen(_connection: object, _cursor: object, statement: str, parameters: Any, *_: object) -> None:
        asked.append((statement, parameters))

    with open_store(file) as store:
        store.add([entry(f"S{number}") for number in range(200)])
        with closing(sqlite3.connect(file)) as connection:
            connection.execute("ANALYZE")
            event.listen(Engine, "before_cursor_execute", listen)
            name = store.find(Filter(serial="S3", limit=5))[0].id
            for filtered in (Filter(limit=5), Filter(customer="x"), Filter(part="x"), Filter(decision="reject")):
                store.find(filtered)
            store.get(name)
            store.history("S4")
            event.remove(Engine, "before_cursor_execute", listen)
            plans = [
                row[3]
                for statement, parameters in asked
                if statement.startswith("SELECT")
                for row in connection.execute(f"EXPLAIN QUERY PLAN {statement}", parameters)
            ]
    assert len(plans) > 12
    scans = {plan for plan in plans if "SCAN" in plan or "AUTOMATIC" in plan}
    assert scans == {"SCAN record USING INDEX ix_record_date_number"}


ALTERING = [
    "UPDATE record SET serial = 'X'", "DELETE FROM record", "UPDATE content SET data = ''", "DELETE FROM content",
    "UPDATE record_file SET name = 'X'", "DELETE FROM record_file", "UPDATE record_item SET decision = 'accept'",
    "DELETE FROM record_item",
]  # fmt: skip
OTHERS = "schema_version, recorded, date, inspect, version, job_part, accepted, rejected, undecided, corrects, reason"
REPLACING = [
    "INSERT OR REPLACE INTO content SELECT sha256, '' FROM content",
    "INSERT OR REPLACE INTO record SELECT * FROM record",
    f"INSERT OR REPLACE INTO record (number, id, {OTHERS}) SELECT 9, 'x', {OTHERS} FROM record WHERE corrects > ''",  # noqa: S608
    "INSERT OR REPLACE INTO record_item SELECT record, place, item, 'reject' FROM record_item",
    "INSERT OR REPLACE INTO record_file SELECT record, place, 'X', role, sha256, size FROM record_file",
]  # fmt: skip


def test_sqlite_refuses_to_alter_or_delete(tmp_path: Path) -> None:
    file = tmp_path / "records.sqlite"
    wrong = entry()
    with open_store(str(file)) as store:
        store.add([wrong])
        store.add([entry(day="2026-05-01", corrects=wrong.record.id, reason="misread")])
        before = store.find(Filter())
        connection = sqlite3.connect(file)
        for statement in (*ALTERING, *REPLACING):
            with pytest.raises(sqlite3.IntegrityError, match="never altered or deleted"):
                connection.execute(statement)
        connection.close()
        assert store.find(Filter()) == before


def test_postgresql_refuses_to_alter_or_delete_even_to_its_owner(postgres: Server) -> None:
    import psycopg

    url = postgres.new_database()
    database = database_of(url)
    with open_store(url) as store:
        store.add([entry()])
        for statement in (*ALTERING, "TRUNCATE record_item"):
            with pytest.raises(psycopg.errors.RaiseException, match="never altered or deleted"):
                postgres.say(statement, database=database)
        assert store.find(Filter()) == (entry().record,)


# -- the command ------------------------------------------------------------------------------------------------------


def test_what_was_inspected_is_added_listed_and_shown(
    place: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    readings, spec = lay_springs(tmp_path, 247.0, 220.0)
    words = ["add", str(readings), "--spec", str(spec), "--customer", "Quillmere club", "--store", place]
    added = answer(capsys, *words, code=1)["records"][0]
    expected = {
        "serial": "QF-S-2", "operator": "bench two", "date": "2026-03-14", "temperature_degc": 20.4,
        "instrument": "lever tester", "instrument_calibrated": "2025-03-01", "instrument_due": "2026-03-01",
        "out_of_calibration": True, "spec_title": "Quillmere springs", "spec_revision": "C", "inspect": "springs",
        "decision": "reject", "accepted": 1, "rejected": 1, "undecided": 0, "customer": "Quillmere club",
        "items": [{"item": "Q01", "decision": "accept"}, {"item": "Q02", "decision": "reject"}],
    }  # fmt: skip
    assert {key: added[key] for key in expected} == expected
    kept = {row["role"]: row["sha256"] for row in added["files"]}
    assert kept["readings"] == sha256(readings.read_bytes()).hexdigest()
    assert kept["spec"] == sha256(spec.read_bytes()).hexdigest()
    assert set(kept) == {"readings", "spec", "job", "result"}
    main(["springs", str(readings), "--spec", str(spec), "--json", "--quiet"])
    springs = json.loads(capsys.readouterr().out)
    shown = answer(capsys, "show", added["id"][:8], "--store", place, code=1)
    assert shown["result"]["springs"] == springs["springs"]
    assert shown["verdicts"] == springs["verdicts"]
    listed = answer(capsys, "list", "--serial", "QF-S-2", "--verdict", "rejected", "--store", place)
    assert [row["id"] for row in listed["records"]] == [added["id"]]
    assert main(["records", "list", "--store", place]) == 0
    text = capsys.readouterr().out
    for told in ("✗ rejected", "out of calibration since 2026-03-01", added["id"][:12]):
        assert told in text
    assert main(["records", "show", added["id"], "--store", place]) == 1
    text = capsys.readouterr().out
    verdicts = "1 accepted, 1 rejected, 0 undecided; ▲ instrument out of calibration since 2026-03-01"
    for told in ("lever tester", "20.4 °C", kept["readings"], "seat force", verdicts):
        assert told in text


def test_a_job_is_a_record_a_part_all_or_none(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lay_springs(tmp_path, 247.0, 248.0)
    parts = ['[[part]]\ninspect = "springs"\nfile = "tray.csv"\nspec = "tray.toml"\n']
    parts.append('[[part]]\ninspect = "sets"\nfile = "tray.csv"\nsize = 2\nwithin = ["seat_force=6 N"]\n')
    (tmp_path / "job.toml").write_text("".join(parts), encoding="utf-8")
    file = str(tmp_path / "records.sqlite")
    (tmp_path / "bad.csv").write_text("angle,lift\n1,x\n", encoding="utf-8")
    assert main(["records", "add", str(tmp_path / "job.toml"), str(tmp_path / "bad.csv"), "--store", file]) == 3
    assert main(["records", "list", "--store", file]) == 0
    assert capsys.readouterr().out.strip() == "no records"
    added = answer(capsys, "add", str(tmp_path / "job.toml"), "--serial", "engine 14", "--store", file)["records"]
    told = [(row["inspect"], row["job_part"], row["serial"]) for row in added]
    assert told == [("springs", 0, "engine 14"), ("sets", 1, "engine 14")]


def test_what_is_not_there_is_not_made_by_asking(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "records.sqlite"
    for words in (["list"], ["show", "abcd"], ["history", "1"], ["check"], ["export", str(tmp_path / "x")]):
        assert main(["records", *words, "--store", str(file)]) == 3
        assert capsys.readouterr().err == (
            f"valvelab: {file}: found no store, expected one that `valvelab records add` made\n"
        )
    assert list(tmp_path.iterdir()) == []


def test_the_default_is_the_user_s_own(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    readings, _ = lay_springs(tmp_path, 247.0)
    monkeypatch.delenv("VALVELAB_STORE", raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    added = answer(capsys, "add", str(readings))
    assert added["store"] == str(tmp_path / "data" / "valvelab" / "records.sqlite")
    assert (tmp_path / "data" / "valvelab").stat().st_mode & 0o077 == 0, "nobody else's to look into"
    monkeypatch.setenv("VALVELAB_STORE", str(tmp_path / "other.sqlite"))
    assert answer(capsys, "add", str(readings))["store"] == str(tmp_path / "other.sqlite")


@pytest.mark.parametrize("place", ["mysql://host/x", "sqlite://", "postgresql://a:b:c/d", "://"])
def test_what_is_no_place_is_wrong_usage(place: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["records", "list", "--store", place]) == 2
    assert capsys.readouterr().err.count("\n") == 1


def test_a_correction_takes_over_what_nobody_says_anew(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = str(tmp_path / "records.sqlite")
    readings, _ = lay_springs(tmp_path, 247.0)
    words = ["add", str(readings), "--customer", "lake", "--serial", "QF-S-9", "--store", place]
    wrong = answer(capsys, *words)["records"][0]
    words = ["add", "--operator", "bench one", "--corrects", wrong["id"][:8], "--store", place, str(readings)]
    assert main(["records", *words]) == 2, "a correction without its reason"
    assert main(["records", *words, str(readings), "--reason", "x"]) == 2, "one record, two files"
    capsys.readouterr()
    right = answer(capsys, *words, "--reason", "serial misread")["records"][0]
    assert (right["operator"], right["reason"]) == ("bench one", "serial misread"), "as it is stated now"
    assert right["serial"] == "QF-S-2", "as the readings say"
    assert right["customer"] == "lake", "as it was stated of the record that is corrected"
    shown = answer(capsys, "show", wrong["id"], "--store", place)
    assert shown["record"]["corrected_by"] == right["id"]
    shaft = ROOT / "sample_profiles" / "club_four_journals.csv"
    assert main(["records", "add", str(shaft), "--corrects", right["id"], "--reason", "x", "--store", place]) == 3
    assert "0 parts for springs" in capsys.readouterr().err


def test_a_lift_check_sheet_says_who_when_and_with_what(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sheet = ROOT / "sample_profiles" / "quillmere_spring_meeting.toml"
    file = str(tmp_path / "records.sqlite")
    added = answer(capsys, "add", str(sheet), "--store", file, code=1)["records"][0]
    expected = {
        "inspect": "liftcheck", "date": "2026-05-02", "operator": "scrutineer 2", "instrument": "dial 2 QD-2",
        "instrument_calibrated": "2026-02-10", "instrument_due": "2027-02-10", "out_of_calibration": False,
    }  # fmt: skip
    assert {key: added[key] for key in expected} == expected


def test_a_card_says_what_measured_and_until_when(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    readings, _ = lay_springs(tmp_path, 247.0, date="2027-02-01")
    card = ROOT / "sample_profiles" / "quillmere_spring_tester_card.toml"
    parts = f'[[part]]\ninspect = "springs"\nfile = "{readings.name}"\ninstrument = ["{card.name}"]\n'
    (tmp_path / card.name).write_bytes(card.read_bytes())
    (tmp_path / "job.toml").write_text(parts, encoding="utf-8")
    added = answer(capsys, "add", str(tmp_path / "job.toml"), "--store", str(tmp_path / "records.sqlite"))
    (record,) = added["records"]
    assert record["instrument"] == "lever tester and height stop QT-1"
    assert (record["instrument_calibrated"], record["instrument_due"]) == ("2026-01-15", "2027-01-15")
    assert record["out_of_calibration"] is True
    assert any("no verdict should rest on it" in note["text"] for note in added["notes"])
    assert card.name in {file["name"] for file in record["files"]}
