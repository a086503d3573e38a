"""What a command line says of signing: the key, its passphrase, the paper that is replaced."""

from __future__ import annotations

import argparse
import os
import re
import sys
from getpass import getpass
from pathlib import Path

from pydantic import ValidationError

from valvelab.cli.streams import say
from valvelab.errors import BadQuantity, WrongUsage
from valvelab.job.carried import number_carried
from valvelab.records.signing_key import NUMBER, Replaced
from valvelab.signing.keys import Signer, signer

PASSPHRASE = "VALVELAB_PASSPHRASE"  # noqa: S105 - a name, not a secret
"""Environment variable with the passphrase of the key that is made or signs."""
LEADS_NOWHERE = "passphrase: found none and no terminal to ask on, expected the one of the key in " + PASSPHRASE
LONGEST = 200


def signer_of(args: argparse.Namespace) -> Signer:
    """The key that `--sign` names, opened. Raises WrongUsage without a certificate to sign or a key of that name."""
    writes_paper = args.out is not None and args.out.suffix.lower() == ".pdf"
    if not (writes_paper or args.command == "demo"):
        raise WrongUsage("--sign: found no certificate to sign, expected --out with a file that ends in .pdf")
    return signer(args.sign, passphrase_of)


def passphrase_of(name: str) -> str:
    """The passphrase of a locked key: from the environment, else asked on the terminal without echo."""
    stated = os.environ.get(PASSPHRASE)
    if stated is not None:
        return stated
    if not sys.stdin.isatty():
        raise WrongUsage(LEADS_NOWHERE)
    return _asked(f"passphrase of {name}: ")


def new_passphrase() -> str:
    """The passphrase for a key that is made, empty for none; on a terminal it is asked twice."""
    stated = os.environ.get(PASSPHRASE)
    if stated is None and sys.stdin.isatty():
        stated = _asked("passphrase (empty for none): ")
        while stated and _asked("once more: ") != stated:
            say("the two differ")
            stated = _asked("passphrase (empty for none): ")
    if stated is not None and len(stated) > LONGEST:
        raise WrongUsage(f"passphrase: found {len(stated)} signs, expected at most {LONGEST}")
    return stated or ""


def _asked(prompt: str) -> str:
    """What is typed on the terminal, without echo."""
    try:
        return getpass(prompt)
    except EOFError:
        raise WrongUsage(LEADS_NOWHERE) from None


def number_or_file(text: str) -> str | Path:
    """What `--replaces` names: a certificate's number, or else its file."""
    number = text.strip().upper()
    return number if re.fullmatch(NUMBER, number) else Path(text)


def replaced(args: argparse.Namespace) -> Replaced | None:
    """The certificate that `--replaces` names by number or file, with the reason. Raises WrongUsage, BadFile."""
    if args.replaces is None:
        if args.reason is not None:
            raise WrongUsage("--reason: found no certificate that is replaced, expected --replaces beside it")
        return None
    number = number_carried(args.replaces) if isinstance(args.replaces, Path) else args.replaces
    try:
        return Replaced(number=number, reason=args.reason)
    except ValidationError as error:
        cause = error.errors()[0].get("ctx", {}).get("error")
        raise WrongUsage(f"--{cause}" if isinstance(cause, BadQuantity) else str(error)) from None
