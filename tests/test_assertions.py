"""No test can pass by looking at nothing: assertions that all stand in a loop stand in one that is not empty."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest
from something import each

FILES = sorted(Path(__file__).resolve().parent.glob("test_*.py"))
NEVER_EMPTY = ("each(", "range(", "enumerate((", "enumerate(each(", "zip((", "zip(each(")


def may_be_empty(loop: ast.For | ast.While) -> bool:
    """Whether nothing in the source says that the loop runs."""
    if isinstance(loop, ast.While):
        return True
    if isinstance(loop.iter, ast.Tuple | ast.List | ast.Dict):
        return False
    return not ast.unparse(loop.iter).startswith(NEVER_EMPTY)


def assertions(body: list[ast.stmt], unsure: bool = False) -> Iterator[bool]:
    """For each assertion, whether it may be left out."""
    for node in body:
        if isinstance(node, ast.Assert):
            yield unsure
        elif isinstance(node, ast.Expr) and isinstance(node.value, ast.Call):
            yield unsure  # a helper's, which asserts by itself
        elif isinstance(node, ast.With):
            if any("raises" in ast.unparse(item) or "warns" in ast.unparse(item) for item in node.items):
                yield unsure
            yield from assertions(node.body, unsure)
        elif isinstance(node, ast.For | ast.While):
            yield from assertions(node.body, unsure or may_be_empty(node))
        elif isinstance(node, ast.If):
            either = [list(assertions(branch, unsure)) for branch in (node.body, node.orelse)]
            yield not all(False in branch for branch in either)
        elif isinstance(node, ast.Try):
            yield from assertions([*node.body, *node.finalbody], unsure)


@pytest.mark.parametrize("path", FILES, ids=[path.stem for path in FILES])
def test_no_test_asserts_only_where_it_may_not_come_by(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    tests = [node for node in tree.body if isinstance(node, ast.FunctionDef) and node.name.startswith("test_")]
    for test in each(tests):
        found = list(assertions(test.body))
        assert not found or not all(found), f"{path.name}: {test.name}: {test.lineno}"


def test_a_loop_over_nothing_is_seen() -> None:
    body = ast.parse("for row in rows:\n    assert row").body
    assert list(assertions(body)) == [True]
    assert list(assertions(ast.parse("for row in each(rows):\n    assert row").body)) == [False]
    with pytest.raises(AssertionError, match="nothing to look at"):
        each(())
