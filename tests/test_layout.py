"""The formatter lays code out; only tables may be laid out by hand."""

from __future__ import annotations

import ast
import io
import tokenize
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
LITERAL = (ast.Constant, ast.Tuple, ast.UnaryOp)
FILES = sorted(path for room in ("valvelab", "tests") for path in (ROOT / room).rglob("*.py"))


def is_table(value: ast.expr | None) -> bool:
    """A collection of two rows at least, bare or a call's last argument, or one row: a call with literals by name."""
    if isinstance(value, ast.Call) and value.keywords:
        arguments = [*value.args, *(keyword.value for keyword in value.keywords)]
        parts = [part for one in arguments for part in ast.walk(one) if isinstance(part, ast.expr)]
        return all(isinstance(part, LITERAL) for part in parts)
    if isinstance(value, ast.Call) and value.args:
        value = value.args[-1]
    if isinstance(value, ast.Subscript):
        value = value.slice
    rows = value.keys if isinstance(value, ast.Dict) else getattr(value, "elts", ())
    return len(rows) > 1


def tables(tree: ast.AST) -> Iterator[int]:
    """Last lines of tables: assigned, returned, or the cases of a parametrised test."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Assign | ast.AnnAssign | ast.Return) and is_table(node.value):
            yield node.end_lineno or 0
        elif isinstance(node, ast.FunctionDef):
            yield from (one.end_lineno or 0 for one in node.decorator_list if "parametrize" in ast.unparse(one))


def exempt(source: str) -> Iterator[int]:
    """Lines with a comment that holds the formatter off."""
    for token in tokenize.generate_tokens(io.StringIO(source).readline):
        if token.type == tokenize.COMMENT and token.string.removeprefix("#").strip().startswith("fmt:"):
            yield token.start[0]


def test_only_tables_are_laid_out_by_hand() -> None:
    sources = {path: path.read_text(encoding="utf-8") for path in FILES}
    held = {path: source for path, source in sources.items() if "fmt:" in source}
    assert held
    breaches = {
        f"{path.relative_to(ROOT)}:{line}"
        for path, source in held.items()
        for line in set(exempt(source)) - set(tables(ast.parse(source)))
    }
    assert breaches == set()


def test_code_laid_out_by_hand_is_seen() -> None:
    row, code = "ROWS = [(1, 2),\n (3, 4)]  # fmt: skip", "x = f(1,\n 2)  # fmt: skip"
    assert list(exempt(row)) == list(tables(ast.parse(row))) == [2]
    assert list(tables(ast.parse("lash = entered(None, 'Lash', unit='mm', least=-1.0)"))) == [1]
    assert list(exempt(code)) == [2]
    assert not list(tables(ast.parse(code)))
