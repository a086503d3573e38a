"""The recipes "Add a file format" and "Add a use", followed in a copy of the package: everything else knows them."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
MOST_FILES = 14
"""Product files that a use may take, the file format that it reads among them."""

Edit = tuple[str, str]
"""What stands there, and what stands before it afterwards."""

#: the recipe "Add a file format": a table of face run-outs, one a valve
FORMAT: dict[str, str | Edit] = {
    "records/runouts.py": '''"""Face run-outs of valves: as read, and as inspected."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from valvelab.records.result import Record, Result, Source


@dataclass(frozen=True, slots=True)
class RunoutTable:
    """Total indicator readings on valve faces, mm, by position."""

    file: str
    source: Source
    readings_mm: dict[str, float]


class Runout(Record):
    """One valve's face."""

    position: str
    runout_mm: float


class RunoutsResult(Result):
    """The document of `valvelab runouts`."""

    command: Literal["runouts"] = "runouts"
    runouts: tuple[Runout, ...]
    worst: str
''',
    "files/runout_table.py": '''"""Face run-outs: `position, reading`."""

from __future__ import annotations

from pathlib import Path

from valvelab.files.table import read_table
from valvelab.records.runouts import RunoutTable

EXAMPLE = "position=0, reading=1 [mm]"


def read_runouts(path: str | Path, columns: str | None = None) -> RunoutTable:
    """The run-outs in a file; BadFile says what is wrong with it."""
    table = read_table(path, columns)
    position, reading = table.require("position", EXAMPLE), table.require("reading", EXAMPLE)
    table = table.with_numbers(reading, names=position)
    values = table.numbers(reading, "length")
    found = {name: float(values[rows[0]]) for name, rows in table.groups(position).items()}
    return RunoutTable(table.file, table.source, found)
''',
    "files/kinds.py": (
        '    Reader("spec", (".toml",)',
        """    Reader(
        "face run-outs", TABLE_ENDINGS, "run-out of each valve's face", "runouts", _named("position", "reading"),
        columns={"position": (), "reading": ("mm", "in")},
    ),
""",
    ),
}

#: the recipe "Add a use": how true the valves run
USE: dict[str, str | Edit] = {
    "inspection/form/runouts.py": '''"""How true valve faces run."""

from __future__ import annotations

from dataclasses import dataclass

from valvelab.records.runouts import Runout, RunoutsResult, RunoutTable


@dataclass(frozen=True, slots=True)
class RunoutsInspection:
    """The table with its result."""

    table: RunoutTable
    result: RunoutsResult


def inspect_runouts(table: RunoutTable) -> RunoutsInspection:
    """Name the face that runs out most."""
    rows = tuple(Runout(position=name, runout_mm=value) for name, value in table.readings_mm.items())
    worst = max(rows, key=lambda row: row.runout_mm).position
    return RunoutsInspection(table, RunoutsResult(source=(table.source,), runouts=rows, worst=worst))
''',
    "records/parts/runouts.py": '''"""What the inspection of face run-outs asks."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from pydantic import Field

from valvelab.records.parts.part import TablePart


class RunoutsPart(TablePart):
    """Face run-outs of valves."""

    inspect: Literal["runouts"] = "runouts"
    file: Path = Field(title="READINGS", description="position, reading")
''',
    "records/parts/kinds.py": ('    "gauge": (', '    "runouts": ("runouts", "RunoutsPart"),\n'),
    "tables/runouts.py": '''"""Tables of face run-outs."""

from __future__ import annotations

from valvelab.records.runouts import Runout, RunoutsResult
from valvelab.tables.description import Column, Table, table_of
from valvelab.units import System

COLUMNS: tuple[Column[Runout], ...] = (
    Column("valve", words=lambda row: row.position),
    Column("face run-out", "mm", lambda row: row.runout_mm),
)


def runout_table(result: RunoutsResult, system: System) -> Table:
    """A row a valve."""
    return table_of(result.runouts, COLUMNS, system)
''',
    "report/runouts_certificate.py": '''"""The certificate of face run-outs."""

from __future__ import annotations

from valvelab.inspection.form.runouts import RunoutsInspection
from valvelab.report.assembly import Part
from valvelab.tables.runouts import runout_table
from valvelab.units import System


def runouts_part(inspection: RunoutsInspection, system: System) -> Part:
    """The run-outs' part of a certificate."""
    return Part("Face run-outs", inspection.result, (), (), (runout_table(inspection.result, system),), ())
''',
    "job/runouts.py": '''"""The face run-outs of a job."""

from __future__ import annotations

from collections.abc import Sequence

from valvelab.files.runout_table import read_runouts
from valvelab.inspection.form.runouts import RunoutsInspection, inspect_runouts
from valvelab.job.use import Around, Told, Use
from valvelab.records.parts.runouts import RunoutsPart
from valvelab.records.runouts import RunoutsResult
from valvelab.report.runouts_certificate import runouts_part
from valvelab.tables.runouts import runout_table
from valvelab.units import System


def inspect(part: RunoutsPart, _around: Around) -> RunoutsInspection:
    """The inspection that a part asks for."""
    return inspect_runouts(read_runouts(part.file, part.columns))


def tables(inspection: RunoutsInspection, system: System) -> Sequence[Told]:
    """The faces, and the worst of them."""
    return [runout_table(inspection.result, system), f"worst: {inspection.result.worst}"]


USE = Use(RunoutsPart, RunoutsResult, inspect, tables, runouts_part)
''',
    "job/uses.py": (
        "    raise KeyError(name)",
        """        case "runouts":
            from valvelab.job import runouts

            return runouts.USE
""",
    ),
    "workbench/runouts_bay.py": '''"""The bay of face run-outs."""

from __future__ import annotations

from dataclasses import dataclass

from valvelab.inspection.form.runouts import RunoutsInspection, inspect_runouts
from valvelab.records.parts.part import JobPart
from valvelab.records.job import Shown
from valvelab.records.result import Result
from valvelab.records.runouts import RunoutTable
from valvelab.workbench.background import Question
from valvelab.workbench.bay import Work
from valvelab.workbench.document import Document, Kind
from valvelab.workbench.papers import part_of
from valvelab.workbench.spec_choice import stamps
from valvelab.workbench.state import BayState

NAME = "runouts"
READINGS: Kind[RunoutTable] = Kind("face run-outs")


@dataclass(frozen=True, slots=True)
class RunoutsState(BayState):
    """What is looked at."""

    bay = NAME
    valve: str = ""


def question(document: Document) -> Question[RunoutsInspection] | None:
    """Inspect the table in use."""
    read = document.value_in_use(READINGS)
    if read is None:
        return None

    table = read[1]
    return Question(stamps(document, read[0]), f"Inspecting {read[0].name}", lambda: inspect_runouts(table))


def result(inspection: RunoutsInspection) -> Result:
    """The result document of an inspection."""
    return inspection.result


def parts(document: Document) -> tuple[JobPart, ...]:
    """The readings in use."""
    file = document.in_use(READINGS)
    return () if file is None else (part_of(NAME, file, None),)


def certificate(document: Document, inspection: RunoutsInspection) -> Shown:
    """The run-outs' part of a certificate."""
    return Shown(inspection.result, *parts(document))


WORK = Work(RunoutsState, question, result, parts, certificate, spec=lambda _document: None, judges=())
''',
    "workbench/bays.py": (
        "    raise KeyError(name)",
        """        case "runouts":
            from valvelab.workbench import runouts_bay

            return runouts_bay.WORK
""",
    ),
    "window/bays/runouts_view.py": '''"""The bay of face run-outs: a row a valve."""

from __future__ import annotations

from valvelab.inspection.form.runouts import RunoutsInspection
from valvelab.tables.runouts import COLUMNS
from valvelab.window.bays.view import BayView
from valvelab.window.bench import Bench
from valvelab.window.panes import stacked
from valvelab.window.tables import TableView, of
from valvelab.workbench.document import Document


class RunoutsView(BayView[RunoutsInspection]):
    """See the module text."""

    def __init__(self, bench: Bench) -> None:
        super().__init__(bench)
        self.faces = TableView("face run-outs", [of(column, "metric") for column in COLUMNS], self)
        stacked(self, (self.faces, 1))

    def show_answer(self, document: Document, value: RunoutsInspection) -> None:
        """Show the faces."""
        if self.changed("faces", value, document.units):
            rows, units = value.result.runouts, document.units
            self.faces.show_rows(rows, [of(column.over(rows, units), units) for column in COLUMNS])

    def headline(self, _document: Document, value: RunoutsInspection) -> tuple[str, str]:
        """What was inspected."""
        return value.table.file, ""
''',
    "window/bays/door.py": (
        "    raise KeyError(name)",
        """        case "runouts":
            from valvelab.window.bays.runouts_view import RunoutsView

            return RunoutsView(bench)
""",
    ),
}

#: what an edit brings with it in the same file: a case of the door, a name in a union, a row of the list
BESIDES: dict[str, Edit] = {
    "files/kinds.py": (
        "    raise KeyError(kind)",
        """        case "face run-outs":
            from valvelab.files.runout_table import read_runouts

            return read_runouts
""",
    ),
    "job/uses.py": ('    "gauge": "repeat', '    "runouts": "how true valve faces run",\n'),
    "workbench/bays.py": (
        ')\n"""In bench order."""',
        """    Bay("runouts", "Valve faces", "shaft", ("face run-outs",), "Drop position and reading of each face."),
""",
    ),
}

IN_THE_WINDOW = """
import sys
from pathlib import Path

from PySide6.QtWidgets import QApplication

from valvelab.window.bench import Bench
from valvelab.window.main_window import MainWindow

app = QApplication([])
window = MainWindow(Bench(Path("settings"), background=False))
window.bench.add_files([str(Path("faces.csv").absolute())])
app.processEvents()
assert window.bench.document.bay == "runouts", window.bench.document
view = window.pages.front()
model = view.faces.model()
print([[model.index(row, column).data() for column in range(2)] for row in range(model.rowCount())])
window.save_certificate(Path("window.pdf"))
"""


@pytest.fixture(scope="module")
def copy(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A checkout in which both recipes were followed, with a table of face run-outs."""
    folder = tmp_path_factory.mktemp("checkout")
    shutil.copytree(ROOT / "valvelab", folder / "valvelab", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copytree(ROOT / "resources", folder / "resources")
    for name, change in {**FORMAT, **USE}.items():
        follow(folder / "valvelab" / name, change)
    for name, edit in BESIDES.items():
        follow(folder / "valvelab" / name, edit)
    (folder / "faces.csv").write_text("position,reading [mm]\n1I,0.012\n1E,0.034\n", encoding="utf-8")
    return folder


def follow(path: Path, change: str | Edit) -> None:
    """Write a new file, or put something before what stands in one."""
    if isinstance(change, str):
        assert not path.exists()
        path.write_text(change, encoding="utf-8")
        return
    text = path.read_text(encoding="utf-8")
    there, put = change
    assert text.count(there) == 1, (path, there)
    path.write_text(text.replace(there, put + there), encoding="utf-8")


def python(folder: Path, *words: str, code: int = 0) -> str:
    """What the copied package answers."""
    environment = {**os.environ, "PYTHONPATH": str(folder), "PYTHONSAFEPATH": "1", "QT_QPA_PLATFORM": "offscreen"}
    done = subprocess.run(
        [sys.executable, *words], cwd=folder, env=environment, capture_output=True, text=True, check=False
    )
    assert done.returncode == code, done.stderr
    return done.stdout


def test_the_recipes_take_few_files() -> None:
    assert len({**FORMAT, **USE}) <= MOST_FILES
    assert set(BESIDES) <= {**FORMAT, **USE}.keys()
    developers = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    for name, change in {**FORMAT, **USE}.items():
        if not isinstance(change, str):
            assert f"valvelab/{name}" in developers, name


def test_the_format_is_recognised_and_read(copy: Path) -> None:
    asked = "import sys; from valvelab.files.reading import only_kind, read; kind = only_kind('faces.csv'); "
    told = python(copy, "-c", asked + "print(kind, read(kind, 'faces.csv').readings_mm)")
    assert told == "face run-outs {'1I': 0.012, '1E': 0.034}\n"


def test_the_command_answers(copy: Path) -> None:
    assert "how true valve faces run" in python(copy, "-m", "valvelab", "--help")
    found = json.loads(python(copy, "-m", "valvelab", "runouts", "faces.csv", "--json"))
    assert (found["worst"], found["runouts"][0]) == ("1E", {"position": "1I", "runout_mm": 0.012})
    told = python(copy, "-m", "valvelab", "runouts", "faces.csv")
    assert "face run-out" in told
    assert "worst: 1E" in told
    columns = python(
        copy, "-m", "valvelab", "runouts", "faces.csv", "--json", "--columns", "position=0, reading=1 [in]"
    )
    assert json.loads(columns)["runouts"][1]["runout_mm"] == pytest.approx(0.034 * 25.4)


def test_its_schemas_are_known(copy: Path) -> None:
    assert "runouts" in python(copy, "-m", "valvelab", "schema").split()
    assert "worst" in json.loads(python(copy, "-m", "valvelab", "schema", "runouts"))["properties"]
    assert "RunoutsPart" in json.loads(python(copy, "-m", "valvelab", "schema", "job"))["$defs"]


def test_paper_from_every_face_is_one_and_verifies(copy: Path) -> None:
    rows = python(copy, "-c", IN_THE_WINDOW)
    assert rows == "[['1I', '0.012'], ['1E', '0.034']]\n"
    python(copy, "-m", "valvelab", "runouts", "faces.csv", "--out", "line.pdf", "--quiet")
    python(copy, "-m", "valvelab", "certify", ".", "--out", "folder.pdf", "--quiet")
    papers = [(copy / name).read_bytes() for name in ("window.pdf", "line.pdf", "folder.pdf")]
    assert papers[0] == papers[1] == papers[2]
    assert "agrees" in python(copy, "-m", "valvelab", "verify", "window.pdf")
