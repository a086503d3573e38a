"""Answers that are kept: the same numbers once, other ones anew."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from valvelab.kept import Kept


@dataclass(frozen=True)
class Asked:
    values: np.ndarray
    name: str = ""
    many: int | None = None


BASE = Asked(np.array([1.0, 2.0]), "a", 3)
OTHERS = [
    Asked(np.array([1.0, 2.5]), "a", 3),
    Asked(np.array([[1.0], [2.0]]), "a", 3),
    Asked(np.array([1, 2]), "a", 3),
    Asked(np.array([1.0, 2.0]), "b", 3),
    Asked(np.array([1.0, 2.0]), "a", None),
    (np.array([1.0, 2.0]), "a", 3),
    ((np.array([1.0, 2.0]), "a"), 3),
]


@pytest.mark.parametrize("other", OTHERS)
def test_other_numbers_are_worked_out_anew(other: object) -> None:
    kept: Kept[str] = Kept(4)
    assert kept.of(BASE, lambda: "first") == "first"
    assert kept.of(other, lambda: "other") == "other"
    assert kept.of(Asked(np.array([1.0, 2.0]), "a", 3), lambda: "again") == "first"


def test_the_oldest_goes_first_and_errors_are_not_kept() -> None:
    kept: Kept[int] = Kept(2)
    with pytest.raises(ZeroDivisionError):
        kept.of(0, lambda: 1 // 0)
    assert [kept.of(number, lambda number=number: number) for number in (0, 1, 2)] == [0, 1, 2]
    assert kept.of(0, lambda: 10) == 10
    assert kept.of(2, lambda: 20) == 2


def test_what_says_nothing_by_itself_is_refused() -> None:
    with pytest.raises(TypeError, match="no number: object"):
        Kept[int](1).of(object(), lambda: 1)
