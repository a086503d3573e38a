"""The record store with 1,000 and with 100,000 records: what a list by serial and a part's history cost, as ratios.

python tests/benchmarks/bench_store.py [RECORDS]

Ratios of one run on SQLite, and on PostgreSQL where Debian's packages are found. Every record is whole: eight items,
three files with bytes of its own, and a name that is its SHA-256; four of them have the lift tables whose wear is asked
for. Filled by bulk inserts; what is measured goes the ordinary roads.
"""

from __future__ import annotations

import io
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, redirect_stdout
from functools import partial
from hashlib import sha256
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from postgres import programs, running
from sqlalchemy import StaticPool, create_engine, func, insert, select, text
from test_store_history import lay_camshaft

from valvelab.cli.main import main as command
from valvelab.job.history import history
from valvelab.records.stored import StoredFile, StoredItem, StoredRecord
from valvelab.store import Filter, Store, open_store, url_of
from valvelab.store.tables import CONTENT, FILE, ITEM, RECORD

FEW, MANY = 1_000, 100_000
LIVES, ROUNDS, AT_ONCE = 4, 15, 2_000
SERIAL = "Q4-017"
ROWS = 101
AS_THE_WINDOW_ASKS = {
    "serial begun": Filter(serial="s0001", begins=True, limit=ROWS),
    "serial barely begun": Filter(serial="s", begins=True, limit=ROWS),
    "part begun": Filter(part="Part 1", begins=True, limit=ROWS),
    "customer begun": Filter(customer="customer 1", begins=True, limit=ROWS),
    "customer and verdict": Filter(customer="customer 1", decision="reject", begins=True, limit=ROWS),
    "verdict": Filter(decision="reject", begins=True, limit=ROWS),
    "five years": Filter(since="2010-01-01", until="2014-12-31", begins=True, limit=ROWS),
    "what five years accepted": Filter(
        since="2010-01-01", until="2014-12-31", decision="accept", begins=True, limit=ROWS
    ),
    "the second page": Filter(begins=True, limit=ROWS, offset=100),
}
"""With a page of rows, and one more that says whether there are others."""


def record(number: int) -> tuple[StoredRecord, dict[str, bytes]]:
    """A record of its own, four to a serial number, spread over twenty years."""
    contents = {name: f"{name} {number} ".encode() * 40 for name in ("lift.csv", "job.toml", "result-1-lobes.json")}
    roles = ("readings", "job", "result")
    files = tuple(
        StoredFile(name=name, role=role, sha256=sha256(data).hexdigest(), size=len(data))  # type: ignore[arg-type]
        for role, (name, data) in zip(roles, contents.items(), strict=True)
    )
    day = f"{2005 + number % 20}-{1 + number % 12:02}-{1 + number % 28:02}"
    decision: Any = ("accept", "accept", "undecided", "reject")[number % 4]
    made = StoredRecord(
        recorded=f"{day}T08:00:00.{number:06}+00:00",
        date=day,
        inspect="lobes",
        version="0.2.0",
        job_part=0,
        part=f"part {number % 50}",
        serial=f"S{number // LIVES:06}",
        customer=f"customer {number % 200}",
        decision=decision,
        accepted=8,
        rejected=0,
        undecided=0,
        files=files,
        items=tuple(StoredItem(item=f"{cylinder}{kind}", decision="accept") for cylinder in "1234" for kind in "IE"),
    )
    return made.named(), {file.sha256: data for file, data in zip(files, contents.values(), strict=True)}


def fill(place: str, count: int) -> None:
    """Bring a store to so many records."""
    engine = create_engine(url_of(place), poolclass=StaticPool)
    columns = [column.name for column in RECORD.c if column.name != "number"]
    with engine.connect() as connection:
        there = connection.execute(select(func.count()).select_from(RECORD)).scalar_one()
        first = 1 + (connection.execute(select(func.max(RECORD.c.number))).scalar() or 0)
    for start in range(there, count, AT_ONCE):
        rows = [record(number) for number in range(start, min(start + AT_ONCE, count))]
        numbered = list(enumerate(rows, start=first + start - there))
        contents = [{"sha256": digest, "data": data} for _, held in rows for digest, data in held.items()]
        heads = [{"number": at, **{name: getattr(one, name) for name in columns}} for at, (one, _) in numbered]
        with engine.begin() as connection:
            if engine.dialect.name == "sqlite":  # filled quickly; what is measured opens the store anew
                connection.execute(text("PRAGMA cache_size = -500000"))
            connection.execute(insert(CONTENT), sorted(contents, key=lambda row: str(row["sha256"])))
            connection.execute(insert(RECORD), heads)
            for table, parts in ((FILE, "files"), (ITEM, "items")):
                found = [
                    {"record": at, "place": place, **dict(part)}
                    for at, (one, _) in numbered
                    for place, part in enumerate(getattr(one, parts))
                ]
                connection.execute(insert(table), found)
    with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.execute(text("ANALYZE"))
    engine.dispose()


Asked = Callable[[Store], object]


def questions(serial: str, name: str) -> Iterator[tuple[str, Asked]]:
    """What is asked of a store."""
    yield "list by serial", lambda store: store.find(Filter(serial=serial, limit=51))
    yield "list the newest 50", lambda store: store.find(Filter(limit=51))
    for what, asked in AS_THE_WINDOW_ASKS.items():
        yield what, lambda store, asked=asked: store.find(asked)  # type: ignore[misc]
    yield "show", lambda store: store.get(name)
    yield "a lobe's history, read", lambda store: store.history(SERIAL)
    yield (
        "a lobe's history, with its wear",
        lambda store: history(store.history(SERIAL), store.content, "1I"),
    )


def medians_ms(works: Sequence[Callable[[], object]]) -> list[float]:
    """Median of several rounds of each, in ms; they take turns, so that a busy machine is as busy for all of them."""
    found: list[list[float]] = [[] for _ in works]
    for _ in range(ROUNDS):
        for work, times in zip(works, found, strict=True):
            start = time.perf_counter()
            work()
            times.append(1000.0 * (time.perf_counter() - start))
    return list(map(statistics.median, found))


def opened_and_listed(place: str, serial: str) -> None:
    """A list as the command asks for it."""
    with open_store(place, create=False) as store:
        store.find(Filter(serial=serial, limit=51))


def run(places: Sequence[str], name: str, folder: Path, counts: Sequence[int]) -> None:
    """Both sizes of a store, and what they cost in the ratio of one another."""
    for place, count in zip(places, counts, strict=True):
        for number in range(LIVES):
            readings = lay_camshaft(folder, f"{number}.csv", f"202{number}-03-01", 10.0 * number, "1I", "1E")
            with redirect_stdout(io.StringIO()):
                command(["records", "add", str(readings), "--store", place, "--quiet"])
        start = time.perf_counter()
        fill(place, count)
        print(f"{name}: {count} records after {time.perf_counter() - start:.0f} s", flush=True)
    first, _ = record(LIVES)  # the places of those before are taken by the shaft whose wear is asked for
    assert first.serial is not None
    with ExitStack() as held:
        stores = [held.enter_context(open_store(place)) for place in places]
        assert {len(store.find(Filter(serial=first.serial))) for store in stores} == {LIVES}
        for asked in AS_THE_WINDOW_ASKS.values():
            assert {len(store.find(asked)) for store in stores} == {ROWS}, asked
        for what, ask in questions(first.serial, first.id[:12]):
            tell(name, what, counts, medians_ms([partial(ask, store) for store in stores]))
    whole = medians_ms([partial(opened_and_listed, place, first.serial) for place in places])
    tell(name, "open, list by serial, close", counts, whole)


def tell(name: str, what: str, counts: Sequence[int], costs: Sequence[float]) -> None:
    """A line of what was measured."""
    told = ", ".join(f"{cost:.2f} ms with {count}" for cost, count in zip(costs, counts, strict=True))
    print(f"{name}: {what}: {told}, ratio {costs[1] / costs[0]:.2f}", flush=True)


def main() -> None:
    """Every database that is here."""
    counts = FEW, int(sys.argv[1]) if len(sys.argv) > 1 else MANY
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        files = [folder / name for name in ("few.sqlite", "many.sqlite")]
        run(list(map(str, files)), "SQLite", folder, counts)
        print(f"SQLite: {files[1].stat().st_size / 2**20:.0f} MB", flush=True)
        found = programs()
        if found is None:
            print("PostgreSQL is not here: as root, apt-get install postgresql")
            return
        with running(found) as server:
            run([server.new_database(), server.new_database()], "PostgreSQL", folder, counts)


if __name__ == "__main__":
    main()
