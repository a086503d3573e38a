"""Options that commands share."""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path


def add_common(parser: argparse.ArgumentParser) -> None:
    """`--json --spec --out --sign --units --all --quiet --verbose`, as every command has them."""
    parser.add_argument("--json", action="store_true", help="one JSON document on standard output")
    parser.add_argument("--spec", type=Path, metavar="FILE", help="limits and envelopes to judge by (TOML)")
    parser.add_argument(
        "--out", type=Path, metavar="FILE", help="write the result to FILE (.json, .csv, .xlsx, .qif, .txt or .pdf)"
    )
    parser.add_argument("--sign", metavar="NAME", help="sign the certificate with this key of yours (valvelab key new)")
    add_units(parser)
    parser.add_argument("--all", action="store_true", help="show on a terminal what was accepted too, row by row")
    parser.add_argument("--quiet", action="store_true", help="no notes and no progress on standard error")
    parser.add_argument("--verbose", action="store_true", help="a log on standard error: what is read, done, written")


def add_units(parser: argparse.ArgumentParser) -> None:
    """`--units`, of a command that reads tables."""
    parser.add_argument(
        "--units",
        choices=("auto", "metric", "inch"),
        default="auto",
        help="units of what is shown (default auto: those of the first table read, else metric)",
    )


def shows_progress(args: argparse.Namespace) -> bool:
    """Whether a command shows that it is at work: on a terminal, unless it is to be quiet or prints a document."""
    draws = sys.stderr.isatty() and os.environ.get("TERM") != "dumb"
    return draws and not getattr(args, "quiet", True) and not getattr(args, "json", False)
