"""How a command answers: JSON or a table on standard output, notes on standard error, files by `--out`."""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import field, replace
from pathlib import Path
from types import MappingProxyType

from valvelab.cli.screen import Screen, screen_of
from valvelab.cli.streams import answer, say
from valvelab.cli.table_text import table_text
from valvelab.errors import WrongUsage, one_line
from valvelab.frozen import frozen
from valvelab.inspection.characteristics import printed
from valvelab.job.exchange import FORMS, Said, exchanged
from valvelab.records.result import Decision, Note, Result, Verdict
from valvelab.tables.description import Table
from valvelab.tables.verdicts import mark_text, outcome_told, overall, rank, verdict_table, worst_by_item
from valvelab.units import System
from valvelab.writing import write_whole

ITEM_HEADS = frozenset({"lobe", "spring", "valve", "station", "item"})
"""First heads of tables that have a row an item."""
MOST_ROWS = 16
"""Rows of a table of items that a terminal shows though they are all accepted."""
UNFOLD = " (--all shows them)"
NOT_JUDGED = "Nothing judged."


@frozen
class Look:
    """How an answer is laid out: in full as in a file, or for a terminal.

    worst: the gravest decision on each item. unfolded: what is accepted is shown on a terminal too.
    """

    screen: Screen | None = None
    worst: Mapping[str, Decision] = field(default_factory=dict)
    unfolded: bool = True


IN_FULL = Look()


def look_of(args: argparse.Namespace, verdicts: Sequence[Verdict] = ()) -> Look:
    """How standard output wants an answer with these verdicts."""
    return Look(screen_of(), worst_by_item(verdicts), getattr(args, "all", True))


def page(*parts: str | Table | Sequence[Table], look: Look = IN_FULL) -> str:
    """Texts and tables under one another, with a line between, safe to print; what is empty is left out."""
    texts: list[str] = []
    for part in parts:
        if isinstance(part, str):
            texts.append(told(part, look))
        else:
            texts += [_table(table, look) for table in ([part] if isinstance(part, Table) else part) if table.rows]
    return "\n\n".join(text for text in texts if text)


def told(text: str, look: Look = IN_FULL) -> str:
    """A text of several lines as a file or a terminal may be given it."""
    safe = "\n".join(map(one_line, text.rstrip().split("\n")))
    return safe if look.screen is None else look.screen.wrapped(safe)


def _table(table: Table, look: Look) -> str:
    """A table; on a terminal rejected items first, then undecided ones, and of a long one the accepted in one line."""
    if look.screen is None or table.header[0] not in ITEM_HEADS:
        return table_text(table, look.screen)
    rows = [(_item(row, look), row) for row in table.rows]
    accepted = {name for name, _ in rows if look.worst.get(name) == "accept"}
    rows.sort(key=lambda one: rank(None if one[0] in accepted else look.worst.get(one[0])))
    folded = [name for name, _ in rows if name in accepted] if len(rows) > MOST_ROWS and not look.unfolded else []
    shown = replace(table, rows=tuple(row for name, row in rows if not folded or name not in accepted))
    texts = [table_text(shown, look.screen)] if shown.rows else []
    if folded:
        title = "" if shown.rows or not table.title else f"{table.title}: "
        texts.append(_accepted(f"{title}{mark_text('accept')} {len(folded)}", dict.fromkeys(folded), look.screen))
    return "\n".join(texts)


def _item(row: Sequence[object], look: Look) -> str:
    """What verdicts call the item of a row: its first cell, or the first two."""
    both = " ".join(map(str, row[:2]))
    return both if both in look.worst else str(row[0])


def _accepted(head: str, names: Iterable[str], screen: Screen) -> str:
    """One line on what is accepted, cut where the terminal ends."""
    text = one_line(f"{head}{UNFOLD}: {', '.join(names)}")
    return screen.paint(text if len(text) <= screen.width else text[: screen.width - 1] + "…", "accept")


def verdict_text(verdicts: Sequence[Verdict], result: Result, system: System, look: Look = IN_FULL) -> str:
    """The table of verdicts of a result with its reasons under it, or nothing.

    On a terminal the gravest first, and those accepted in one line unless they are to be shown.
    """
    shown, folded = list(verdicts), []
    if look.screen is not None:
        shown.sort(key=lambda row: rank(row.decision))
        folded = [] if look.unfolded else [row for row in shown if row.decision == "accept"]
        shown = shown[: len(shown) - len(folded)]
    lines = []
    if shown:
        table, reasons = verdict_table(shown, [result], system)
        lines += [table_text(table, look.screen), *(told(reason, look) for reason in reasons)]
    if look.screen is not None and folded:
        counts = Counter(printed(row.characteristic, row.unit) for row in folded)
        names = (f"{name} {count}" for name, count in counts.items())
        lines.append(_accepted(f"{mark_text('accept')} {len(folded)}", names, look.screen))
    return "\n".join(lines)


def summary(verdicts: Sequence[Verdict]) -> str:
    """The overall verdict and its counts, on one line."""
    decision, sentence = outcome_told(verdicts)
    return f"{decision}. {sentence}"


def with_summary(text: str, verdicts: Sequence[Verdict]) -> str:
    """An answer in full, with the overall verdict as its last line where something was judged."""
    return "\n\n".join(filter(None, (text, summary(verdicts) if verdicts else "")))


def conclude(text: str, verdicts: Sequence[Verdict], notes: Sequence[Note], args: argparse.Namespace) -> None:
    """The answer, and the overall verdict as its last line; on a terminal the notes before that."""
    screen = screen_of()
    answer(with_summary(text, verdicts) if screen is None else text)
    tell_notes(notes, args)
    if screen is not None:
        last = summary(verdicts) if verdicts else NOT_JUDGED
        answer("\n" + screen.paint(screen.wrapped(last), overall(verdicts) or "strong"))


def tell_notes(notes: Sequence[Note], args: argparse.Namespace) -> None:
    """The notes on standard error, a line each, unless the command line wants none."""
    if not args.quiet:
        for note in notes:
            say(f"{note.about}: {note.text}", note.level)


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
