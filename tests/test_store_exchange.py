"""A whole store goes out as plain files and comes back, on another database, with the same verdicts."""

from __future__ import annotations

import json
import shutil
import sqlite3
import zipfile
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path

import pytest
from postgres import Server, database_of
from something import each
from stored import answer, entry, lay_springs

from valvelab.cli.main import main
from valvelab.errors import BadFile, CannotWrite, StoreError
from valvelab.records.stored import Entry
from valvelab.store import Filter, Store, open_store
from valvelab.store.exchange import export, restore


def filled(place: str) -> Store:
    """A store with a correction, bytes in common, and a customer."""
    store = open_store(place)
    first = entry("A", readings=b"common")
    second = entry("B", "2026-05-01", readings=b"common", customer="lake", operator="µ“弁”")
    store.add([first, second])
    store.add([entry("A2", "2026-05-02", corrects=first.record.id, reason="serial misread", decision="reject")])
    return store


@pytest.mark.parametrize("form", ["folder", "out.zip"])
def test_there_and_back_to_the_other_database(postgres: Server, tmp_path: Path, form: str) -> None:
    # from SQLite to PostgreSQL, and from there to SQLite
    with filled(str(tmp_path / "first.sqlite")) as first, open_store(postgres.new_database()) as second:
        export(first, tmp_path / form)
        assert restore(second, tmp_path / form)[1] == 3
        export(second, tmp_path / f"again-{form}")
        with open_store(str(tmp_path / "last.sqlite")) as last:
            assert restore(last, tmp_path / f"again-{form}")[1] == 3
            assert restore(last, tmp_path / f"again-{form}")[1] == 0, "what is there stays as it is"
            everything = first.find(Filter())
            assert len(everything) == 3
            assert last.find(Filter()) == second.find(Filter()) == everything
            for file in each(file for record in everything for file in record.files):
                assert last.content(file.sha256) == second.content(file.sha256) == first.content(file.sha256)
            assert last.check() == second.check() == ()


def test_an_inspection_has_its_verdicts_on_the_other_database_and_gives_them_again(
    postgres: Server, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    readings, spec = lay_springs(tmp_path, 247.0, 220.0)
    first, second, out = str(tmp_path / "first.sqlite"), postgres.new_database(), str(tmp_path / "out.zip")
    added = answer(capsys, "add", str(readings), "--spec", str(spec), "--store", first, code=1)["records"][0]
    answer(capsys, "export", out, "--store", first)
    answer(capsys, "import", out, "--store", second)
    shown = [answer(capsys, "show", added["id"], "--store", store, code=1) for store in (first, second)]
    verdicts = [row["decision"] for row in shown[1]["result"]["verdicts"]]
    assert verdicts == ["accept", "reject"]
    assert [shown[1][key] for key in ("record", "result")] == [shown[0][key] for key in ("record", "result")]
    answer(capsys, "files", added["id"], str(tmp_path / "again"), "--store", second)
    laid = [str(tmp_path / "again" / name) for name in ("tray.csv", "tray.toml")]
    assert main(["springs", laid[0], "--spec", laid[1], "--json"]) == 1
    assert json.loads(capsys.readouterr().out)["verdicts"] == shown[0]["result"]["verdicts"]


def test_an_export_is_open_to_everyone(tmp_path: Path) -> None:
    with filled(str(tmp_path / "records.sqlite")) as store:
        export(store, tmp_path / "out")
    manifest = json.loads((tmp_path / "out" / "manifest.json").read_text(encoding="utf-8"))
    lines = (tmp_path / "out" / "records.jsonl").read_text(encoding="utf-8").splitlines()
    assert manifest["records"] == len(lines) == 3
    assert [json.loads(line)["serial"] for line in lines] == ["A", "B", "A2"]
    for file in each(manifest["files"]):
        data = (tmp_path / "out" / file["name"]).read_bytes()
        assert (file["sha256"], file["size"]) == (sha256(data).hexdigest(), len(data))
    everything = {path.relative_to(tmp_path / "out").as_posix() for path in (tmp_path / "out").rglob("*.*")}
    assert {name for name in everything if "content" not in name} == {"manifest.json", "records.jsonl"}


def test_the_commands(place: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    filled(place).close()
    out = str(tmp_path / "out.zip")
    assert answer(capsys, "export", out, "--store", place)["records"] == 3
    other = str(tmp_path / "other.sqlite")
    taken = answer(capsys, "import", out, "--store", other)
    assert (taken["records"], taken["known"]) == (3, 0)
    assert answer(capsys, "import", out, "--store", other)["known"] == 3
    decisions = [row["decision"] for row in answer(capsys, "list", "--store", other)["records"]]
    assert decisions == [row["decision"] for row in answer(capsys, "list", "--store", place)["records"]]
    assert answer(capsys, "check", "--store", other)["sound"] is True
    assert main(["records", "export", other, "--store", other]) == 2
    assert main(["records", "import", str(tmp_path / "none"), "--store", other]) == 3
    assert capsys.readouterr().err.count("\n") == 2


def test_what_is_there_is_not_written_over(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "mine.txt").write_text("mine", encoding="utf-8")
    with (
        filled(str(tmp_path / "records.sqlite")) as store,
        pytest.raises(CannotWrite, match="something is there already"),
    ):
        export(store, tmp_path / "out")


def changed(folder: Path, name: str, change: Callable[[bytes], bytes]) -> None:
    (folder / name).write_bytes(change((folder / name).read_bytes()))


def relisted(folder: Path) -> None:
    """The manifest made to vouch for a changed list of records, as a forger would."""
    lines = (folder / "records.jsonl").read_bytes()
    manifest = json.loads((folder / "manifest.json").read_bytes())
    manifest["files"][0] |= {"sha256": sha256(lines).hexdigest(), "size": len(lines)}
    (folder / "manifest.json").write_text(json.dumps(manifest), encoding="utf-8")


def a_content(folder: Path) -> str:
    found = sorted(path for path in (folder / "content").rglob("*") if path.is_file())
    return found[0].relative_to(folder).as_posix()


def forged(folder: Path) -> None:
    changed(folder, "records.jsonl", lambda data: data.replace(b'"reject"', b'"accept"'))
    relisted(folder)


HARM: dict[str, tuple[Callable[[Path], object], str]] = {
    "no manifest": (lambda folder: (folder / "manifest.json").unlink(), "can't be read"),
    "no JSON": (lambda folder: changed(folder, "manifest.json", lambda _: b"{"), "manifest.json"),
    "newer": (
        lambda folder: changed(folder, "manifest.json", lambda data: data.replace(b'version": 1', b'version": 2')),
        "schema_version",
    ),
    "a verdict changed": (
        lambda folder: changed(folder, "records.jsonl", lambda data: data.replace(b'"reject"', b'"accept"')),
        "another record than its name says",
    ),
    "a verdict changed, the manifest too": (forged, "another record than its name says"),
    "cut off": (
        lambda folder: changed(folder, "records.jsonl", lambda data: data[: data.rfind(b'{"schema')]),
        "other bytes",
    ),
    "bytes changed": (lambda folder: changed(folder, a_content(folder), lambda data: data[:-1] + b"!"), "other bytes"),
    "bytes longer": (lambda folder: changed(folder, a_content(folder), lambda data: data + b"!"), "more than"),
    "bytes gone": (lambda folder: (folder / a_content(folder)).unlink(), "can't be read"),
    "no record": (lambda folder: changed(folder, "records.jsonl", lambda _: b"[]\n"), "line 1"),
}


@pytest.mark.parametrize("harm", HARM)
def test_a_torn_or_forged_export_is_refused_whole(tmp_path: Path, harm: str) -> None:
    with filled(str(tmp_path / "records.sqlite")) as store:
        export(store, tmp_path / "out")
    act, said = HARM[harm]
    act(tmp_path / "out")
    with open_store(str(tmp_path / "other.sqlite")) as other:
        with pytest.raises(BadFile, match=said) as refused:
            restore(other, tmp_path / "out")
        assert "\n" not in str(refused.value)
        assert other.find(Filter()) == ()


def test_a_zip_that_is_none_is_refused(tmp_path: Path) -> None:
    torn = tmp_path / "torn.zip"
    with zipfile.ZipFile(torn, "w") as archive:
        archive.writestr("manifest.json", "{}")
    changed(tmp_path, "torn.zip", lambda data: data[:-10])
    with open_store(str(tmp_path / "other.sqlite")) as other, pytest.raises(BadFile, match="expected a whole export"):
        restore(other, torn)


# -- check ------------------------------------------------------------------------------------------------------------

CHANGES = {
    "a verdict": ("UPDATE record SET decision = 'accept' WHERE decision = 'reject'", "found other contents"),
    "bytes": ("UPDATE content SET data = 'x' WHERE sha256 = (SELECT min(sha256) FROM content)", "other bytes"),
    "a name": ("UPDATE record_file SET name = 'other' WHERE place = 0 AND record = 1", "found other contents"),
    "an item": ("DELETE FROM record_item WHERE record = 1", "found other contents"),
    "bytes gone": ("DELETE FROM content WHERE sha256 = (SELECT min(sha256) FROM content)", "found no bytes"),
}


@pytest.mark.parametrize("change", CHANGES)
def test_whatever_was_changed_behind_its_back_is_found(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], change: str
) -> None:
    file = tmp_path / "records.sqlite"
    filled(str(file)).close()
    statement, said = CHANGES[change]
    connection = sqlite3.connect(file)
    triggers = connection.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
    for name, _ in triggers:
        connection.execute(f"DROP TRIGGER {name}")
    assert connection.execute(statement).rowcount >= 1
    for _, sql in triggers:
        connection.execute(sql)
    connection.commit()
    connection.close()
    found = answer(capsys, "check", "--store", str(file), code=1)
    assert found["sound"] is False
    assert any(said in fault for fault in found["faults"])
    if said == "found other contents":
        assert main(["records", "list", "--store", str(file)]) == 3, "a changed record is never shown as one"


# -- roles ------------------------------------------------------------------------------------------------------------


def test_a_bench_may_add_and_read_and_nothing_else(postgres: Server, capsys: pytest.CaptureFixture[str]) -> None:
    import psycopg

    url = postgres.new_database()
    database = database_of(url)
    postgres.say("DROP ROLE IF EXISTS bench", "CREATE ROLE bench LOGIN")
    kept = entry()
    with open_store(url) as store:
        store.add([kept])
        bench = postgres.url(database, "bench")
        with pytest.raises(StoreError, match="records grant"):
            open_store(bench)
        assert answer(capsys, "grant", "bench", "--store", url)["role"] == "bench"
        with open_store(bench) as at_bench:
            at_bench.add([entry("B")])
            assert {row.serial for row in at_bench.find(Filter())} == {"Q4-017", "B"}
            with pytest.raises(StoreError, match="this role may not do that"):
                at_bench.grant("bench")
        statements = ("UPDATE record SET serial = 'X'", "DELETE FROM content", "TRUNCATE record_item",
                      "DROP TABLE record", "ALTER TABLE record DISABLE TRIGGER ALL",
                      "UPDATE store_version SET version_num = 'X'")  # fmt: skip
        target = f"host={postgres.folder} user=bench dbname={database}"
        with psycopg.connect(target, autocommit=True) as connection:
            for statement in statements:
                with pytest.raises(psycopg.errors.InsufficientPrivilege):
                    connection.execute(statement)
        assert main(["records", "grant", "nobody here", "--store", url]) == 3
        assert store.get(kept.record.id) == kept.record


def test_a_file_knows_no_roles(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = str(tmp_path / "records.sqlite")
    filled(file).close()
    assert main(["records", "grant", "bench", "--store", file]) == 3
    assert "found a file of SQLite" in capsys.readouterr().err


def test_a_certificate_is_kept_with_what_it_carries(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    paper, file = tmp_path / "paper.pdf", str(tmp_path / "records.sqlite")
    readings, spec = lay_springs(tmp_path, 247.0, 220.0)
    main(["certify", str(readings), "--spec", str(spec), "--out", str(paper), "--quiet"])
    code = main(["records", "add", str(readings), "--spec", str(spec), "--store", file, "--quiet"])
    capsys.readouterr()
    added = answer(capsys, "add", str(paper), "--store", file, code=code)["records"][0]
    certificate = next(row for row in added["files"] if row["role"] == "certificate")
    assert certificate["sha256"] == sha256(paper.read_bytes()).hexdigest()
    other = next(row for row in answer(capsys, "list", "--store", file)["records"] if row["id"] != added["id"])
    same = ("part", "serial", "decision", "accepted", "rejected", "undecided", "items", "inspect")
    assert {key: added[key] for key in same} == {key: other[key] for key in same}
    shutil.copy(paper, tmp_path / "forged.pdf")
    changed(tmp_path, "forged.pdf", lambda data: data[:-40] + b"%" + data[-39:])
    assert main(["records", "add", str(tmp_path / "forged.pdf"), "--store", file]) == 3
    assert capsys.readouterr().err.count("\n") == 1
    assert len(answer(capsys, "list", "--store", file)["records"]) == 2


def test_an_earlier_version_s_certificate_keeps_its_own_figures(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    paper = Path(__file__).resolve().parent / "certificates_0_1_0" / "gauge.pdf"
    added = answer(capsys, "add", str(paper), "--store", str(tmp_path / "records.sqlite"))
    (record,) = added["records"]
    assert record["version"] == "0.1.0"
    assert any(note["about"] == "version" and "0.1.0" in note["text"] for note in added["notes"])
    main(["verify", str(paper), "--json", "--quiet"])
    assert len(added["verdicts"]) == len(json.loads(capsys.readouterr().out)["verdicts"])


def test_the_files_of_a_record_are_a_job_again(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    readings, spec = lay_springs(tmp_path, 247.0, 220.0)
    file, folder = str(tmp_path / "records.sqlite"), tmp_path / "again"
    words = ["add", str(readings), "--spec", str(spec), "--store", file]
    added = answer(capsys, *words, code=1)["records"][0]
    written = answer(capsys, "files", added["id"][:6], str(folder), "--store", file)
    assert written["record"]["id"] == added["id"]
    assert (folder / "tray.csv").read_bytes() == readings.read_bytes()
    assert {path.name for path in folder.iterdir()} == {row["name"] for row in added["files"]}
    assert main(["records", "files", added["id"], str(folder), "--store", file]) == 3, "nothing is written over"
    capsys.readouterr()
    again = answer(capsys, "add", str(folder), "--store", file, code=1)["records"][0]
    for row in each(added["files"]):
        assert row in again["files"], "the same bytes inspected give the same bytes"


def test_a_file_named_outside_its_folder_is_not_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    harm = entry()
    files = tuple(file.model_copy(update={"name": f"../{file.name}"}) for file in harm.record.files)
    file = str(tmp_path / "records.sqlite")
    with open_store(file) as store:
        store.add([Entry(harm.record.model_copy(update={"files": files}).named(), harm.contents)])
        name = store.find(Filter())[0].id
    assert main(["records", "files", name, str(tmp_path / "new"), "--store", file]) == 3
    assert "names within it" in capsys.readouterr().err
    assert {path.name for path in tmp_path.iterdir()} <= {"records.sqlite", "new"}
