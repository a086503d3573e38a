"""The Python face: one function a use, named like its command; each answers with what a notebook can show.

A table is a path, a file object of text or bytes, or columns: a mapping of heads with units ("lift [mm]") to numbers,
or anything with `.columns` and `.to_numpy()`, as a data frame has. Options are those of the command, named alike, and
typed as there ("6 N"; a bare number is canonical). Nothing is printed; what can't be used raises an exception of
`valvelab.errors`.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from html import escape
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any, Literal, Protocol, TypeAlias, get_args, get_origin

from valvelab.csv_text import csv_text
from valvelab.errors import WrongUsage
from valvelab.files.contents import Contents, standing_in
from valvelab.job.typed import shown_in, valid_part
from valvelab.job.use import Around, Inspection, as_shown
from valvelab.job.uses import use
from valvelab.records.parts.kinds import part_kind
from valvelab.records.result import Note, Result, Verdict
from valvelab.tables.description import Table as Told
from valvelab.tables.item_rows import item_rows
from valvelab.tables.verdicts import RANKED, WORDS, cell_words, verdict_table
from valvelab.units import System
from valvelab.writing import write_whole

if TYPE_CHECKING:
    import pandas as pd

    from valvelab.report.page_model import FigureBlock


class Frame(Protocol):
    """A data frame, of whichever library."""

    @property
    def columns(self) -> Any:
        """Heads of its columns."""

    def to_numpy(self) -> Any:
        """Its cells, row by row."""


Table: TypeAlias = str | Path | IO[str] | IO[bytes] | Mapping[str, Iterable[object]] | Frame
File: TypeAlias = str | Path
Quantity: TypeAlias = str | float
Units: TypeAlias = Literal["auto", "metric", "inch"]
MAIN = "main"
BETWEEN = {"position": ": "}
"""What stands between the name and the text of an option, where it is no `=`."""


@dataclass(frozen=True)
class Figure:
    """A figure of an answer; a notebook shows it as it stands on the certificate."""

    name: str
    block: FigureBlock
    system: System

    def save(self, path: File) -> None:
        """Write it as .svg, .png or .pdf. Raises WrongUsage for another ending, CannotWrite where it can't be."""
        write_whole(Path(path), self._bytes(Path(path).suffix))

    def to_svg(self) -> str:
        """The figure as SVG."""
        return self._bytes(".svg").decode()

    def _bytes(self, ending: str) -> bytes:
        from valvelab.report.figure_file import figure_bytes  # noqa: PLC0415 - the library of paper is for figures

        return figure_bytes(self.block, ending, self.system)

    def _repr_svg_(self) -> str:
        return self.to_svg()


@dataclass(frozen=True, repr=False, eq=False)
class Answer:
    """What a use answers: the keys of its JSON as attributes, frozen (`answer.lobes[0].max_lift_mm`); and its views."""

    inspection: Inspection
    command: str
    system: System

    @property
    def result(self) -> Result:
        """The result document."""
        return self.inspection.result

    @property
    def verdicts(self) -> tuple[Verdict, ...]:
        """What was judged, in the order of the spec."""
        return self.result.verdicts

    @property
    def notes(self) -> tuple[Note, ...]:
        """What a reader has to know."""
        return self.result.notes

    def __getattr__(self, name: str) -> Any:
        """A key of the result."""
        if name.startswith("_"):
            raise AttributeError(name)
        return getattr(self.result, name)

    def __dir__(self) -> list[str]:
        """What completion offers."""
        return [*super().__dir__(), *type(self.result).model_fields]

    def to_json(self) -> str:
        """The document that the command prints with `--json`."""
        return self.result.model_dump_json(indent=1)

    def to_dict(self) -> dict[str, Any]:
        """The document as plain dictionaries and lists."""
        document: dict[str, Any] = json.loads(self.to_json())
        return document

    def rows(self) -> list[dict[str, str | float | None]]:
        """One mapping an item, its keys the columns of `--out F.csv`; figures canonical, unrounded."""
        head, *rows = item_rows(self.result)
        return [dict(zip(map(str, head), row, strict=True)) for row in rows]

    def to_frame(self) -> pd.DataFrame:
        """The rows as a data frame of pandas, which is asked for here alone; WrongUsage where it is not installed."""
        try:
            import pandas as pd  # noqa: PLC0415 - optional
        except ImportError:
            raise WrongUsage(
                "to_frame: found no pandas, expected it installed (valvelab[notebook]); see rows"
            ) from None
        return pd.DataFrame(self.rows())

    @cached_property
    def _shown(self) -> Inspection:
        return as_shown(self.inspection, self.system)

    @cached_property
    def _figures(self) -> dict[str, FigureBlock]:
        from valvelab.report.figure_file import figures_of  # noqa: PLC0415 - as above

        return figures_of(use(self.command).paper(self._shown, self.system))

    @property
    def figures(self) -> tuple[str, ...]:
        """Names of its figures, the main one first."""
        return tuple(self._figures)

    def figure(self, name: str = MAIN) -> Figure:
        """One figure by its name. Raises WrongUsage for a name that is none."""
        if name not in self._figures:
            raise WrongUsage(f"figure: found {name!r}, expected {', '.join(self._figures) or 'no figure of this use'}")
        return Figure(name, self._figures[name], self.system)

    def plot(self, name: str = MAIN) -> Figure:
        """The main figure, or another; as the last line of a notebook's cell it shows itself."""
        return self.figure(name)

    def __repr__(self) -> str:
        """The command, and how many of each verdict."""
        counts = ((WORDS[decision], sum(row.decision == decision for row in self.verdicts)) for decision in RANKED)
        told = ", ".join(f"{count} {word}" for word, count in counts if count) or "nothing judged"
        return f"<valvelab {self.command}: {told}>"

    def _repr_html_(self) -> str:
        told = use(self.command).tables(self._shown, self.system)
        parts = [_html(one) for group in told for one in ([group] if isinstance(group, str | Told) else group)]
        result = self._shown.result
        if result.verdicts:
            table, reasons = verdict_table(result.verdicts, [result], self.system)
            parts += [_html(table), *map(_html, reasons)]
        parts += [_html(f"{note.level}: {note.about}: {note.text}") for note in result.notes if note.level == "warning"]
        return "\n".join(parts)


def _html(part: str | Told) -> str:
    if isinstance(part, str):
        return f"<p>{escape(part)}</p>" if part else ""
    if not part.rows:
        return ""
    caption = f"<caption>{escape(part.title)}</caption>" if part.title else ""
    heads = "".join(_html_row("th", row) for row in (part.header, part.units) if row)
    rows = "".join(_html_row("td", map(cell_words, row)) for row in part.rows)
    return f"<table>{caption}<thead>{heads}</thead><tbody>{rows}</tbody></table>"


def _html_row(kind: str, cells: Iterable[str]) -> str:
    return f"<tr>{''.join(f'<{kind}>{escape(cell)}</{kind}>' for cell in cells)}</tr>"


def _bytes_of(value: Any) -> tuple[str | None, bytes]:
    """A file object's own name and bytes, or columns as CSV."""
    if hasattr(value, "read"):
        read = value.read()
        name = getattr(value, "name", None)
        return name if isinstance(name, str) else None, read.encode() if isinstance(read, str) else bytes(read)
    if isinstance(value, Mapping):
        heads, columns = list(value), [list(column) for column in value.values()]
        if len({len(column) for column in columns}) > 1:
            raise WrongUsage(f"columns: found lengths {', '.join(str(len(one)) for one in columns)}, expected one")
        rows = [list(row) for row in zip(*columns, strict=True)]
    elif hasattr(value, "columns") and hasattr(value, "to_numpy"):
        heads, rows = list(value.columns), value.to_numpy().tolist()
    else:
        raise WrongUsage(f"table: found {type(value).__name__}, expected a path, a file object or columns")
    cells = [[None if cell is None or cell != cell else cell for cell in row] for row in rows]  # noqa: PLR0124 - NaN
    return "columns", csv_text([[str(head) for head in heads], *cells]).encode()


def _answer(command: str, units: Units, **options: Any) -> Answer:
    """Inspect what the options of a command ask for, with tables that need be no files."""
    kind, contents, stated = part_kind(command), dict[Path, Contents](), dict[str, Any]()
    for field, value in options.items():
        if value is None or value is False:
            continue
        wanted = kind.model_fields[field].annotation
        takes_file = wanted is Path or (get_origin(wanted) is not tuple and Path in get_args(wanted))
        if takes_file and not isinstance(value, str | Path):
            name, data = _bytes_of(value)
            path = Path(name or field)
            while path in contents:
                path = path.with_name(f"{path.name} ({field})")
            contents[path] = Contents.of(str(path), data)
            stated[field] = path
        elif isinstance(value, Mapping):
            stated[field] = tuple(f"{key}{BETWEEN.get(field, '=')}{text}" for key, text in value.items())
        else:
            stated[field] = value if isinstance(value, str | Path | int | float) else tuple(value)
    part = valid_part(kind, stated, lambda where: ".".join(map(str, where)))
    with standing_in(contents):
        return Answer(use(command).inspect(part, Around()), command, shown_in(units, part))


def lobes(
    table: Table,
    spec: File | None = None,
    *,
    at: Iterable[Quantity] = (),
    convert: str | None = None,
    keep_eccentricity: bool = False,
    table_zero: bool = False,
    instrument: File | None = None,
    columns: str | None = None,
    units: Units = "auto",
) -> Answer:
    """Lobe and camshaft characteristics of a lift table, envelope and limit verdicts."""
    return _answer(
        "lobes",
        units,
        file=table,
        spec=spec,
        at=at,
        convert=convert,
        keep_eccentricity=keep_eccentricity,
        table_zero=table_zero,
        instrument=instrument,
        columns=columns,
    )


def shaft(
    table: Table,
    spec: File | None = None,
    *,
    undulations: int | None = None,
    gauge: File | None = None,
    columns: str | None = None,
    units: Units = "auto",
) -> Answer:
    """Eccentricity, runout and roundness per journal; straightness of the axis."""
    return _answer("shaft", units, file=table, spec=spec, undulations=undulations, gauge=gauge, columns=columns)


def texture(
    table: Table,
    spec: File | None = None,
    *,
    cutoff: Quantity | None = None,
    short_cutoff: Quantity | None = None,
    sections: int | None = None,
    columns: str | None = None,
    units: Units = "auto",
) -> Answer:
    """Filtered surface-texture parameters of a trace."""
    return _answer(
        "texture",
        units,
        file=table,
        spec=spec,
        cutoff=cutoff,
        short_cutoff=short_cutoff,
        sections=sections,
        columns=columns,
    )


def springs(
    table: Table,
    spec: File | None = None,
    *,
    later: Iterable[File] = (),
    stress_factor: Literal["EN 13906-1", "Wahl"] | None = None,
    instrument: Iterable[File] = (),
    columns: str | None = None,
    units: Units = "auto",
) -> Answer:
    """Forces, rate, solid height, coil-bind margin, stress and surge per spring."""
    return _answer(
        "springs",
        units,
        file=table,
        spec=spec,
        later=later,
        stress_factor=stress_factor,
        instrument=instrument,
        columns=columns,
    )


def sets(
    table: Table,
    spec: File | None = None,
    *,
    size: int | None = None,
    within: Mapping[str, Quantity] | Iterable[str] = (),
    time_limit: Quantity | None = None,
    quick: bool = False,
    thorough: bool = False,
    with_rejected: bool = False,
    take: Mapping[str, str] | Iterable[str] = (),
    leave_out: Mapping[str, str] | Iterable[str] = (),
    together: Iterable[str] = (),
    apart: Iterable[str] = (),
    position: Mapping[str, str] | Iterable[str] = (),
    set: Iterable[str] = (),  # noqa: A002 - the option's name
    instrument: Iterable[File] = (),
    columns: str | None = None,
    units: Units = "auto",
) -> Answer:
    """The most matched sets of springs, then the tightest; `within={"seat_force": "6 N"}`."""
    return _answer(
        "sets",
        units,
        file=table,
        spec=spec,
        size=size,
        within=within,
        time_limit=time_limit,
        quick=quick,
        thorough=thorough,
        with_rejected=with_rejected,
        take=take,
        leave_out=leave_out,
        together=together,
        apart=apart,
        position=position,
        set=set,
        instrument=instrument,
        columns=columns,
    )


def shims(
    table: Table,
    heights: Table,
    spec: File | None = None,
    *,
    sets: File | None = None,
    set: int | None = None,  # noqa: A002 - the option's name
    only: Iterable[str] = (),
    fix: Mapping[str, str] | Iterable[str] = (),
    edited: Iterable[str] = (),
    with_rejected: bool = False,
    take: Mapping[str, str] | Iterable[str] = (),
    leave_out: Mapping[str, str] | Iterable[str] = (),
    instrument: Iterable[File] = (),
    columns: str | None = None,
    units: Units = "auto",
) -> Answer:
    """Which spring and shims at which valve; `sets` is the command's `--from`."""
    return _answer(
        "shims",
        units,
        file=table,
        heights=heights,
        spec=spec,
        sets=sets,
        set=set,
        only=only,
        fix=fix,
        edited=edited,
        with_rejected=with_rejected,
        take=take,
        leave_out=leave_out,
        instrument=instrument,
        columns=columns,
    )


def lash(
    table: Table,
    spec: File | None = None,
    *,
    fix: Mapping[str, str] | Iterable[str] = (),
    columns: str | None = None,
    units: Units = "auto",
) -> Answer:
    """Which shim under which bucket."""
    return _answer("lash", units, file=table, spec=spec, fix=fix, columns=columns)


def phasing(sheet: File | IO[str] | IO[bytes], spec: File | None = None, *, units: Units = "auto") -> Answer:
    """True top dead centre, centrelines, events and the correction, from a degree-wheel sheet (TOML)."""
    return _answer("phasing", units, file=sheet, spec=spec)


def motion(
    table: Table,
    train: File | IO[str] | IO[bytes],
    spec: File | None = None,
    *,
    at: Iterable[Quantity] = (),
    no_dynamics: bool = False,
    instrument: File | None = None,
    columns: str | None = None,
    units: Units = "auto",
) -> Answer:
    """Valve lift, rule lift, piston clearance, contact and control speed of a lift table behind a train (TOML)."""
    return _answer(
        "motion",
        units,
        file=table,
        train=train,
        spec=spec,
        at=at,
        no_dynamics=no_dynamics,
        instrument=instrument,
        columns=columns,
    )


def gauge(
    table: Table,
    spec: File | None = None,
    *,
    tolerance: Quantity | None = None,
    columns: str | None = None,
    units: Units = "auto",
) -> Answer:
    """Repeatability and reproducibility of a measurement."""
    return _answer("gauge", units, file=table, spec=spec, tolerance=tolerance, columns=columns)


def compare(
    before: Table,
    after: Table,
    spec: File | None = None,
    *,
    master: bool = False,
    columns: str | None = None,
    after_columns: str | None = None,
    units: Units = "auto",
) -> Answer:
    """What changed between two measurements of one part: after less before."""
    return _answer(
        "compare",
        units,
        file=before,
        after=after,
        spec=spec,
        master=master,
        columns=columns,
        after_columns=after_columns,
    )


def liftcheck(
    sheet: File | IO[str] | IO[bytes],
    spec: File | None = None,
    *,
    item: Iterable[str] = (),
    instrument: File | None = None,
    gauge: File | None = None,
    units: Units = "auto",
) -> Answer:
    """Rule lift by an indicator at the retainer: the verdict on every valve of an event's sheet (TOML)."""
    return _answer("liftcheck", units, file=sheet, spec=spec, item=item, instrument=instrument, gauge=gauge)
