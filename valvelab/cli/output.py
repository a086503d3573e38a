"""How a command answers: JSON or a table on standard output, notes on standard error, files by `--out`."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from pathlib import Path

from valvelab.cli.streams import answer, say
from valvelab.errors import WrongUsage, one_line
from valvelab.records.result import Result, Verdict, exit_code, numbered_reasons
from valvelab.units import System, display_unit, show
from valvelab.writing import write_whole

MARKS = {"accept": "✓ accept", "reject": "✗ reject", "undecided": "? undecided"}


def table(header: Sequence[str], rows: Sequence[Sequence[str]], left: int = 1) -> str:
    """Plain text table; the first `left` columns flush left, the others flush right."""
    header, rows = list(map(one_line, header)), [list(map(one_line, row)) for row in rows]
    widths = [max(len(row[column]) for row in [header, *rows]) for column in range(len(header))]
    lines = []
    for row in [header, ["─" * width for width in widths], *rows]:
        cells = [
            cell.ljust(width) if column < left else cell.rjust(width)
            for column, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        lines.append("  ".join(cells).rstrip())
    return "\n".join(lines)


def plain(text: str) -> str:
    """A text of several lines as a terminal may be given it."""
    return "\n".join(map(one_line, text.rstrip().split("\n")))


def verdict_table(verdicts: Sequence[Verdict], system: System) -> str:
    """The verdicts as a text table with their reasons numbered under it, or an empty string."""
    if not verdicts:
        return ""
    rows = []
    reasons = numbered_reasons(verdicts)
    for verdict in verdicts:
        unit = display_unit(verdict.unit, system).label
        chance = verdict.probability_conforming
        rows.append([
            verdict.characteristic + ("" if verdict.at_mm is None else f" @ {show(verdict.at_mm, 'mm', system)}"),
            verdict.item,
            show(verdict.measured, verdict.unit, system),
            show(verdict.standard_uncertainty, verdict.unit, system),
            show(verdict.lower, verdict.unit, system),
            show(verdict.upper, verdict.unit, system),
            unit,
            "–" if chance is None else f"{100.0 * chance:.1f} %",
            MARKS[verdict.decision],
            verdict.clause or "",
            *([f"[{reasons[verdict.remark]}]" if verdict.remark else ""] if reasons else []),
        ])  # fmt: skip
    header = ["characteristic", "item", "measured", "u", "lower", "upper", "unit", "conforms", "verdict", "clause"]
    under = "".join(f"\n[{number}] {reason}" for reason, number in reasons.items())
    return table(header + ["why"] * bool(reasons), rows, left=2) + under


def finish(result: Result, args: argparse.Namespace, text: Callable[[], str]) -> int:
    """Print and write one result; returns the exit code that its verdicts ask for, or those of its certificate.

    `text` makes the readable table. A certificate is made by the command's `part`, see `job_parts`.
    """
    judged = [result.verdicts]
    if args.out is not None:
        write_out(result, args.out, text, lambda path: judged.append(_certify(result.command, args, path)))
    if args.json:
        answer(result.model_dump_json(indent=1))
    elif args.out is None or not args.quiet:
        answer(plain(text()))
    if not args.quiet:
        for note in result.notes:
            say(f"{note.level}: {note.about}: {note.text}")
    return exit_code(judged[-1])


def _certify(command: str, args: argparse.Namespace, path: Path) -> tuple[Verdict, ...]:
    """Writes the paper; its verdicts, which leave no limit of the spec unanswered."""
    from valvelab.cli.certify_command import certify_arguments

    return certify_arguments(command, args, path).verdicts


def write_out(result: Result, path: Path, text: Callable[[], str], certificate: Callable[[Path], None]) -> None:
    """Write one result to a file whose ending says the form; `certificate` writes the PDF."""
    match path.suffix.lower():
        case ".json":
            write_whole(path, result.model_dump_json(indent=1) + "\n")
        case ".pdf":
            certificate(path)
        case ".txt" | "":
            write_whole(path, text().rstrip() + "\n")
        case ending:
            raise WrongUsage(f"--out {path}: found ending {ending!r}, expected .json, .txt or .pdf")
