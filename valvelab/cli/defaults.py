"""A shop's own defaults where a command line says nothing: units, checking lifts, cards."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from typing import TYPE_CHECKING

from valvelab.cli.streams import say
from valvelab.files.contents import names_job
from valvelab.records.parts.part import JobPart, LiftPart
from valvelab.workbench.settings import SHOP_CARD, SHOP_DEFAULTS
from valvelab.workbench.settings import folder as settings_folder

if TYPE_CHECKING:
    from valvelab.workbench.defaults import Defaults


def add_no_defaults(parser: argparse.ArgumentParser) -> None:
    """`--no-defaults`, of a command that asks for them."""
    parser.add_argument("--no-defaults", action="store_true", help=f"leave the {SHOP_DEFAULTS} of your settings out")


def use_defaults(args: argparse.Namespace, kind: type[JobPart] | None = None) -> None:
    """Put the defaults where the command line says nothing, and say which; without a part those of the paper alone.

    A job says itself what it wants of its lifts and its card. Raises BadFile for a file that can't be used.
    """
    if args.no_defaults:
        return
    folder = settings_folder()
    if not any((folder / name).is_file() for name in (SHOP_DEFAULTS, SHOP_CARD)):
        return
    from valvelab.workbench.defaults import defaults_in  # noqa: PLC0415 - most shops have none

    known = defaults_in(folder)
    used = [*_of_paper(args, known), *(() if kind is None else _of_part(args, kind, known))]
    if used and not args.quiet:
        place = folder / SHOP_DEFAULTS if (folder / SHOP_DEFAULTS).is_file() else folder
        say(f"defaults: {', '.join(used)}, from {place} (--no-defaults leaves them out)", "info")


def _of_paper(args: argparse.Namespace, known: Defaults) -> Iterator[str]:
    if known.shop is not None and args.shop is None and args.out is not None and args.out.suffix.lower() == ".pdf":
        args.shop = known.shop
        yield f"shop's card {known.shop}"


def _of_part(args: argparse.Namespace, kind: type[JobPart], known: Defaults) -> Iterator[str]:
    if known.units != "auto" and args.units == "auto":
        args.units = known.units
        yield f"units {known.units}"
    if args.file is None or names_job(args.file):
        return
    if known.checking_lifts and "at" in kind.model_fields and not args.at:
        args.at = list(known.checking_lifts)
        yield f"checking lifts {', '.join(map(str, known.checking_lifts))}"
    if known.instrument is not None and issubclass(kind, LiftPart) and args.instrument is None:
        args.instrument = known.instrument
        yield f"instrument {args.instrument}"
