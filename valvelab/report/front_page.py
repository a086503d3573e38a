"""A section that must be one page: what the page can do without where it is full goes to a later one."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from valvelab.report.blocks import LEAST_PLOT_MM, Layout, height_of, on_one_page, shaped
from valvelab.report.page_model import Block, FigureBlock, Section, Spare

READABLE = 0.75
"""Of its stated height a plot keeps that much at least, while there are words and pictures that may go elsewhere."""
DRAWINGS = "Drawings"


def fitted(sections: Sequence[Section], layout: Layout, room: float) -> list[Section]:
    """Sections with those of one page made to fit on `room` points, and what that leaves over.

    It stands before the next section that begins a page, after those that follow the full one.
    """
    shown: list[Section] = []
    left_over: list[Section] = []
    for number, section in enumerate(sections):
        if left_over and section.new_page and number > 1:
            shown, left_over = [*shown, *left_over], []
        if not section.one_page:
            shown.append(section)
            continue
        enlarged = replace(layout, look=replace(layout.look, size=section.size))
        blocks, left_over = _on_one_page(section.blocks, enlarged, room)
        shown.append(replace(section, blocks=tuple(blocks)))
        if left_over and (number + 1 == len(sections) or not sections[number + 1].new_page):
            left_over[0] = replace(left_over[0], new_page=True)
    return [*shown, *left_over]


def _on_one_page(blocks: Sequence[Block], layout: Layout, room: float) -> tuple[list[Block], list[Section]]:
    """The blocks of the page, and sections of those that it has no room for."""
    kept: list[Block] = list(blocks)
    left_over: list[Section] = []
    for giving_way in _giving_way(blocks):
        plain = list(_plain(kept))
        drawn = on_one_page(plain, layout, room)
        plots = _plots([shaped(one, layout) if isinstance(one, FigureBlock) else one for one in plain], drawn)
        if plots and all(high > max(READABLE * stated, LEAST_PLOT_MM) for stated, high in plots):
            return drawn, left_over  # none is at its least, so all else has room as well
        if not (plots and _first_to_go(giving_way)) and sum(height_of(block, layout) for block in drawn) <= room:
            return drawn, left_over
        instead = giving_way.instead if isinstance(giving_way, Spare) else ()
        kept = [one for block in kept for one in (instead if block is giving_way else (block,))]
        if not isinstance(giving_way, Spare):
            left_over.append(Section(DRAWINGS, (giving_way,)))
        elif giving_way.title:
            left_over.append(Section(giving_way.title, giving_way.blocks))
    return on_one_page(list(_plain(kept)), layout, room), left_over


def _giving_way(blocks: Sequence[Block]) -> list[Spare | FigureBlock]:
    """What a full page can do without: words and pictures, the last first, then its drawings."""
    spares = [block for block in reversed(blocks) if isinstance(block, Spare)]
    spares.sort(key=lambda spare: spare.stays)
    return [*spares, *(block for block in reversed(blocks) if isinstance(block, FigureBlock))]


def _plain(blocks: Sequence[Block]) -> Iterator[Block]:
    for block in blocks:
        yield from block.blocks if isinstance(block, Spare) else (block,)


def _first_to_go(block: Spare | FigureBlock) -> bool:
    """Whether it gives way to plots that are too low to be read."""
    return isinstance(block, Spare) and block.stays == 0


def _plots(stated: Sequence[Block], drawn: Sequence[Block]) -> list[tuple[float, float]]:
    """The heights of plots, mm: stated, and as they have room."""
    heights = ([block.height_mm for block in blocks if isinstance(block, FigureBlock)] for blocks in (stated, drawn))
    return list(zip(*heights, strict=True))
