"""Options that commands share."""

from __future__ import annotations

import argparse
from pathlib import Path


def add_common(parser: argparse.ArgumentParser) -> None:
    """`--json --spec --out --sign --units --quiet`, as every command has them."""
    parser.add_argument("--json", action="store_true", help="one JSON document on standard output")
    parser.add_argument("--spec", type=Path, metavar="FILE", help="limits and envelopes to judge by (TOML)")
    parser.add_argument(
        "--out", type=Path, metavar="FILE", help="write the result to FILE (.json, .csv, .xlsx, .qif, .txt or .pdf)"
    )
    parser.add_argument("--sign", metavar="NAME", help="sign the certificate with this key of yours (valvelab key new)")
    parser.add_argument("--units", choices=("metric", "inch"), default="metric", help="units of the printed table")
    parser.add_argument("--quiet", action="store_true", help="no notes and no progress on standard error")
