"""From a file on the bench to its content, whatever the file holds."""

from __future__ import annotations

from dataclasses import replace

from valvelab.errors import BadFile, ValvelabError
from valvelab.files.kinds import READERS
from valvelab.phrase import Phrase, listed, whole
from valvelab.workbench import edits
from valvelab.workbench.document import BenchFile, Content, Document, Problem
from valvelab.workbench.first_import import numeric


def read_content(file: BenchFile) -> Content:
    """Read one file by its kind; what goes wrong becomes a problem, never an exception of the program's own."""
    numeric()
    from valvelab.files.table import ColumnsNeeded
    from valvelab.workbench.entry_text import grid_of, still_wanted

    kind = file.kind or ""
    try:
        kind = kind or _kind(file)
        value = _read(file, kind)
    except ValvelabError as refusal:
        if isinstance(refusal, ColumnsNeeded) and file.text is None:
            return Content(kind, preview=refusal.preview)
        if file.text is not None:
            wanted = still_wanted(kind, grid_of(kind, file.text)) or without_name(refusal, file)
            return Content(kind, problem=Problem("info", file.name, wanted))
        return Content(kind, problem=Problem("error", file.name, without_name(refusal, file)))
    except OSError as error:
        return Content(kind, problem=Problem("error", file.name, error.strerror or str(error)))
    return Content(kind, value=value)


def with_text(document: Document, path: str, kind: str, text: str) -> Document:
    """The document with a text in place of what a file holds, read; a path that nothing lies under is a new file's."""
    others = tuple(file for file in document.files if file.path != path)
    typed = replace(document.file(path) or BenchFile(path, kind=kind), text=text)
    with_file = replace(document, files=(*others, typed), current={**document.current, kind: path})
    return edits.content_arrived(with_file, typed, read_content(typed))


def _kind(file: BenchFile) -> str:
    """The kind of a file; a table whose names say nothing asks for its columns."""
    from valvelab.files.reading import kind_of
    from valvelab.files.table import read_table

    answers = kind_of(file.given)
    sure = [kind for kind, said in answers.items() if said == "yes"]
    if len(sure) == 1:
        return sure[0]
    maybe = sure or [kind for kind, said in answers.items() if said == "perhaps"]
    if "spec" in maybe or (not maybe and file.path.lower().endswith(".toml")):
        return "spec"
    if maybe:
        raise read_table(file.given).columns_needed("names that say what the columns hold", "angle=0, 1I=1")
    raise BadFile(file.path, "", "nothing that the bench knows", _taken())


def _taken() -> str:
    return Phrase("one of: {kinds}", kinds=listed(whole(known.label) for known in READERS))


def _read(file: BenchFile, kind: str) -> object:
    from valvelab.files.reading import read

    if kind not in {known.name for known in READERS}:
        raise BadFile(file.name, "", f"a {kind}", _taken())
    return read(kind, file.given, file.columns)


def assigned_columns(document: Document, file: BenchFile) -> tuple[str, str, str] | None:
    """Shape, kind and column assignment of a file that needs one; None where nobody assigned its columns."""
    shape = shape_of(document, file)
    return None if file.columns is None or file.kind is None or not shape else (shape, file.kind, file.columns)


def shape_of(document: Document, file: BenchFile) -> str:
    """The shape that a file's column assignment is remembered by; "" for one that was read without any."""
    plain = document.content(replace(file, kind=None, columns=None))
    return "" if plain is None or plain.preview is None else plain.preview.shape


def without_name(refusal: Exception, file: BenchFile) -> str:
    """A refusal's sentence without the file's name in front: the list shows that in a column of its own."""
    if isinstance(refusal, BadFile) and refusal.file in {file.path, file.name}:
        return refusal.within
    sentence = str(refusal)
    for start in (file.path, file.name):
        if sentence.startswith(start):
            return sentence[len(start) :].lstrip(",: ")
    return sentence
