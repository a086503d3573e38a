"""Rewrites the tables of README.md that repeat what the program knows: commands, kinds of file, characteristics.

python tests/make_readme.py   # rewrites README.md in place
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

from valvelab.cli.main import COMMANDS
from valvelab.files.kinds import READERS
from valvelab.inspection.characteristics import all_characteristics

README = Path(__file__).resolve().parent.parent / "README.md"


def commands() -> str:
    rows = [f"| `valvelab {name}` | {text} |" for name, text in COMMANDS.items()]
    return "\n".join(["| command | does |", "| --- | --- |", *rows])


def files() -> str:
    rows = [f"| {reader.name} | {', '.join(reader.endings)} | {reader.holds} |" for reader in READERS]
    return "\n".join(["| kind | endings | holds |", "| --- | --- | --- |", *rows])


def characteristics() -> str:
    rows = []
    for row in all_characteristics():
        where = f"at a {row.needs_at}" if row.needs_at else ""
        rows.append(f"| `{row.name}` | {row.subject} | {row.unit or '–'} | {where} | {row.meaning} |")
    return "\n".join(["| name | of | unit | | meaning |", "| --- | --- | --- | --- | --- |", *rows])


BLOCKS = {"commands": commands, "files": files, "characteristics": characteristics}


def rewritten(text: str) -> str:
    """The text with every marked block made anew."""
    for name, make in BLOCKS.items():
        pattern = re.compile(rf"(<!-- {name} -->\n).*?(<!-- end of {name} -->)", re.DOTALL)
        text, count = pattern.subn(lambda match, table=make: f"{match.group(1)}{table()}\n{match.group(2)}", text)
        if count != 1:
            sys.exit(f"README.md: found {count} blocks {name}, expected 1")
    return text


if __name__ == "__main__":
    README.write_text(rewritten(README.read_text(encoding="utf-8")), encoding="utf-8")
