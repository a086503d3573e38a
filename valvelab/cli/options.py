"""Options that commands share, and what is read from them."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from valvelab.errors import BadQuantity, BadSpec, WrongUsage
from valvelab.units import Dimension, parse_quantity

if TYPE_CHECKING:
    from valvelab.records.result import Source
    from valvelab.records.spec import Spec


def add_common(parser: argparse.ArgumentParser) -> None:
    """`--json --spec --out --units --quiet`, as every command has them."""
    parser.add_argument("--json", action="store_true", help="one JSON document on standard output")
    parser.add_argument("--spec", type=Path, metavar="FILE", help="limits and envelopes to judge by (TOML)")
    parser.add_argument(
        "--out", type=Path, metavar="FILE", help="write the result to FILE (.json, .txt or a .pdf certificate)"
    )
    parser.add_argument("--units", choices=("metric", "inch"), default="metric", help="units of the printed table")
    parser.add_argument("--quiet", action="store_true", help="no notes and no progress on standard error")


def add_columns(parser: argparse.ArgumentParser) -> None:
    """`--columns`, for tables without usable headers."""
    parser.add_argument(
        "--columns",
        metavar="TEXT",
        help='assign columns counted from 0, as in "angle=0 [crank deg], 1I=2 [in]"; sheet=2 or sheet="Tuesday", '
        "header=5, first row=6 (counted from 1) may stand among them",
    )


def spec_of(args: argparse.Namespace) -> tuple[Spec | None, tuple[Source, ...]]:
    """The spec that `--spec` names, and its identity; without one None and nothing."""
    if args.spec is None:
        return None, ()
    from valvelab.files.spec_file import read_toml_with_source
    from valvelab.records.spec import Spec

    spec, source = read_toml_with_source(args.spec, Spec, BadSpec)
    return spec, (source,)


def quantity(
    text: str, dimension: Dimension, option: str, least: Literal["above 0", "0 or above", "any"] = "above 0"
) -> float:
    """A typed value of an option in canonical units; WrongUsage names the option, what was found and expected."""
    try:
        value = parse_quantity(text, dimension, option)
    except BadQuantity as error:
        raise WrongUsage(str(error)) from None
    if (value < 0.0 and least != "any") or (value == 0.0 and least == "above 0"):
        raise WrongUsage(f"{option}: found {text}, expected a {dimension} {least}")
    return value


def checking_lifts(texts: Sequence[str] | None) -> tuple[float, ...]:
    """What `--at` adds to the checking lifts, mm."""
    return tuple(quantity(text, "length", "--at") for text in texts or ())
