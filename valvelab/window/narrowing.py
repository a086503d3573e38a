"""How a table does with less width: step by step, from room to spare to the long words of its heads cut."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import ceil

from PySide6.QtCore import Qt
from PySide6.QtGui import QFontMetrics

_KEPT_LETTERS = 4
"""Letters that a word of a head keeps where it is cut."""
_MOST_OF_ONE = 2
"""Part of the room that words which may be cut take at most where a table moves sideways: one over this."""


@dataclass(frozen=True, slots=True)
class Need:
    """Width that a column needs, step by step.

    roomy: with room beside its words. head, folded, cut: of the head as it is, a word a line, and with long words cut.
    cells: of the widest cell. least: with its own words cut, 0 where they never are. drawn: it has no words. signed:
    cut it shows a sign alone.
    aside: how soon it is left out, the highest number first and equal ones together; 0 where it never is.
    """

    roomy: int
    head: int
    folded: int
    cut: int
    cells: int
    least: int
    drawn: bool
    aside: int = 0
    signed: bool = False


@dataclass(frozen=True, slots=True)
class Given:
    """Widths of columns by number; `close`: words stand near the edges of their cells; `cut`: so are words of heads."""

    wides: Mapping[int, int]
    close: bool = False
    cut: bool = False
    moves: bool = False


def given_width(needs: Mapping[int, Need], room: int, spare: int) -> Given:
    """Widths with which the columns are in view: of the steps the first that does; else a table `moves` sideways.

    First goes the room beside words and for arrows; then words of heads go to lines of their own; words that may be cut
    are, the last column first; drawings, which say nothing that no figure says, are left out; what is left stands
    closer, by `spare` a column; columns that matter less and are cut are left out; long words of heads are cut; in the
    end the other columns go that matter less.
    """
    for wides, most, close, cut in _steps(needs, spare):
        if sum(wides.values()) <= room:
            shared, beside = _shared(most, wides, room, evenly=cut), spare if close else 0
            signs = {n for n, wide in shared.items() if needs[n].signed and wide < needs[n].cells - beside}
            if signs:  # what they leave is for words that are cut
                whole = {n: max(most[n], max(needs[n].folded, needs[n].cells) - beside) for n in shared}
                whole |= {n: wides[n] for n in signs}
                shared = _shared(whole, wides, room, evenly=cut)
                wanted = {**shared, **{n: most[n] for n in signs}}  # what is still left is for them again
                shared = _shared(wanted, shared, max(room, sum(shared.values())), evenly=cut)
            return Given(shared, close, cut)
    bound = room // _MOST_OF_ONE
    cells = {n: min(need.cells, max(need.least, bound)) if need.least else need.cells for n, need in needs.items()}
    return Given({n: max(need.head, cells[n]) for n, need in needs.items() if not need.drawn}, moves=True)


def whole_width(needs: Mapping[int, Need], spare: int) -> int:
    """The least width with which no column is left out and no head cut."""
    return sum(_close({n: need for n, need in needs.items() if not need.drawn}, spare).values())


_Wides = dict[int, int]


def _steps(needs: Mapping[int, Need], spare: int) -> Iterator[tuple[_Wides, _Wides, bool, bool]]:
    """The least and the most width of each column, whether cells stand close, and whether heads are cut."""
    roomy = {n: need.roomy for n, need in needs.items()}
    yield roomy, roomy, False, False
    tight = {n: max(need.head, need.cells) for n, need in needs.items()}
    yield tight, roomy, False, False
    folded = {n: max(need.folded, need.cells) for n, need in needs.items()}
    yield folded, tight, False, False
    left = dict(folded)
    for n in reversed(list(needs)):
        if needs[n].least:
            most = dict(left)
            left[n] = min(left[n], max(needs[n].folded, needs[n].least))
            yield dict(left), most, False, False
    figured = {n: need for n, need in needs.items() if not need.drawn}
    yield {n: left[n] for n in figured}, {n: folded[n] for n in figured}, False, False
    shut = list(_asides(figured))
    close = _close(figured, spare)
    yield close, {n: left[n] for n in figured}, True, False
    while shut and all(0 < figured[n].least < figured[n].cells for n in shut[0]):
        figured = {n: need for n, need in figured.items() if n not in shut[0]}
        close = _close(figured, spare)
        yield close, {n: left[n] for n in figured}, True, False
        del shut[0]
    yield _close(figured, spare, cut=True), close, True, True
    for gone in shut:
        figured = {n: need for n, need in figured.items() if n not in gone}
        close = _close(figured, spare)
        yield close, {n: left[n] for n in figured}, True, False
        yield _close(figured, spare, cut=True), close, True, True


def _asides(needs: Mapping[int, Need]) -> Iterator[set[int]]:
    """Columns that may be left out, one after the other, those that belong together at once."""
    for aside in sorted({need.aside for need in needs.values()} - {0}, reverse=True):
        yield {n for n, need in needs.items() if need.aside == aside}


def _close(needs: Mapping[int, Need], spare: int, *, cut: bool = False) -> _Wides:
    """The least width of each column that stands close, with its head in words or `cut`."""
    ends = {n: min(need.cells - spare, need.least or need.cells) for n, need in needs.items()}
    return {n: max((need.cut if cut else need.folded) - spare, ends[n]) for n, need in needs.items()}


def _shared(most: _Wides, least: _Wides, room: int, *, evenly: bool = False) -> _Wides:
    """The most width of each less its share of what is beyond the room, none below the least.

    With `evenly` each has as much of what it lacks, so that one that lacks little lacks nothing.
    """
    beyond = sum(most.values()) - room
    if beyond <= 0:
        return most
    if evenly:
        left, shared = room - sum(least.values()), dict(least)
        lacking = sorted(most, key=lambda n: most[n] - least[n])
        for number, n in enumerate(lacking):
            given = max(0, min(most[n] - least[n], left // (len(lacking) - number)))
            shared[n], left = shared[n] + given, left - given
        return shared
    spare = {n: max(0, wide - least[n]) for n, wide in most.items()}
    share = min(1.0, beyond / max(1, sum(spare.values())))
    return {n: wide - min(spare[n], ceil(share * spare[n])) for n, wide in most.items()}


def folded(title: str, wide: int, metrics: QFontMetrics, *, cut: bool = False) -> str:
    """A head in lines of that width, each as many words as it has room for; with `cut` no word is wider."""
    lines: list[str] = []
    for line in (_abbreviated(title) if cut else title).split("\n"):
        lines.append("")
        for word in line.split(" "):
            shown = metrics.elidedText(word, Qt.TextElideMode.ElideRight, wide) if cut and _may_be_cut(word) else word
            joined = f"{lines[-1]} {shown}".strip()
            if lines[-1] and metrics.horizontalAdvance(joined) > wide:
                lines.append(shown)
            else:
                lines[-1] = joined
    return "\n".join(lines)


def widest_word(title: str, metrics: QFontMetrics, *, cut: bool = False) -> int:
    """Width of a head of a word a line, with `cut` of the start of long ones."""
    wide = metrics.horizontalAdvance
    wides = (
        min(wide(word), wide(f"{word[:_KEPT_LETTERS]}…")) if cut and _may_be_cut(word) else wide(word)
        for word in (_abbreviated(title) if cut else title).split()
    )
    return max(wides, default=0)


def _abbreviated(title: str) -> str:
    """A head that holds an abbreviation without the words before it: `roundness MZC` is MZC."""
    parts = re.split(r"([ \n])", title)
    first = next((n for n, part in enumerate(parts) if len(part) > 1 and part.isalpha() and part.isupper()), 0)
    return "".join(parts[first:])


def _may_be_cut(word: str) -> bool:
    return len(word) > _KEPT_LETTERS + 1
