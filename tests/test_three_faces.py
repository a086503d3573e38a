"""One number, one text: terminal, paper and window print every characteristic of the samples alike."""

from __future__ import annotations

import argparse
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import pytest
from something import each

from valvelab.cli import inspecting
from valvelab.cli.main import main
from valvelab.inspection.characteristics import Characteristic, Subject, all_characteristics
from valvelab.job.use import Around
from valvelab.job.uses import use
from valvelab.places import sample_profiles
from valvelab.report.assembly import verdict_blocks
from valvelab.tables.description import Cell, Mark, Table
from valvelab.tables.verdicts import WORDS
from valvelab.units import System, display_unit
from valvelab.window.main_window import MainWindow
from valvelab.window.tables import TableView
from valvelab.workbench import bays, edits, lobes_bay, motion_files, springs_bay

Lines = tuple[list[str], list[list[str]]]
"""Heads with their units, and rows."""
Face = dict[frozenset[str], set[str]]
"""Texts by item and characteristic, whichever of the two is the row; "u of …" are uncertainties."""


@dataclass(frozen=True, slots=True)
class Job:
    """A sample as a command takes it, what a person drops besides, and what it is about.

    untold: characteristics of the subjects that stand in a sentence; unseen: that the window has as a drawing only.
    """

    command: str
    words: tuple[str, ...]
    subjects: tuple[Subject, ...]
    dropped: tuple[str, ...] = ()
    unseen: tuple[str, ...] = ()
    untold: tuple[str, ...] = ()


NOMINALS = ("quillmere_four_nominal_intake.csv", "quillmere_four_nominal_exhaust.csv")
JOBS = {
    "lobes": Job("lobes", ("quillmere_four_camshaft.csv", "--spec", "quillmere_four_camshaft.toml"),
                 ("lobe", "camshaft"), NOMINALS),
    "eight": Job("lobes", ("lake_v8_camshaft.csv", "--spec", "lake_v8_camshaft.toml"), ("lobe", "camshaft"),
                 ("lake_v8_nominal_intake.csv", "lake_v8_nominal_exhaust.csv")),
    "springs": Job("springs", ("springs_quillmere_tray.csv", "--spec", "springs_quillmere_spec.toml"), ("spring",)),
    "shaft": Job("shaft", ("club_four_journals.csv", "--spec", "club_four_shaft_spec.toml"), ("station", "shaft"),
                 untold=("straightness", "straightness_least_squares")),
    "flank": Job("texture", ("club_four_lobe_3I_trace.csv", "--spec", "club_four_shaft_spec.toml"), ("trace",)),
    "journal": Job("texture", ("hydroplane_journal_trace.smd",), ("trace",)),
    "gauge": Job("gauge", ("dial_gauge_study.csv",), ("gauge",)),
    "motion": Job("motion", ("lake_v8_camshaft.csv", "--train", "lake_v8_train.toml"), ("valve",),
                  unseen=("seating_velocity", "dynamic_separation")),
    "phasing": Job("phasing", ("quillmere_four_degree_wheel.toml",), ("phasing",)),
}  # fmt: skip


def tidy(*words: str) -> str:
    """Name and unit as one line, whatever stands between them."""
    return " ".join(re.sub(r"[\[\],]", " ", " ".join(words)).split())


def face_of(tables: Iterable[Lines], item: str = "") -> Face:
    """Every cell of these tables but verdicts; `item`: whom a list of characteristics is about."""
    face: Face = {}
    for heads, rows in tables:
        if "measured" in heads or not rows:
            continue
        take = in_list if {"value", "stated"} & {*heads} else in_grid
        for key, text in take(heads, rows, item):
            face.setdefault(frozenset(key), set()).add(text)
    return face


def in_list(heads: list[str], rows: list[list[str]], item: str) -> Iterator[tuple[tuple[str, str], str]]:
    """Cells of a table with a characteristic a row: `value`, `u`, and `unit` where it stands apart."""
    for row in rows:
        cells = dict(zip(heads, row, strict=True))
        unit = cells.get("unit", "")
        name = tidy(cells.get("characteristic", row[0]), unit if unit not in {"deg", "crank deg"} else "")
        whose = cells.get("item", item)
        if "stated" in cells:
            yield (whose, name), cells["stated"]
            continue
        yield (whose, name), cells["value"]
        yield (whose, f"u of {name}"), cells["u"]


def in_grid(heads: list[str], rows: list[list[str]], _item: str) -> Iterator[tuple[tuple[str, str], str]]:
    """Cells of a table with a row and a column for each; a figure's uncertainty stands right of it or below."""
    above = ""
    for row in rows:
        unit = row[heads.index("unit")] if "unit" in heads else ""
        above = name = f"u of {above}" if row[0] == "u" else tidy(row[0], unit)
        before = ""
        for head, cell in zip(heads[1:], row[1:], strict=True):
            of_u = head == "u" or head.startswith("u ")
            yield (name, f"u of {before}" if of_u else head), cell
            before = before if of_u else head


def verdicts_of(tables: Iterable[Lines]) -> list[tuple[str, ...]]:
    """What every row of verdicts says, without the words of why."""
    told = ("characteristic", "item", "measured", "u", "lower", "upper", "unit", "conforms", "verdict", "clause")
    found = []
    for heads, rows in tables:
        if "measured" in heads:
            cells = [dict(zip(heads, row, strict=True)) for row in rows]
            for row in cells:
                row["verdict"] = row["verdict"].split()[-1]
            found += [tuple(row[head] for head in told) for row in cells]
    return sorted(found)


def plain(cell: Cell) -> str:
    return WORDS[cell.decision] if isinstance(cell, Mark) else cell


def tables_on_paper(job: Job, system: System) -> list[Lines]:
    paths = [str(sample_profiles() / word) if "." in word else word for word in job.words]
    parser = argparse.ArgumentParser()
    inspecting.configure(parser, job.command)
    known = use(job.command)
    asked = inspecting.part_of(known.part, parser.parse_args(paths))
    part = known.paper(known.inspect(asked, Around()), system)
    blocks = [*part.overview, *(block for section in part.sections for block in section.blocks)]
    blocks += verdict_blocks(part.result.verdicts, system, among=[part.result])
    found = []
    for block in blocks:
        if isinstance(block, Table):
            units = block.units or ("",) * len(block.header)
            heads = [tidy(*both) for both in zip(block.header, units, strict=True)]
            found.append((heads, [[plain(cell) for cell in row] for row in block.rows]))
    return found


def tables_in_terminal(text: str, system: System) -> list[Lines]:
    units = {"", *(display_unit(row.unit, system).label for row in all_characteristics()), "arcmin", "mm", "in"}
    found = []
    for block in text.split("\n\n"):
        lines = block.splitlines()
        rule = next((n for n, line in enumerate(lines) if line and set(line) <= {"─", " "}), None)
        if rule is None:
            continue
        spans = [match.span() for match in re.finditer("─+", lines[rule])]
        cut = [[line[start:end].strip() for start, end in spans] for line in lines]
        heads = cut[rule - 2 : rule] if rule > 1 and set(cut[rule - 1]) <= units else [cut[rule - 1]]
        found.append(([tidy(*both) for both in zip(*heads, strict=True)], cut[rule + 1 :]))
    return found


def tables_in_window(window: MainWindow) -> list[Lines]:
    """What stands in every table of the bay in front, and under it; the lobe or spring in front has a list."""
    found = []
    for sheet in (*window.pages.front().findChildren(TableView), window.verdicts.sheet):
        model = sheet.proxy
        columns = range(model.columnCount())
        heads = [tidy(str(sheet.rows_model.columns[n].title)) for n in columns]
        rows = [[str(model.index(row, n).data()) for n in columns] for row in range(model.rowCount())]
        found.append((heads, rows))
    return found


@pytest.fixture(params=["metric", "inch"])
def system(request: pytest.FixtureRequest) -> System:
    found: System = request.param
    return found


@pytest.mark.usefixtures("quiet")
@pytest.mark.parametrize("name", JOBS)
def test_one_number_has_one_text(
    name: str, system: System, window: MainWindow, capsys: pytest.CaptureFixture[str]
) -> None:
    job = JOBS[name]
    words = [str(sample_profiles() / word) if "." in word else word for word in job.words]
    assert main([job.command, *words, "--units", system, "--quiet"]) in {0, 1, 4}
    terminal = tables_in_terminal(capsys.readouterr().out, system)
    paper = tables_on_paper(job, system)
    window.bench.add_files([word for word in words if not word.startswith("--")])
    window.bench.add_files([str(sample_profiles() / name) for name in job.dropped])
    window.bench.go_to_bay(job.command)
    window.bench.history.apply(edits.set_units(window.bench.document, system), "units")
    shown = tables_in_window(window)
    printed, written = face_of(terminal), face_of(paper)
    seen = face_of(shown, item_in_front(job, window))
    for face in (written, seen):
        both = each(printed.keys() & face.keys())
        assert {key: face[key] - printed[key] for key in both if face[key] - printed[key]} == {}
    assert verdicts_of(terminal) == verdicts_of(paper) == verdicts_of(shown)
    for row in each(rows_of(job)):
        told = tidy(row.head, display_unit(row.unit, system).label)
        faces = (printed, written) if row.name in job.unseen else (printed, written, seen)
        assert len({has(face, told) for face in faces}) == 1, told


def has(face: Face, told: str) -> bool:
    """Whether any item has a figure of that name."""
    return any(face[key] - {"–", ""} for key in face if told in key)


def rows_of(job: Job) -> list[Characteristic]:
    """The characteristics that every face has a row or a column for."""
    return [
        row
        for row in all_characteristics()
        if row.subject in job.subjects and row.needs_at is None and row.name not in job.untold
    ]


def item_in_front(job: Job, window: MainWindow) -> str:
    """Whom the window's list of characteristics is about."""
    document = window.bench.document
    bay = bays.by_name(document.bay)
    assert bay is not None
    value = bays.answer_value(document, bay)
    if job.command == "lobes":
        return lobes_bay.chosen_lobe(document, value)
    if job.command == "motion":
        return motion_files.chosen_valve(document, value)
    return springs_bay.chosen_spring(document, value) if job.command == "springs" else ""
