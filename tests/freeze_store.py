"""Freezes a small store of the present form, so that every later version is held to migrating it.

Run `python tests/freeze_store.py` before a migration is added; what was frozen already stays. In `tests/stores/FORM`
lie `records.sqlite`, `records.sql` (the same in PostgreSQL, as pg_dump writes it) and `records.jsonl` (as read back).
"""

from __future__ import annotations

import shutil
import sqlite3
import subprocess
import sys
import tempfile
from contextlib import closing
from pathlib import Path

from postgres import programs, running
from stored import entry

from valvelab.store import Store, open_store
from valvelab.store.schema import REVISIONS

STORES = Path(__file__).resolve().parent / "stores"


def fill(store: Store) -> None:
    """A record, its correction, another with everything stated, one with nothing."""
    first = entry("Q4-017", readings=b"common readings")
    whole = entry(
        "Q4-018", "2026-05-01", readings=b"common readings", part="camshaft µ“弁”", customer="lake", operator="E. W.",
        instrument="dial 3", instrument_calibrated="2026-02-10", instrument_due="2026-04-30", spec_title="club",
        spec_revision="C", decision="reject", rejected=1,
    )  # fmt: skip
    bare = entry(None, "2026-06-01", temperature_degc=None, decision=None, accepted=0, items=())
    store.add([first, whole, bare])
    store.add([entry("Q4-020", "2026-03-14", corrects=first.record.id, reason="serial misread")])


def main() -> None:
    """Freeze the present form."""
    folder, found = STORES / REVISIONS[-1], programs()
    if folder.exists() or found is None:
        sys.exit(f"{folder}: found there already, or no PostgreSQL to freeze it from")
    folder.mkdir(parents=True)
    with tempfile.TemporaryDirectory() as place:
        file = Path(place) / "records.sqlite"
        with open_store(str(file)) as store:
            fill(store)
            lines = [record.line() for record in store.every()]
        with closing(sqlite3.connect(file, isolation_level=None)) as connection:
            connection.execute("PRAGMA journal_mode = DELETE")
        shutil.copy(file, folder)
    (folder / "records.jsonl").write_text("\n".join(lines) + "\n", encoding="utf-8")
    with running(found) as server:
        url = server.new_database()
        with open_store(url) as store:
            fill(store)
        words = ["pg_dump", "--inserts", "--no-owner", "-h", str(server.folder), "-U", "owner", "store1"]
        dump = subprocess.run([server.bin / words[0], *words[1:]], capture_output=True, text=True, check=True).stdout
    kept = [line for line in dump.splitlines() if not line.startswith(("\\", "SET transaction_timeout", "--"))]
    (folder / "records.sql").write_text("\n".join(filter(None, kept)) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
