"""`valvelab completion`: a script that completes commands, options and files in a shell."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path

from valvelab.cli.streams import answer

SHELLS = ("bash", "zsh", "fish")


def configure(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    parser.add_argument("shell", choices=SHELLS, metavar="SHELL", help=", ".join(SHELLS))
    parser.epilog = 'bash: eval "$(valvelab completion bash)" in ~/.bashrc; zsh, fish: into a file where they look'


def run(args: argparse.Namespace) -> int:
    """Print the script."""
    import shtab  # noqa: PLC0415 - for this command alone

    parser = args.whole_parser()
    for action in _actions(parser):
        if action.type is Path:
            action.complete = shtab.FILE  # type: ignore[attr-defined]
        action.choices = action.choices or getattr(action, "offered", None)
    answer(shtab.complete(parser, shell=args.shell))
    return 0


def _actions(parser: argparse.ArgumentParser) -> Iterator[argparse.Action]:
    """Options of a parser and of its commands."""
    for action in parser._actions:  # noqa: SLF001 - the library has no other list of them
        yield action
        if isinstance(action, argparse._SubParsersAction):  # noqa: SLF001 - as above
            for command in action.choices.values():
                yield from _actions(command)
