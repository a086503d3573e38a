"""A column assignment that is being made: what the file shows, what is guessed, and what reading it so would give."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

from valvelab.errors import ValvelabError
from valvelab.figures.reading_figures import Drawn, drawn
from valvelab.files.body import ANYWHERE, Where
from valvelab.files.column_assignment import AssignedColumn, ColumnAssignment, parse_columns
from valvelab.files.gauge_study_file import gauge_study
from valvelab.files.guesses import UnitGuess, guess_kind, guess_roles, guess_units
from valvelab.files.heights import heights_table
from valvelab.files.kinds import READERS, reader_of
from valvelab.files.lift_table import lift_table
from valvelab.files.shaft_readings import shaft_readings
from valvelab.files.spring_readings import spring_readings
from valvelab.files.surface_trace import surface_trace
from valvelab.files.table import ColumnsNeeded, LeftOut, Preview, Table, read_table
from valvelab.phrase import Phrase, whole
from valvelab.workbench.contents import without_name
from valvelab.workbench.document import BenchFile, Content

_OF_TABLE: Mapping[str, Callable[[Table], object]] = {
    "lift table": lift_table,
    "spring readings": spring_readings,
    "heights": heights_table,
    "shaft readings": shaft_readings,
    "surface trace": surface_trace,
    "gauge study": gauge_study,
}
"""What makes each kind of a table that was read already."""
LISTED = 200
"""So many rows that are left out are listed one by one."""


@dataclass(frozen=True, slots=True)
class Draft:
    """A file, what it is taken as, and its columns as far as they are assigned; none asks what it most likely holds.

    `table` is the file as it was read for an earlier draft from the same place in it, to be spared another reading.
    """

    file: BenchFile
    kind: str
    columns: ColumnAssignment
    table: Table | None = field(default=None, compare=False)

    @property
    def name(self) -> str:
        """Name of the file."""
        return self.file.name

    def look(self) -> Looked:
        """Read the file as the draft says; what is wrong becomes a sentence."""
        return _look(self)


@dataclass(frozen=True, slots=True)
class Looked:
    """What a draft gave. `failure` is the sentence that says why the file can't be read so.

    roles: what each column most likely holds; guesses: units that headers don't state. left_out: rows and cells without
    a reading, the first of `left_out_count`. said: warnings. Without a preview not even the table was found.
    """

    draft: Draft
    preview: Preview | None = None
    roles: tuple[str, ...] = ()
    guesses: tuple[UnitGuess, ...] = ()
    drawn: Drawn | None = None
    left_out: tuple[LeftOut, ...] = ()
    left_out_count: int = 0
    said: tuple[str, ...] = ()
    failure: str = ""
    table: Table | None = None


def first_draft(file: BenchFile, kind: str) -> Draft:
    """The draft that a file's assignment so far is; without one nothing is assigned yet."""
    try:
        columns = parse_columns(file.columns or "")
    except ValvelabError:
        columns = ColumnAssignment(())
    return Draft(file, file.kind or kind, columns)


def likely_kind(content: Content, otherwise: str) -> str:
    """What a table most likely is: as it was read, else by the names above its columns, else as the bay takes it."""
    kinds = {reader.name: reader.columns for reader in READERS if reader.columns is not None}
    guessed = "" if content.preview is None else guess_kind(kinds, content.preview)
    return content.kind or guessed or otherwise


def moved(draft: Draft, where: Where) -> Draft:
    """The draft at another place in the file, nothing assigned."""
    return replace(draft, columns=ColumnAssignment((), where), table=None)


def _look(draft: Draft) -> Looked:
    found = Looked(draft)
    where, named = draft.columns.where, draft.columns.columns
    try:
        table = draft.table or read_table(draft.file.given, ColumnAssignment((), where))
        reader = reader_of(draft.kind)
        preview = table.preview()
        roles = () if reader is None else guess_roles(draft.kind, reader.columns or {}, preview)
        found = replace(found, table=table, preview=preview, roles=roles)
        if not named:
            return found
        stated = dict(enumerate(preview.units))
        bare = ColumnAssignment(tuple(replace(column, unit=stated.get(column.index)) for column in named), where)
        found = replace(found, guesses=guess_units(draft.kind, table.assign(bare)))
        return _read(found, table.assign(draft.columns))
    except ValvelabError as refusal:
        return replace(found, failure=without_name(refusal, draft.file))


def _read(found: Looked, table: Table) -> Looked:
    """What the table is read as, drawn, with what it leaves out; a refusal comes with what was left out before it."""
    try:
        value = _OF_TABLE[found.draft.kind](table)
    except ColumnsNeeded as needed:
        found = replace(found, failure=Phrase("{what} is missing", what=_first(needed.expected)))
    except ValvelabError as refusal:
        found = replace(found, failure=without_name(refusal, found.draft.file))
    else:
        units = {column.title: column.unit or "" for column in table.columns}
        notes = getattr(value, "notes", ())
        said = tuple(note.text for note in notes if note.level == "warning" and " left out, " not in note.text)
        found = replace(found, drawn=drawn(value, units), said=said)
    count, left_out = table.rows_left_out(LISTED)
    return replace(found, left_out=left_out, left_out_count=count)


def _first(expected: str) -> str:
    """What a table lacks, without how a command line assigns it."""
    inner = expected.fields.get("expected") if isinstance(expected, Phrase) else None
    return inner or whole(expected.partition(";")[0])


def assigned(roles: Mapping[int, tuple[str, str]], where: Where = ANYWHERE) -> ColumnAssignment:
    """The assignment of names and units ("" for none) to columns by their index."""
    columns = (AssignedColumn(name, index, unit or None) for index, (name, unit) in sorted(roles.items()))
    return ColumnAssignment(tuple(columns), where)


def can_be_told(columns: ColumnAssignment) -> bool:
    """Whether an assignment says the same when it is written out and read back."""
    try:
        return parse_columns(columns.text()) == columns
    except ValvelabError:
        return False
