"""`valvelab key`: signing keys of one's own, and those of others that are trusted."""

from __future__ import annotations

import argparse
from pathlib import Path

from valvelab.cli.output import look_of, page
from valvelab.cli.signing import new_passphrase
from valvelab.cli.streams import answer
from valvelab.errors import WrongUsage
from valvelab.records.signing_key import KeyResult, KnownKey, ListedKey
from valvelab.signing import keys
from valvelab.tables.description import Table
from valvelab.writing import write_whole

HEADER = ("fingerprint", "name", "")


def configure(parser: argparse.ArgumentParser) -> None:
    """Its four actions with their options."""
    actions = parser.add_subparsers(dest="action", metavar="ACTION", required=True)
    made = _action(actions, "new", "make a key of your own, under a name that is not taken")
    made.add_argument("name", metavar="NAME", help="what you call it, and what papers say")
    shown = _action(actions, "show", "list all known keys, or show one")
    shown.add_argument("name", nargs="?", metavar="NAME", help="only this key, by its name or fingerprint")
    shown.add_argument("--out", type=Path, metavar="FILE.pub", help="write its public half, for others to trust")
    trusted = _action(actions, "trust", "trust another's key: compare the fingerprint with its owner first")
    trusted.add_argument("file", type=Path, metavar="FILE", help="a public key (key show NAME --out FILE.pub)")
    trusted.add_argument("--name", metavar="NAME", help="trust it under another name")
    untrusted = _action(actions, "untrust", "trust another's key no more")
    untrusted.add_argument("name", metavar="NAME", help="the key, by its name or fingerprint")


def _action(
    actions: argparse._SubParsersAction[argparse.ArgumentParser], name: str, text: str
) -> argparse.ArgumentParser:
    parser = actions.add_parser(name, help=text, description=text[0].upper() + text[1:] + ".")
    parser.add_argument("--json", action="store_true", help="one JSON document on standard output")
    return parser


def run(args: argparse.Namespace) -> int:
    """Do one action and tell the keys concerned."""
    result = _done(args)
    if args.json:
        answer(result.model_dump_json(indent=1))
    elif result.keys:
        others = "no longer trusted" if result.done == "untrusted" else "trusted"
        rows = tuple((key.fingerprint, key.name, "your own" if key.own else others) for key in result.keys)
        answer(page(Table(HEADER, rows, left=3), look=look_of(args)))
    else:
        answer("no keys yet; valvelab key new NAME makes one")
    return 0


def _done(args: argparse.Namespace) -> KeyResult:
    match args.action:
        case "new":
            return _result("made", keys.new_key(args.name, new_passphrase()))
        case "trust":
            return _result("trusted", keys.trust(args.file, args.name))
        case "untrust":
            return _result("untrusted", keys.untrust(args.name))
    if args.name is None:
        if args.out is not None:
            raise WrongUsage("key show --out: found no NAME, expected the one key that is written")
        return _result("listed", *keys.known_keys())
    key = keys.named(args.name)
    if args.out is not None:
        write_whole(args.out, keys.public_text(key))
    return _result("listed", key)


def _result(done: str, *known: KnownKey) -> KeyResult:
    listed = [
        ListedKey(fingerprint=key.fingerprint, name=key.name, own=key.own, public_key=key.public_key) for key in known
    ]
    return KeyResult.model_validate({"done": done, "keys": listed})
