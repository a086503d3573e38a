"""Starts the program: a command line, or the window."""

from __future__ import annotations

import sys


def main() -> int:
    """Entry point: a command when one is named, else the window with the files given."""
    from valvelab.cli import main as command_line

    arguments = sys.argv[1:]
    return command_line.main(arguments)


if __name__ == "__main__":
    sys.exit(main())
