"""Tests know the program by its public names. Ruff sees attributes (SLF001); the rest is looked for here.

The rest is imports, names given as text to be patched, and programs that a test starts from a text.
"""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

HERE = Path(__file__).resolve().parent
FILES = sorted(HERE.rglob("*.py"))
PRIVATE = re.compile(r"_[A-Za-z]\w*")
#: of Python, of pypdf and of notebooks: no part of this program
NOT_OURS = {"_base_executable", "_Environ", "_exit", "_add_object", "_repr_html_", "_repr_svg_"}


def texts(node: ast.AST) -> list[str]:
    """The text that a node stands for, with None wherever something is put into it."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return [node.value]
    if isinstance(node, ast.JoinedStr):
        return ["".join([*texts(part), "None"][0] for part in node.values)]
    return []


def names_in(node: ast.AST) -> list[str]:
    """Names that a node asks of something else: imported, taken from another object, or told to a call."""
    if isinstance(node, ast.ImportFrom | ast.Import):
        paths = [alias.name for alias in node.names] + [getattr(node, "module", None) or ""]
    elif isinstance(node, ast.Attribute):
        paths = [node.attr] if ast.unparse(node.value) not in {"self", "cls"} else []
    else:
        paths = [text for arg in node.args for text in texts(arg)] if isinstance(node, ast.Call) else []
    dotted = (path.split(".") for path in paths)
    return [name for parts in dotted if all(map(str.isidentifier, parts)) for name in parts]


def reaches(program: str, above: int = 0) -> set[tuple[int, str]]:
    """Line and name of each private name reached for, in texts that are programs as well; `above`: lines before it."""
    found: set[tuple[int, str]] = set()
    for node in ast.walk(ast.parse(program)):
        names = [name for name in names_in(node) if PRIVATE.fullmatch(name) and name not in NOT_OURS]
        found |= {(above + node.lineno, name) for name in names}
        for text in texts(node):
            if "_" in text and text != program:
                try:
                    found |= reaches(text, above + node.lineno - 1)
                except SyntaxError:
                    continue
    return found


@pytest.mark.parametrize("path", FILES, ids=[path.stem for path in FILES])
def test_no_test_reaches_for_a_private_name(path: Path) -> None:
    found = [f"line {line}: {name}" for line, name in sorted(reaches(path.read_text(encoding="utf-8")))]
    assert not found, f"{path.relative_to(HERE)} {', '.join(found)}"


@pytest.mark.parametrize(
    "reaching",
    [
        "from valvelab.units import ~a",
        "from valvelab.~a import units",
        "import valvelab.~a.units",
        "view.~a.text()",
        "patch.setattr(view, '~a', 1)",
        "patch.setattr('valvelab.units.~a', 1)",
        "PROGRAM = '''print(view.~a)\n'''",
        "code = f'from valvelab import units; view({path!r}).~a'",
    ],
)
def test_a_reach_is_seen(reaching: str) -> None:
    assert reaches("1\n" + reaching.replace("~", "_")) == {(2, "_a")}, "~ so that this very file reaches for nothing"


@pytest.mark.parametrize("own", ["self._a()", "cls._a", "_a = 1", "print('say _a of it')", "a.__class__", "'a._b is'"])
def test_what_is_no_reach_is_left_alone(own: str) -> None:
    assert not reaches(own)
