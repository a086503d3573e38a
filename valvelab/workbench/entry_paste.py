"""A block of a spreadsheet put into a typed table."""

from __future__ import annotations

import csv

from valvelab.errors import BadQuantity
from valvelab.files.column_names import height_of, is_known, lobe_name, split_header
from valvelab.files.text_opening import preamble_entry
from valvelab.units import split_quantity
from valvelab.workbench.entry import Grid, Place, head_like, with_cells, with_form, with_heads


def pasted(kind: str, grid: Grid, at: Place, block: str) -> Grid:
    """The grid with a block of a spreadsheet put in from a cell on: tabs or semicolons between cells, units kept.

    A first line of names says itself which columns are meant, in which units, and goes to those; lines `# key: value`
    above it go to the form.
    """
    lines = block.replace("\r\n", "\n").replace("\r", "\n").rstrip("\n").split("\n")
    while lines and lines[0].startswith("#"):
        entry = preamble_entry(lines.pop(0))
        grid = grid if entry is None else with_form(grid, *entry)
    delimiter = next((sign for sign in "\t;" if any(sign in line for line in lines)), None)
    cells = list(csv.reader(lines, delimiter=delimiter)) if delimiter else [[line] for line in lines]
    cells = [[cell.strip() for cell in row] for row in cells]
    if not cells or not any(map(any, cells)):
        return grid
    row, column = at
    columns = [column + n for n in range(max(map(len, cells)))]
    units = [""] * len(columns)
    if _is_header(cells[0]):
        header, *cells = cells
        grid = with_heads(grid, tuple(_full_head(grid, name) for name in header if name))
        columns = [_or_beyond(head_like(grid.heads, name), grid) if name else len(grid.heads) for name in header]
        units = [split_header(name)[1] or "" for name in header]
    typed = {
        (row + down, target): f"{text} {unit}" if unit and text[-1:].isdigit() else text
        for down, line in enumerate(cells)
        for text, target, unit in zip(line, columns, units, strict=False)
        if target < len(grid.heads)
    }
    return with_cells(kind, grid, typed) if typed else grid


def replaced(old: Grid, new: Grid) -> list[Place]:
    """Cells that hold something and would hold something else, by row and column of the old grid."""
    return [
        (row, column)
        for row, cells in enumerate(old.rows)
        for column, (head, text) in enumerate(zip(old.heads, cells, strict=True))
        if text and (at := head_like(new.heads, head)) is not None and new.cell(row, at) not in {"", text}
    ]


def _is_header(cells: list[str]) -> bool:
    """Whether a line of a block names columns: known names, none of them a plain number."""
    return any(is_known(split_header(cell)[0]) for cell in cells if cell) and not any(map(_is_number, cells))


def _is_number(text: str) -> bool:
    try:
        return not split_quantity(text, "")[1]
    except BadQuantity:
        return False


def _or_beyond(column: int | None, grid: Grid) -> int:
    return len(grid.heads) if column is None else column


def _full_head(grid: Grid, head: str) -> str:
    """A head with the unit that its like carry in this grid, where it has none itself."""
    title, unit = split_header(head)
    if unit is not None or (height_of(title) is None and lobe_name(title) is None):
        return head
    like = next((known for known in grid.heads[1:] if split_header(known)[1]), "")
    return f"{title} [{split_header(like)[1]}]" if like else head
