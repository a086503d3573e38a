"""The command line: one module a command, imported only when that command is called."""

from __future__ import annotations

import argparse
import io
import sys
from collections.abc import Callable, Sequence
from importlib import import_module
from importlib.util import find_spec

from valvelab import __version__
from valvelab.cautions import CAUTIONS
from valvelab.errors import ValvelabError, WrongUsage, one_line

COMMANDS: dict[str, str] = {
    "demo": "lay out the invented sample job, inspect it, write its certificate",
    "lobes": "lobe and camshaft characteristics, envelope and limit verdicts",
    "shaft": "eccentricity, runout and roundness per journal; straightness of the axis",
    "texture": "filtered surface-texture parameters of a trace",
    "springs": "forces, rate, solid height, coil-bind margin, stress and surge per spring",
    "sets": "the most matched sets of springs, then the tightest",
    "shims": "which spring and shims at which valve",
    "phasing": "true TDC, centrelines, events and the correction, from a degree wheel",
    "motion": "valve lift, rule lift, piston clearance, contact and control speed",
    "gauge": "repeatability and reproducibility of a measurement",
    "certify": "write the certificate of a job",
    "verify": "recompute a certificate from what it carries",
    "characteristics": "list every characteristic with its unit and meaning",
    "schema": "print the JSON Schema of something the program reads or writes",
}

CANNOT_USE = 3
WRONG_USAGE = 2


def available_commands() -> dict[str, str]:
    """Commands whose module is there."""
    return {name: text for name, text in COMMANDS.items() if find_spec(f"valvelab.cli.{name}_command")}


def is_command(arguments: Sequence[str]) -> bool:
    """Whether a command line names a command or an option, rather than files for the window."""
    return bool(arguments) and (arguments[0] in COMMANDS or arguments[0].startswith("-"))


def main(argv: Sequence[str], open_window: Callable[[list[str]], int] | None = None) -> int:
    """Run one command line; returns the exit code (0 done, 1 rejected, 2 usage, 3 input, 4 undecided).

    `open_window` opens files in the window for the one command that ends there; None where there is no display.
    """
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # a console without ✓ gets a question mark, not a traceback
    try:
        return _run_command(list(argv), open_window)
    except WrongUsage as error:
        _complain(str(error))
        return WRONG_USAGE
    except ValvelabError as error:
        _complain(str(error))
        return CANNOT_USE
    except BrokenPipeError:
        return 0
    except OSError as error:
        _complain(f"{error.filename or 'file'}: {error.strerror or error}")
        return CANNOT_USE


def _complain(sentence: str) -> None:
    sys.stderr.write(f"valvelab: {one_line(sentence)}\n")


def _run_command(arguments: list[str], open_window: Callable[[list[str]], int] | None) -> int:
    parser = argparse.ArgumentParser(
        prog="valvelab",
        description="Inspection of camshafts and valve springs. Without a command: opens the window.",
        epilog=CAUTIONS[0],
    )
    parser.add_argument("--version", action="version", version=f"valvelab {__version__}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for name, text in available_commands().items():
        command = commands.add_parser(name, help=text, description=text[0].upper() + text[1:] + ".")
        if arguments and name == arguments[0]:
            import_module(f"valvelab.cli.{name}_command").configure(command)
    parsed = parser.parse_args(arguments)
    parsed.open_window = open_window
    return int(import_module(f"valvelab.cli.{parsed.command}_command").run(parsed))
