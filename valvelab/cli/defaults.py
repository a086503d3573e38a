"""What a shop always asks for: units, checking lifts and an instrument's card, of a `defaults.toml` of its own."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path
from typing import Literal

from valvelab.files.contents import names_job, read_contents
from valvelab.files.spec_file import parse_toml
from valvelab.records.job import JobPart, LiftPart
from valvelab.records.result import Record
from valvelab.records.spec import Quantity
from valvelab.workbench.settings import folder as settings_folder

FILE = "defaults.toml"


class Defaults(Record):
    """The file's keys; the card is counted from the file's own folder and goes with lift tables."""

    units: Literal["auto", "metric", "inch"] = "auto"
    checking_lifts: tuple[Quantity, ...] = ()
    instrument: Path | None = None


def place() -> Path:
    """Where the file lies, if there is one."""
    return settings_folder() / FILE


def fill_in(args: argparse.Namespace, kind: type[JobPart]) -> str:
    """Put the defaults where the command line says nothing; the sentence that names what was put, empty for nothing.

    A job says itself what it wants of its lifts and its card. Raises BadFile for a file that can't be used.
    """
    path = place()
    if args.no_defaults or not path.is_file():
        return ""
    used = list(_filled(args, kind, parse_toml(read_contents(path).data, str(path), Defaults), path.parent))
    return f"defaults: {', '.join(used)}, from {path} (--no-defaults leaves them out)" if used else ""


def _filled(args: argparse.Namespace, kind: type[JobPart], known: Defaults, folder: Path) -> Iterator[str]:
    if known.units != "auto" and args.units == "auto":
        args.units = known.units
        yield f"units {known.units}"
    if args.file is None or names_job(args.file):
        return
    if known.checking_lifts and "at" in kind.model_fields and not args.at:
        args.at = list(known.checking_lifts)
        yield f"checking lifts {', '.join(map(str, known.checking_lifts))}"
    if known.instrument is not None and issubclass(kind, LiftPart) and args.instrument is None:
        args.instrument = folder / known.instrument
        yield f"instrument {args.instrument}"
