"""How a command answers: JSON or a table on standard output, notes on standard error, files by `--out`."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from types import MappingProxyType

from valvelab.cli.streams import say
from valvelab.errors import WrongUsage, one_line
from valvelab.job.exchange import FORMS, Said, exchanged
from valvelab.records.result import Decision, Note, Result, Verdict
from valvelab.tables.description import Cell, Mark, Table
from valvelab.tables.verdicts import SIGNS, WORDS, verdict_table
from valvelab.units import System
from valvelab.writing import write_whole


def table_text(table: Table) -> str:
    """A table as plain text, its units under the heads."""
    heads = [list(map(one_line, line)) for line in (table.header, table.units) if line]
    rows = [[one_line(_cell(cell)) for cell in row] for row in table.rows]
    widths = [max(len(row[column]) for row in [*heads, *rows]) for column in range(len(table.header))]
    lines = [table.title] if table.title else []
    for row in [*heads, ["─" * width for width in widths], *rows]:
        cells = [
            cell.ljust(width) if column < table.left or column in table.flush_left else cell.rjust(width)
            for column, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        lines.append("  ".join(cells).rstrip())
    return "\n".join(lines)


def mark_text(decision: Decision) -> str:
    """A decision as sign and word."""
    return f"{SIGNS[decision]} {WORDS[decision]}"


def _cell(cell: Cell) -> str:
    return mark_text(cell.decision) if isinstance(cell, Mark) else cell


def page(*parts: str | Table | Sequence[Table]) -> str:
    """Texts and tables under one another, with a line between; what is empty is left out."""
    texts: list[str] = []
    for part in parts:
        if isinstance(part, str):
            texts.append(part)
        else:
            tables = [part] if isinstance(part, Table) else part
            texts += [table_text(table) for table in tables if table.rows]
    return "\n\n".join(text for text in texts if text)


def verdict_text(verdicts: Sequence[Verdict], result: Result, system: System) -> str:
    """The table of verdicts of a result with its reasons under it, or nothing."""
    if not verdicts:
        return ""
    table, reasons = verdict_table(verdicts, [result], system)
    return "\n".join([table_text(table), *reasons])


def plain(text: str) -> str:
    """A text of several lines as a terminal may be given it."""
    return "\n".join(map(one_line, text.rstrip().split("\n")))


def tell_notes(notes: Sequence[Note], args: argparse.Namespace) -> None:
    """The notes on standard error, a line each, unless the command line wants none."""
    if not args.quiet:
        for note in notes:
            say(f"{note.level}: {note.about}: {note.text}")


def write_out(
    result: Result,
    path: Path,
    text: Callable[[], str],
    certificate: Callable[[Path], None],
    said: Callable[[], Said] = Said,
    more: Mapping[str, Callable[[], bytes]] = MappingProxyType({}),
) -> None:
    """Write one result to a file whose ending says the form.

    `certificate` writes the PDF, `said` gives what the readings say of themselves, `more` are forms of its use alone.
    """
    ending = path.suffix.lower()
    if ending == ".pdf":
        certificate(path)
    elif ending in {".txt", ""}:
        write_whole(path, text().rstrip() + "\n")
    elif ending in FORMS:
        write_whole(path, exchanged(result, ending, said))
    elif ending in more:
        write_whole(path, more[ending]())
    else:
        known = [*FORMS, *more, ".txt"]
        raise WrongUsage(f"--out {path}: found ending {ending!r}, expected {', '.join(known)} or .pdf")
