"""The reader of docstrings sees what is left out, and the numerical rooms leave nothing out."""

from __future__ import annotations

import ast

import check_docstrings
import pytest

TOLD = '''
def force(height_mm: FloatArray) -> FloatArray:
    """Force in N, shape (n,). Raises CannotEvaluate. Source: plain mechanics."""
    raise CannotEvaluate(1)
'''


def lacking(source: str) -> list[str]:
    function = ast.parse(source).body[0]
    assert isinstance(function, ast.FunctionDef)
    return check_docstrings.lacks(function, "")


def test_what_is_told_is_taken() -> None:
    assert lacking(TOLD) == []


@pytest.mark.parametrize(
    ("told", "untold", "lack"),
    [
        (", shape (n,)", "", "shape"),
        (" in N", "", "unit of what it gives"),
        ("height_mm", "height", "units"),
        ("Raises CannotEvaluate. ", "", "refusal"),
        (" Source: plain mechanics.", "", "source"),
    ],
)
def test_what_is_left_out_is_seen(told: str, untold: str, lack: str) -> None:
    assert told in TOLD
    found = TOLD.replace(told, untold)
    assert lack in lacking(found.replace(" in N", "") if lack == "units" else found)


@pytest.mark.parametrize("room", check_docstrings.ROOMS)
def test_a_room_leaves_nothing_out(room: str) -> None:
    assert check_docstrings.complaints((room,)) == []
