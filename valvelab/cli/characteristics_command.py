"""`valvelab characteristics`: every characteristic with its unit and meaning."""

from __future__ import annotations

import argparse
import json

from valvelab.cli.output import look_of, page
from valvelab.cli.streams import answer
from valvelab.inspection.characteristics import all_characteristics
from valvelab.tables.description import Table


def configure(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    parser.add_argument("--json", action="store_true", help="one JSON document on standard output")


def run(args: argparse.Namespace) -> int:
    """Print the table of characteristics."""
    rows = all_characteristics()
    if args.json:
        answer(json.dumps({"characteristics": [row.listing for row in rows]}, indent=1))
        return 0
    cells = tuple(
        (
            row.name,
            row.subject,
            row.unit or "–",
            row.needs_at or "",
            f"{row.period:g}" if row.period else "",
            row.meaning,
        )
        for row in rows
    )
    answer(page(Table(("name", "of", "unit", "at", "circle", "meaning"), cells, left=6), look=look_of(args)))
    return 0
