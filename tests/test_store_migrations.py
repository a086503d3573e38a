"""Every form that a store has had is read: small stores frozen as they were, and the recipe for a new form followed."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from postgres import Server, database_of
from something import each
from sqlalchemy import create_engine, text
from stored import entry

from valvelab.records.stored import StoredRecord
from valvelab.store import Filter, open_store, url_of
from valvelab.store.schema import MIGRATIONS, REVISIONS
from valvelab.store.tables import METADATA, RECORD, VERSION_TABLE

HERE = Path(__file__).resolve().parent
ROOT = HERE.parent
FORMS = sorted(path.name for path in (HERE / "stores").iterdir())


def thawed(form: str, database: str, folder: Path, request: pytest.FixtureRequest) -> str:
    """The place of a frozen store of a form, laid out anew."""
    if database == "sqlite":
        shutil.copy(HERE / "stores" / form / "records.sqlite", folder)
        return str(folder / "records.sqlite")
    server: Server = request.getfixturevalue("postgres")
    url = server.new_database()
    server.say((HERE / "stores" / form / "records.sql").read_text("utf-8"), database=database_of(url))
    return url


@pytest.fixture(params=["sqlite", "postgresql"])
def database(request: pytest.FixtureRequest) -> str:
    name: str = request.param
    return name


@pytest.mark.parametrize("form", FORMS)
def test_a_store_of_every_form_is_read_as_it_was(
    form: str, database: str, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    lines = (HERE / "stores" / form / "records.jsonl").read_text("utf-8").splitlines()
    kept = [StoredRecord.model_validate_json(line) for line in lines]
    with open_store(thawed(form, database, tmp_path, request), create=False) as store:
        assert [record.line() for record in store.every()] == lines
        assert store.check() == ()
        wrong = next(record for record in store.every() if record.corrected_by)
        assert next(record for record in kept if record.corrects).corrects == wrong.id
        for file in each(kept[0].files):
            assert len(store.content(file.sha256)) == file.size
        new = entry("added since")
        store.add([new])
        assert store.get(new.record.id) == new.record


def test_every_form_is_frozen_or_the_present_one() -> None:
    assert {*REVISIONS[:-1]} <= {*FORMS} <= {*REVISIONS}
    assert FORMS[0] == REVISIONS[0]


def test_the_migrations_lead_from_each_form_to_the_next() -> None:
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    steps = [step.revision for step in ScriptDirectory.from_config(config).walk_revisions()]
    assert tuple(steps[::-1]) == REVISIONS


#: of an index over an expression SQLite's dialect reads back that it is there, and not what it says
@pytest.mark.filterwarnings("ignore:.*expression-based index:")
def test_the_tables_are_those_that_the_migrations_make(place: str) -> None:
    open_store(place).close()
    engine = create_engine(url_of(place))
    listing = "SELECT indexname FROM pg_indexes" if "://" in place else "SELECT name FROM sqlite_master"
    with engine.connect() as connection:
        made = connection.execute(text(listing)).scalars().all()
        assert {index.name for index in RECORD.indexes} <= {*made}
        told = {"version_table": VERSION_TABLE, "compare_type": True}
        found = compare_metadata(MigrationContext.configure(connection, opts=told), METADATA)
    engine.dispose()
    assert found == []


def test_a_store_made_by_many_at_once_is_made_once(place: str) -> None:
    def add(number: int) -> None:
        with open_store(place) as store:
            store.add([entry(str(number))])

    with ThreadPoolExecutor(4) as threads:
        list(threads.map(add, range(4)))
    with open_store(place, create=False) as store:
        assert {row.serial for row in store.find(Filter())} == {"0", "1", "2", "3"}


def test_a_store_of_the_present_form_is_opened_without_what_migrates(place: str) -> None:
    open_store(place).close()
    code = (
        "import sys\nfrom valvelab.store import Filter, open_store\n"
        "with open_store(sys.argv[1]) as store:\n    store.find(Filter())\n"
        "assert 'sqlalchemy' in sys.modules\nassert not {'alembic', 'mako', 'scipy'} & set(sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code, place], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


# -- the recipe "add a migration" --------------------------------------------------------------------------------------

STEP = '''"""Records say which bench they come from."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "{new}"
down_revision = "{old}"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the column."""
    op.add_column("record", sa.Column("bench", sa.Text))
{more}'''
USED = """
import sys
from stored import entry
from valvelab.store import Filter, open_store
with open_store(sys.argv[1], create=False) as store:
    kept = entry("new", bench="bench two")
    store.add([kept])
    found = {row.serial: row.bench for row in store.find(Filter())}
    assert found["new"] == "bench two" and found["Q4-018"] is None, found
    assert store.check() == ()
"""


def edited(path: Path, before: str, after: str) -> None:
    text = path.read_text(encoding="utf-8")
    assert text.count(before) == 1, f"{path.name}: {before!r}"
    path.write_text(text.replace(before, after), encoding="utf-8")


@pytest.fixture
def next_version(tmp_path: Path) -> Callable[[str], Path]:
    """What makes a copy of the package with one more form, as the recipe says."""

    def made(more: str) -> Path:
        shutil.copytree(ROOT / "valvelab", tmp_path / "valvelab", ignore=shutil.ignore_patterns("__pycache__"))
        store = tmp_path / "valvelab" / "store"
        old, new = REVISIONS[-1], "0099"
        step = STEP.format(new=new, old=old, more=more)
        (store / "migrations" / "versions" / f"r{new}_bench.py").write_text(step, encoding="utf-8")
        edited(store / "schema.py", f'"{old}")', f'"{old}", "{new}")')
        edited(store / "tables.py", 'Column("reason", Text),', 'Column("reason", Text),\n    Column("bench", Text),')
        edited(
            tmp_path / "valvelab" / "records" / "stored.py",
            "    reason: Text | None = None\n    items",
            "    reason: Text | None = None\n    bench: Text | None = None\n    items",
        )
        return tmp_path

    return made


def run_next(folder: Path, place: str) -> subprocess.CompletedProcess[str]:
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join([str(folder), str(HERE)]), "PYTHONSAFEPATH": "1"}
    return subprocess.run(
        [sys.executable, "-c", USED, place], cwd=folder, env=environment, capture_output=True, text=True, check=False
    )


def test_the_recipe_migrates_a_store_and_its_records_keep_their_names(
    database: str, tmp_path: Path, request: pytest.FixtureRequest, next_version: Callable[[str], Path]
) -> None:
    place = thawed(REVISIONS[0], database, tmp_path, request)
    done = run_next(next_version(""), place)
    assert done.returncode == 0, done.stderr
    with pytest.raises(Exception, match="written by a newer valvelab"):
        open_store(place)


def test_a_migration_that_fails_leaves_the_store_as_it_was(
    database: str, tmp_path: Path, request: pytest.FixtureRequest, next_version: Callable[[str], Path]
) -> None:
    place = thawed(REVISIONS[0], database, tmp_path, request)
    done = run_next(next_version("    raise ValueError('midway')\n"), place)
    assert "midway" in done.stderr
    with open_store(place, create=False) as store:
        assert len(store.find(Filter())) == 4
        assert store.check() == ()
