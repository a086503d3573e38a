"""One number, one text: terminal, paper and window print every characteristic of the samples alike."""

from __future__ import annotations

import argparse
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import zip_longest

import pytest
from something import each

from valvelab.cli import inspecting
from valvelab.cli.main import main
from valvelab.figures.description import Dial, Figure
from valvelab.inspection.characteristics import Characteristic, Subject, all_characteristics
from valvelab.job.use import Around
from valvelab.job.uses import use
from valvelab.places import sample_profiles
from valvelab.report.assembly import Part, verdict_blocks
from valvelab.report.page_model import FigureBlock
from valvelab.tables.description import Cell, Mark, Table
from valvelab.tables.verdicts import WORDS
from valvelab.units import System, display_unit
from valvelab.window.dial import DialView
from valvelab.window.drawing import FigureStack
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
    "compared lobes": Job("compare", ("quillmere_four_camshaft.csv", "quillmere_four_after_a_season.csv", "--spec",
                          "quillmere_four_season.toml"), ("comparison",)),
    "compared springs": Job("compare", ("springs_quillmere_tray.csv", "springs_quillmere_after_a_season.csv", "--spec",
                            "springs_quillmere_season.toml"), ("comparison",)),
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


def judged_in(tables: Iterable[Lines]) -> Face:
    """What verdicts say was measured, and its uncertainty, by item and characteristic."""
    face: Face = {}
    for heads, rows in tables:
        for row in rows if "measured" in heads else ():
            cells = dict(zip(heads, row, strict=True))
            unit = cells["unit"]
            name = tidy(cells["characteristic"], unit if unit not in {"deg", "crank deg"} else "")
            for key, text in ((name, cells["measured"]), (f"u of {name}", cells["u"])):
                face.setdefault(frozenset({cells["item"].replace("trace", ""), key}), set()).add(text)
    return face


DRAWN = {
    "lobes": ["positions"], "eight": ["positions"], "shaft": ["shaft"], "flank": ["material_ratio"],
    "journal": ["material_ratio"], "gauge": ["gauge_components"], "motion": ["clearance"], "phasing": ["events"],
}  # fmt: skip
"""By job, the drawings that say what was measured."""
MEASURED = {
    "positions": r"[+−]([\d.]+)°", "shaft": r"minimum zone ([\d.]+) \S+", "material_ratio": r"R\w+ ([\d.]+) \S+",
    "clearance": r"([\d.]+) \w+", "events": r"(?:\d[IE] )?([\d.]+)(?: [AB]\w+)?", "gauge_components": r"GRR ([\d.]+)",
}  # fmt: skip
"""By drawing, the texts that say what was measured."""
STATED = re.compile(
    r"mean line, .*|.* sections of .*|lash .*|common practice .*|.* (opens|closes) [\d.]+|one ring .*|[+−]?\d\.\d"
    r"|J\d [+−].*|share [\d.]+"
)
"""What was asked for, scales, and what is no characteristic: the bow at a journal, shares of variation but the GRR."""


def numbers_drawn(drawings: Iterable[Figure | Dial]) -> Iterator[tuple[str, str]]:
    """Drawing and number of every measured number in words; a text that is neither measured nor stated fails."""
    for drawing in drawings:
        for text in texts_in(drawing):
            found = re.fullmatch(MEASURED.get(drawing.name, "(?!)"), text)
            if found is not None:
                yield drawing.name, found[1]
            else:
                assert STATED.fullmatch(text) or not re.search(r"\d\.\d", text), (drawing.name, text)


def texts_in(drawing: Figure | Dial) -> Iterator[str]:
    if isinstance(drawing, Dial):
        yield from (*drawing.labels, *drawing.remarks)
        return
    yield from (drawing.title, drawing.x_axis.label, drawing.y_axis.label)
    yield from (part.label for part in (*drawing.curves, *drawing.bands, *drawing.marks, *drawing.guides))
    names = ("GRR ", *3 * ("share ",)) if drawing.name == "gauge_components" else ()
    for marks in drawing.marks:
        yield from (f"{name}{text}" for name, text in zip_longest(names, marks.texts, fillvalue="") if text)


def drawn_on_paper(part: Part) -> list[Figure | Dial]:
    blocks = [*part.picture, *part.found, *(block for section in part.annexes() for block in section.blocks)]
    plots = [plot for block in blocks if isinstance(block, FigureBlock) for column in block.columns for plot in column]
    return [plot for plot in plots if isinstance(plot, Figure | Dial)]


def drawn_in_window(window: MainWindow) -> list[Figure | Dial]:
    front = window.pages.front()
    figures = [item.figure for stack in front.findChildren(FigureStack) for item in stack.items_by_name.values()]
    return [*figures, *(view.dial for view in front.findChildren(DialView) if view.dial is not None)]


def plain(cell: Cell) -> str:
    return WORDS[cell.decision] if isinstance(cell, Mark) else cell


def on_paper(job: Job, system: System) -> Part:
    paths = [str(sample_profiles() / word) if "." in word else word for word in job.words]
    parser = argparse.ArgumentParser()
    inspecting.configure(parser, job.command)
    known = use(job.command)
    asked = inspecting.part_of(known.part, parser.parse_args(paths))
    return known.paper(known.inspect(asked, Around()), system)


def tables_on_paper(part: Part, system: System) -> list[Lines]:
    blocks = [*part.picture, *part.found, *(block for section in part.annexes() for block in section.blocks)]
    blocks += verdict_blocks(part.result.verdicts, [part.result], system)
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
        lines = [line for line in block.splitlines() if not re.match(r"\(\d+\) ", line)]  # reasons stand under tables
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
    out = capsys.readouterr().out
    terminal = tables_in_terminal(out, system)
    part = on_paper(job, system)
    paper = tables_on_paper(part, system)
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
    judged = judged_in(terminal)
    for face in (printed, written, seen):
        assert {key: judged[key] - face[key] for key in judged.keys() & face.keys() if judged[key] - face[key]} == {}
    assert not judged or judged.keys() & printed.keys()
    said = set(re.findall(r"\d+(?:\.\d+)?", out))
    for drawings, behind in ((drawn_on_paper(part), ""), (drawn_in_window(window), "clearance")):
        numbers = list(numbers_drawn(drawings))
        assert [number for number in numbers if number[1] not in said] == []
        assert {drawing for drawing, _ in numbers} | {behind} == {*DRAWN.get(name, ()), behind}
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
