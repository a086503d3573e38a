"""What goes wrong with a store is one sentence; nothing is ever half written, nothing lost that was confirmed."""

from __future__ import annotations

import contextlib
import os
import random
import resource
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from postgres import Server, database_of
from something import each
from stored import entry, lay_springs

from valvelab.cli.main import main
from valvelab.errors import StoreError
from valvelab.records.stored import Entry
from valvelab.store import Filter, open_store


def one_sentence(capsys: pytest.CaptureFixture[str]) -> str:
    """What a command that failed said."""
    said = capsys.readouterr().err
    assert said.startswith("valvelab: ")
    assert said.count("\n") == 1
    assert "fault of the program" not in said
    return said


# -- another one writes, or reads ------------------------------------------------------------------------------------


def test_a_store_that_another_holds_is_waited_for_then_refused(place: str, request: pytest.FixtureRequest) -> None:
    with open_store(place, wait_s=0.3) as store:
        store.add([entry("A")])
        with contextlib.ExitStack() as held:
            if "://" in place:
                import psycopg

                server: Server = request.getfixturevalue("postgres")
                target = f"host={server.folder} user=owner dbname={database_of(place)}"
                other = held.enter_context(psycopg.connect(target))
                other.execute("LOCK TABLE content IN ACCESS EXCLUSIVE MODE")
            else:
                file = held.enter_context(contextlib.closing(sqlite3.connect(place, isolation_level=None)))
                file.execute("BEGIN IMMEDIATE")
            start = time.monotonic()
            with pytest.raises(StoreError, match="another program has held the store for too long"):
                store.add([entry("B")])
            assert 0.25 < time.monotonic() - start < 9.0
            assert [row.serial for row in store.find(Filter())] == ["A"], "who reads does not wait"
        store.add([entry("B")])
        assert len(store.find(Filter())) == 2


def test_threads_share_a_store(place: str) -> None:
    with open_store(place) as store:

        def work(number: int) -> str:
            kept = entry(f"S{number % 3}", readings=b"common", operator=str(number))
            store.add([kept])
            assert store.content(kept.record.files[0].sha256) == b"common"
            return store.get(kept.record.id).id

        with ThreadPoolExecutor(6) as threads:
            names = list(threads.map(work, range(30)))
        assert {row.id for row in store.find(Filter())} == {*names}
        assert len({*names}) == 30


# -- no room ----------------------------------------------------------------------------------------------------------


def test_a_full_disk_leaves_what_was_there(tmp_path: Path) -> None:
    file = tmp_path / "records.sqlite"
    with open_store(str(file)) as store:
        store.add([entry("A")])
    readings, _ = lay_springs(tmp_path, *[247.0] * 80)
    limit = 100_000  # bytes that a file may have: less than the record takes
    done = subprocess.run(
        [sys.executable, "-m", "valvelab", "records", "add", str(readings), "--store", str(file)],
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit)),
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 3, done.stderr
    assert done.stderr.startswith(f"valvelab: {file}: the disk is full")
    assert done.stderr.count("\n") == 1
    with open_store(str(file)) as store:
        assert [row.serial for row in store.find(Filter())] == ["A"]
        assert store.check() == ()


def test_a_folder_that_is_not_there_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    readings, _ = lay_springs(tmp_path, 247.0)
    assert main(["records", "add", str(readings), "--store", str(tmp_path / "none" / "records.sqlite")]) == 3
    assert "its folder is not there" in one_sentence(capsys)


def test_a_store_where_nothing_may_be_written_is_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    # root has leave for everything
    file = store_file(tmp_path)
    readings, _ = lay_springs(tmp_path, 247.0)
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    monkeypatch.setattr(os, "access", lambda _path, wanted: not wanted & os.W_OK)
    assert main(["records", "history", "S1", "--store", str(file)]) == 0
    assert main(["records", "check", "--store", str(file)]) == 0
    capsys.readouterr()
    assert main(["records", "add", str(readings), "--store", str(file), "--quiet"]) == 3
    assert "can only be read" in one_sentence(capsys)
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == before
    file.with_name("records.sqlite-wal").write_bytes(b"left")
    assert main(["records", "list", "--store", str(file)]) == 3
    assert "not yet in it" in one_sentence(capsys)


# -- lost connections --------------------------------------------------------------------------------------------------


class Breaking:
    """Sixty entries, with something that happens while they are added; `times`: in how many goes through them."""

    def __init__(self, happens: Callable[[], object], times: int) -> None:
        self.happens = happens
        self.left = times

    def __iter__(self) -> Iterator[Entry]:
        for number in range(60):
            if number == 55 and self.left:
                self.left -= 1
                self.happens()
            yield entry(f"S{number}")


def end_connections(server: Server, url: str) -> Callable[[], object]:
    """What ends every connection to a database but the one that asks."""
    statement = "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE application_name = 'valvelab'"
    return lambda: server.say(statement, database=database_of(url))


def test_an_idle_connection_that_was_lost_is_made_anew(postgres: Server) -> None:
    url = postgres.new_database()
    with open_store(url) as store:
        store.add([entry("A")])
        end_connections(postgres, url)()
        assert len(store.find(Filter())) == 1
        end_connections(postgres, url)()
        store.add([entry("B")])
        assert len(store.find(Filter())) == 2


def test_a_connection_lost_midway_is_tried_once_more_and_no_record_is_kept_twice(postgres: Server) -> None:
    url = postgres.new_database()
    with open_store(url) as store:
        assert store.add(Breaking(end_connections(postgres, url), times=1)) == 60
        assert len(store.find(Filter())) == 60


def test_a_connection_lost_again_is_one_sentence_and_nothing_is_kept(postgres: Server) -> None:
    url = postgres.new_database()
    with open_store(url) as store:
        with pytest.raises(StoreError, match="connection to the database was lost; nothing is half written"):
            store.add(Breaking(end_connections(postgres, url), times=2))
        assert store.find(Filter()) == ()
        assert postgres.say("SELECT count(*) FROM content", database=database_of(url)) == [(0,)]


def test_a_server_that_dies_midway_keeps_nothing_half(postgres: Server) -> None:
    url = postgres.new_database()
    with open_store(url) as store:
        store.add([entry("A")])
        try:
            with pytest.raises(StoreError, match="can't be reached"):
                store.add(Breaking(postgres.stop, times=1))
        finally:
            postgres.start()
        assert [row.serial for row in store.find(Filter())] == ["A"]
        assert store.check() == ()


def test_a_server_that_is_not_there_is_one_sentence(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    pytest.importorskip("psycopg")
    url = f"postgresql+psycopg://bench:secret@/store?host={tmp_path}"
    assert main(["records", "list", "--store", url]) == 3
    said = one_sentence(capsys)
    assert "secret" not in said
    assert "can't be reached" in said


def test_a_database_that_is_not_there_is_one_sentence(postgres: Server, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["records", "list", "--store", postgres.url("nowhere")]) == 3
    assert "nowhere" in one_sentence(capsys)


# -- foreign and damaged -----------------------------------------------------------------------------------------------


def test_a_newer_store_is_refused(place: str, request: pytest.FixtureRequest) -> None:
    with open_store(place) as store:
        store.add([entry("A")])
    newer = "UPDATE store_version SET version_num = '9999'"
    if "://" in place:
        request.getfixturevalue("postgres").say(newer, database=database_of(place))
    else:
        with contextlib.closing(sqlite3.connect(place, isolation_level=None)) as file:
            file.execute(newer)
    with pytest.raises(StoreError, match="found form '9999', written by a newer valvelab, expected at most"):
        open_store(place)


def test_another_program_s_database_is_left_alone(place: str, request: pytest.FixtureRequest) -> None:
    theirs = "CREATE TABLE record (mine INTEGER)"
    if "://" in place:
        request.getfixturevalue("postgres").say(theirs, database=database_of(place))
    else:
        with contextlib.closing(sqlite3.connect(place, isolation_level=None)) as file:
            file.execute(theirs)
    with pytest.raises(StoreError, match="another program's database"):
        open_store(place)


def store_file(folder: Path) -> Path:
    file = folder / "records.sqlite"
    with open_store(str(file)) as store:
        store.add([entry(f"S{number}", readings=bytes(range(256)) * 40 + bytes([number])) for number in range(30)])
    return file


def run_all(file: Path, capsys: pytest.CaptureFixture[str]) -> set[int]:
    """Everything that reads a store, and what adds to it; whatever fails fails in one sentence."""
    readings, _ = lay_springs(file.parent, 247.0)
    codes = set()
    for words in (
        ["list"],
        ["history", "S1"],
        ["check"],
        ["export", str(file.parent / "o.zip")],
        ["add", str(readings)],
    ):
        code = main(["records", *words, "--store", str(file), "--quiet"])
        codes.add(code)
        if code == 3:
            one_sentence(capsys)
        else:
            assert code in {0, 1}
        capsys.readouterr()
    return codes


def test_a_file_that_is_none(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    texts = [b"not a database", b"SQLite format 3\0" + b"x" * 5000, b"\0" * 4096, b"PK\x03\x04" + b"\0" * 100]
    for number, data in enumerate(each(texts)):
        (tmp_path / str(number)).mkdir()
        file = tmp_path / str(number) / "records.sqlite"
        file.write_bytes(data)
        assert run_all(file, capsys) == {3}
        assert file.read_bytes() == data, "what is no store is left as it was"
    (tmp_path / "folder.sqlite").mkdir()
    assert main(["records", "list", "--store", str(tmp_path / "folder.sqlite")]) == 3
    one_sentence(capsys)


def test_a_file_of_20_gb_that_is_none(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "records.sqlite"
    file.touch()
    os.truncate(file, 20 * 2**30)  # a hole: it takes no room
    assert run_all(file, capsys) == {3}
    assert file.stat().st_size == 20 * 2**30


def test_a_file_cut_off_or_scribbled_over(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    whole = store_file(tmp_path).read_bytes()
    chance = random.Random(7)  # noqa: S311 - places, no secrets
    found: set[int] = set()
    for number in range(12):
        folder = tmp_path / str(number)
        folder.mkdir()
        data = bytearray(whole)
        if number % 3:
            for _ in range(40):
                data[chance.randrange(len(data))] = chance.randrange(256)
        else:
            del data[chance.randrange(len(data)) :]
        (folder / "records.sqlite").write_bytes(data)
        found |= run_all(folder / "records.sqlite", capsys)
    assert 3 in found


ENDLESS = "WITH RECURSIVE n(record) AS (SELECT 1 UNION ALL SELECT record + 1 FROM n) SELECT record FROM n"
HOSTILE = [
    f"DROP TABLE record_item; CREATE VIEW record_item AS {ENDLESS}",
    "CREATE TRIGGER more AFTER INSERT ON record BEGIN DELETE FROM content; END",
    "DROP TABLE record_file; CREATE TABLE record_file (record, place, name)",
    "CREATE TABLE more (x)",
    f"CREATE TRIGGER record_insert BEFORE INSERT ON record BEGIN SELECT 1 WHERE 0 IN ({ENDLESS}); END",
    "DELETE FROM store_version",
    "INSERT INTO store_version VALUES ('0000')",
    "DROP TABLE store_version; CREATE TABLE store_version (other)",
    "UPDATE record SET date = x'ff00ff'",
    "UPDATE record SET date = '2026-01-01; DROP'",
    "UPDATE record SET accepted = 'many'",
    "UPDATE record SET recorded = NULL",
    "UPDATE record SET serial = char(27) || '[2J'",
    "UPDATE record_file SET size = -1",
    "UPDATE content SET data = 12",
    "UPDATE content SET data = zeroblob(5000)",
]


@pytest.mark.parametrize("statements", HOSTILE)
def test_a_hostile_file_is_one_sentence(tmp_path: Path, capsys: pytest.CaptureFixture[str], statements: str) -> None:
    file = store_file(tmp_path)
    with contextlib.closing(sqlite3.connect(file, isolation_level=None)) as connection:
        triggers = connection.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
        connection.execute("PRAGMA foreign_keys = OFF")
        connection.execute("PRAGMA writable_schema = ON")
        for name, _ in triggers:
            connection.execute(f"DROP TRIGGER {name}")
        with contextlib.suppress(sqlite3.IntegrityError):  # NOT NULL stays
            connection.executescript(statements)
        for _, sql in triggers:
            with contextlib.suppress(sqlite3.OperationalError):
                connection.execute(sql)
    codes = run_all(file, capsys)
    assert codes & {1, 3} or "recorded = NULL" in statements
