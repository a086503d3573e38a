"""Frozen values tell, compare and hash as the standard dataclasses do."""

from __future__ import annotations

from dataclasses import FrozenInstanceError, asdict, dataclass, field, fields, replace
from functools import cached_property

import pytest

from valvelab.frozen import frozen


@frozen
class Place:
    """As the program makes one."""

    angle: float
    lift: float = 0.0
    told: str = field(default="", compare=False)
    kept: tuple[int, ...] = field(default=(), repr=False)


Ours = Place


@dataclass(frozen=True, slots=True)
class Theirs:
    """As the standard library makes one."""

    angle: float
    lift: float = 0.0
    told: str = field(default="", compare=False)
    kept: tuple[int, ...] = field(default=(), repr=False)


CASES = [(1.0,), (1.0, 2.0), (1.0, 2.0, "a"), (1.0, 2.0, "b"), (1.0, 2.0, "a", (3,)), (float("nan"),)]


def values(of: Theirs) -> tuple[float, ...]:
    return (of.angle, of.lift, *of.kept)


@pytest.mark.parametrize("one", CASES)
@pytest.mark.parametrize("other", CASES)
def test_compared_as_the_standard_ones_are(one: tuple[float, ...], other: tuple[float, ...]) -> None:
    # as its values in a row are: of one NaN with itself the standard library has thought differently since Python 3.13
    assert (Ours(*one) == Ours(*other)) == (values(Theirs(*one)) == values(Theirs(*other)))
    assert (hash(Ours(*one)) == hash(Ours(*other))) == (hash(Theirs(*one)) == hash(Theirs(*other)))
    assert Ours(*one) != Theirs(*one)
    assert repr(Ours(*one)) == repr(Theirs(*one)).replace("Theirs", "Place")


def test_a_value_does_not_change_but_makes_another() -> None:
    place = Place(1.0)
    with pytest.raises(FrozenInstanceError):
        place.angle = 2.0  # type: ignore[misc]
    assert replace(place, lift=3.0) == Place(1.0, 3.0)
    assert asdict(place) == {"angle": 1.0, "lift": 0.0, "told": "", "kept": ()}
    assert [one.name for one in fields(Place)] == ["angle", "lift", "told", "kept"]
    assert not hasattr(place, "__dict__")


def test_by_identity_with_room_for_cached_properties() -> None:
    @frozen(slots=False, eq=False)
    class Shaft:
        size: int

        @cached_property
        def twice(self) -> int:
            return 2 * self.size

    one, other = Shaft(3), Shaft(3)
    assert one.twice == 6
    assert one != other
    assert len({one, other}) == 2


def test_what_a_class_says_itself_stays() -> None:
    @frozen(kw_only=True)
    class Named:
        name: str
        number: int = 0

        def __repr__(self) -> str:
            return self.name

        def __hash__(self) -> int:
            return 7

    assert repr(Named(name="a")) == "a"
    assert hash(Named(name="a")) == 7
    assert Named(name="a") == Named(name="a", number=0)
