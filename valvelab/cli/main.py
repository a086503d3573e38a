"""The command line: one module a command, imported only when that command is called."""

from __future__ import annotations

import argparse
import io
import os
import sys
import traceback
from collections.abc import Callable, Container, Iterable, Sequence
from contextlib import AbstractContextManager, nullcontext
from difflib import get_close_matches
from pathlib import Path
from typing import Protocol

from valvelab import __version__
from valvelab.cautions import CAUTIONS
from valvelab.cli.options import shows_progress
from valvelab.cli.progress import LINE
from valvelab.cli.streams import say
from valvelab.errors import ValvelabError, WrongUsage, utf8
from valvelab.job.uses import USES

COMMANDS: dict[str, str] = {
    "demo": "lay out the invented sample job, inspect it, write its certificate",
    **USES,
    "batch": "inspect a folder or a store of files in parallel, one row an item",
    "certify": "write the certificate of a job",
    "verify": "recompute a certificate from what it carries",
    "key": "make, show, trust signing keys",
    "records": "keep inspections for years, and see what became of a part: add, list, show, history, export",
    "characteristics": "list every characteristic with its unit and meaning",
    "schema": "print the JSON Schema of something the program reads or writes",
    "completion": "print a script that completes command lines in bash, zsh or fish",
}

CANNOT_USE = 3
WRONG_USAGE = 2
STOPPED = 130
TRACEBACK = "VALVELAB_TRACEBACK"
"""Environment variable that asks for the whole report of a fault of the program."""


class _Command(Protocol):
    """A module or an object that is a command."""

    def configure(self, parser: argparse.ArgumentParser, /) -> None:
        """Declare its options."""

    def run(self, args: argparse.Namespace, /) -> int:
        """Do it; the exit code."""


def is_command(arguments: Sequence[str]) -> bool:
    """Whether a command line names a command or an option, rather than files for the window."""
    return bool(arguments) and (arguments[0] in COMMANDS or arguments[0].startswith("-"))


def check_files(arguments: Sequence[str]) -> None:
    """Refuse words for the window that are no files, with the command that was likely meant."""
    for word in arguments:
        if _exists(word):
            continue
        near = get_close_matches(word.lower(), COMMANDS, n=1) if word.replace("-", "").isalpha() else []
        meant = f"; the nearest command is {near[0]}" if near else "; valvelab --help lists the commands"
        raise WrongUsage(f"{word}: found neither a command nor a file of that name{meant}")


def _exists(word: str) -> bool:
    try:
        return Path(word).exists()
    except (OSError, ValueError):
        return False


def main(argv: Sequence[str], open_window: Callable[[list[str]], int] | None = None) -> int:
    """Run one command line; returns the exit code (0 done, 1 rejected, 2 usage, 3 input, 4 undecided).

    `open_window` opens files in the window for the one command that ends there; None where there is no display.
    """
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # a console without ✓ gets a question mark, not a traceback
    return guarded(lambda: _run_command(list(argv), open_window))


def guarded(work: Callable[[], int]) -> int:
    """Run `work`; whatever it raises becomes one line on standard error and an exit code, never "rejected"."""
    try:
        return work()
    except WrongUsage as error:
        _complain(str(error))
        return WRONG_USAGE
    except ValvelabError as error:
        _complain(str(error))
    except KeyboardInterrupt:
        _complain("stopped")
        return STOPPED
    except OSError as error:
        _complain(f"{error.filename or 'file'}: {error.strerror or error}")
    except MemoryError:
        _complain("found more work than the memory of this machine holds, expected smaller files or fewer at a time")
    except Exception as error:  # noqa: BLE001 - the last catch: an uncaught exception would leave the code of a rejection
        _complain(_unforeseen(error))
    return CANNOT_USE


def _complain(sentence: str) -> None:
    say(f"valvelab: {sentence}")
    if os.environ.get(TRACEBACK):
        sys.stderr.write(traceback.format_exc())


def _unforeseen(error: Exception) -> str:
    """One sentence on a fault of the program: what was raised, and where in it."""
    package = str(Path(__file__).resolve().parent.parent)
    own = [step for step in traceback.extract_tb(error.__traceback__) if step.filename.startswith(package)]
    where = f" in {Path(own[-1].filename).name}, line {own[-1].lineno}" if own else ""
    what = f"{type(error).__name__}: {error}"[:200]
    return f"a fault of the program, no verdict ({what}{where}); with {TRACEBACK}=1 the whole report is printed"


def _run_command(arguments: list[str], open_window: Callable[[list[str]], int] | None) -> int:
    asked = arguments[:1]
    parser = _parser(asked if asked and asked[0] in COMMANDS else COMMANDS, configured=asked)
    parsed = parser.parse_args(arguments)
    _check_texts(parsed)
    from valvelab.cli.outputs import check_outputs

    check_outputs(parsed)
    parsed.open_window = open_window
    parsed.whole_parser = lambda: _parser(COMMANDS, configured=COMMANDS)
    parsed.signer = _signer(parsed)
    with _logged(parsed, arguments), _at_work(parsed):
        return _door(parsed.command).run(parsed)


def _logged(args: argparse.Namespace, arguments: list[str]) -> AbstractContextManager[None]:
    if not getattr(args, "verbose", False):
        return nullcontext()
    from valvelab.cli import log

    return log.told(arguments)


def _at_work(args: argparse.Namespace) -> AbstractContextManager[None]:
    """A line that shows that a command is at work; none for those that ask something of a person."""
    wanted = args.command in {*USES, "certify", "verify", "demo", "records"} and shows_progress(args)
    return LINE.about(f"{args.command}: at work") if wanted else nullcontext()


def _parser(names: Iterable[str], *, configured: Container[str]) -> argparse.ArgumentParser:
    """The command line with these commands; the options of commands are declared for those that are wanted."""
    parser = argparse.ArgumentParser(
        prog="valvelab",
        description="Inspection of camshafts and valve springs. Without a command: opens the window.",
        epilog=CAUTIONS[0],
    )
    parser.add_argument("--version", action="version", version=f"valvelab {__version__}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for name in names:
        text = COMMANDS[name]
        command = commands.add_parser(name, help=text, description=text[0].upper() + text[1:] + ".")
        if name in configured:
            _door(name).configure(command)
    return parser


def _door(name: str) -> _Command:
    """What a command does, imported when it is called."""
    match name:
        case "demo":
            from valvelab.cli import demo_command

            return demo_command
        case "compare":
            from valvelab.cli import compare_command

            return compare_command
        case "gauge":
            from valvelab.cli import gauge_command

            return gauge_command
        case "batch":
            from valvelab.cli import batch_command

            return batch_command
        case "certify":
            from valvelab.cli import certify_command

            return certify_command
        case "verify":
            from valvelab.cli import verify_command

            return verify_command
        case "key":
            from valvelab.cli import key_command

            return key_command
        case "records":
            from valvelab.cli import records_command

            return records_command
        case "characteristics":
            from valvelab.cli import characteristics_command

            return characteristics_command
        case "schema":
            from valvelab.cli import schema_command

            return schema_command
        case "completion":
            from valvelab.cli import completion_command

            return completion_command
    from valvelab.cli.inspecting import Inspecting

    return Inspecting(name)


def _signer(parsed: argparse.Namespace) -> object:
    """The key that the command line signs with, opened before anything is computed; None where it signs nothing."""
    if getattr(parsed, "sign", None) is None:
        return None
    from valvelab.cli.signing import signer_of

    return signer_of(parsed)


def _check_texts(args: argparse.Namespace) -> None:
    """Refuse options whose bytes are no text; a file's name may be of any bytes."""
    for name, value in vars(args).items():
        for one in value if isinstance(value, list) else [value]:
            if isinstance(one, str) and name not in {"adopt", "command"} and utf8(one) != one:
                raise WrongUsage(f"{name}: found {one!r}, expected UTF-8 text")
