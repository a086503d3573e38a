"""Rewrites what README.md and the guide repeat of what the program knows: commands, kinds of file, characteristics.

python tests/make_readme.py   # rewrites them in place
"""

from __future__ import annotations

import re
import sys
from itertools import groupby
from pathlib import Path
from textwrap import fill

from valvelab.cli.main import COMMANDS
from valvelab.files.kinds import READERS
from valvelab.inspection.characteristics import all_characteristics

ROOT = Path(__file__).resolve().parent.parent
README = ROOT / "README.md"
FILES = ROOT / "resources" / "guide" / "files.md"
WIDTH = 140


def commands() -> str:
    rows = [f"| `valvelab {name}` | {text} |" for name, text in COMMANDS.items()]
    return "\n".join(["| command | does |", "| --- | --- |", *rows])


def short_files() -> str:
    """Kinds by the endings they come with."""
    kinds: dict[str, list[str]] = {}
    for reader in READERS:
        kinds.setdefault(", ".join(reader.endings), []).append(reader.name)
    rows = [f"- {', '.join(names)}: {endings}" for endings, names in kinds.items()]
    return listed([*rows, "- What each holds, and how it is read: [files](resources/guide/files.md)"])


def listed(rows: list[str]) -> str:
    return "\n".join(fill(row, WIDTH, subsequent_indent="  ", break_on_hyphens=False) for row in rows)


def files() -> str:
    rows = [f"| {reader.name} | {', '.join(reader.endings)} | {reader.holds} |" for reader in READERS]
    return "\n".join(["| kind | endings | holds |", "| --- | --- | --- |", *rows, ""])


def characteristics() -> str:
    """Names by what they are of."""
    rows = []
    for subject, found in groupby(all_characteristics(), lambda row: row.subject):
        names = ", ".join(f"`{row.name}`" for row in found)
        rows.append(f"- **{subject.capitalize()}**: {names}")
    return listed(rows)


BLOCKS = {
    README: {"commands": commands, "files": short_files, "characteristics": characteristics},
    FILES: {"files": files},
}


def rewritten(path: Path) -> str:
    """The text of a file with every marked block made anew."""
    text = path.read_text(encoding="utf-8")
    for name, make in BLOCKS[path].items():
        pattern = re.compile(rf"(<!-- {name} -->\n).*?(<!-- end of {name} -->)", re.DOTALL)
        text, count = pattern.subn(lambda match, table=make: f"{match.group(1)}{table()}\n{match.group(2)}", text)
        if count != 1:
            sys.exit(f"{path.name}: found {count} blocks {name}, expected 1")
    return text


if __name__ == "__main__":
    for one in BLOCKS:
        one.write_text(rewritten(one), encoding="utf-8")
