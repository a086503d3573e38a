"""What each thing on a page is, for whoever doesn't see it: the structure of a tagged PDF (ISO 32000-1, 14.7 and 14.8).

While a page is drawn, `tagged` says what the drawing steps are, `grouped` what they are part of; everything else is an
artifact, `decoration`. On a canvas that keeps no tags nothing happens.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING

import pikepdf
from pikepdf import Array, Dictionary, Name, Object, String

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

KEPT = "valvelab_tags"
"""The canvas's attribute that holds its tags."""


@dataclass(slots=True, eq=False)
class Element:
    """Something on paper. kind: its structure type (14.8.4). page, mark: where it is drawn, from 0; -1 for a group.

    said: a heading's words, what a figure shows, or "Row" for the head of one. box: the figure's edges on the page in
    points. columns: how many a cell stands for.
    """

    kind: str
    said: str = ""
    page: int = -1
    mark: int = -1
    box: tuple[float, float, float, float] | None = None
    columns: int = 1
    parts: list[Element] = field(default_factory=list)


class Tags:
    """What was drawn so far, and which element the next one is part of."""

    def __init__(self) -> None:
        self.document = Element("Document")
        self.marks: list[int] = [0]
        self._open = [self.document]

    def next_page(self) -> None:
        """A new page begins; its marks are counted from 0."""
        self.marks.append(0)

    def leaf(self, element: Element) -> int:
        """Put an element of this page in its place; its mark."""
        element.page, element.mark = len(self.marks) - 1, self.marks[-1]
        self.marks[-1] += 1
        self._open[-1].parts.append(element)
        return element.mark

    def begin(self, element: Element) -> None:
        """What comes from now on is part of it."""
        self._open[-1].parts.append(element)
        self._open.append(element)

    def end(self) -> None:
        """The last begun is whole."""
        self._open.pop()


@contextmanager
def tagged(
    canvas: Canvas,
    kind: str,
    said: str = "",
    *,
    columns: int = 1,
    box: tuple[float, float, float, float] | None = None,
) -> Iterator[None]:
    """What is drawn within is one element; `box` its edges (left, bottom, right, top) where the canvas stands."""
    tags: Tags | None = getattr(canvas, KEPT, None)
    if tags is None:
        yield
        return
    edges = box and (*canvas.absolutePosition(*box[:2]), *canvas.absolutePosition(*box[2:]))
    canvas.addLiteral(f"/{kind} <</MCID {tags.leaf(Element(kind, said, box=edges, columns=columns))}>> BDC")
    yield
    canvas.addLiteral("EMC")


@contextmanager
def grouped(canvas: Canvas, kind: str) -> Iterator[None]:
    """Elements within are parts of one."""
    tags: Tags | None = getattr(canvas, KEPT, None)
    if tags is None:
        yield
        return
    tags.begin(Element(kind))
    yield
    tags.end()


@contextmanager
def decoration(canvas: Canvas) -> Iterator[None]:
    """What is drawn within says nothing of its own: rules, shades, heads and feet of pages."""
    if getattr(canvas, KEPT, None) is None:
        yield
        return
    canvas.addLiteral("/Artifact BMC")
    yield
    canvas.addLiteral("EMC")


def put_tags(pdf: pikepdf.Pdf, tags: Tags) -> None:
    """Put the structure, and an outline of its headings, into a drawn PDF."""
    pages = [page.obj for page in pdf.pages]
    of_page: list[list[Object]] = [[] for _ in pages]
    headings: list[Element] = []

    def put(element: Element, above: Object) -> Object:
        keys = Dictionary(S=Name("/" + element.kind), P=above)
        made = pdf.make_indirect(keys)
        if element.mark < 0:
            made.K = Array([put(part, made) for part in element.parts])
            return made
        made.Pg, made.K = pages[element.page], element.mark
        of_page[element.page].append(made)
        if element.kind == "Figure":
            made.Alt = String(element.said)
            made.A = Dictionary(O=Name.Layout, BBox=Array([round(edge, 2) for edge in element.box or ()]))
        elif element.kind in {"TH", "TD"}:
            spans = Dictionary(ColSpan=element.columns) if element.columns > 1 else Dictionary()
            if element.kind == "TH":
                spans.Scope = Name("/" + (element.said or "Column"))
            if len(spans):
                spans.O = Name.Table
                made.A = spans
        elif element.kind[0] == "H":
            headings.append(element)
        return made

    root = pdf.make_indirect(Dictionary(Type=Name.StructTreeRoot))
    root.K = put(tags.document, root)
    numbered = [one for number, row in enumerate(of_page) for one in (number, pdf.make_indirect(Array(row)))]
    root.ParentTree = pdf.make_indirect(Dictionary(Nums=Array(numbered)))
    root.ParentTreeNextKey = len(pages)
    for number, page in enumerate(pages):
        page.StructParents = number
        page.Tabs = Name.S
    pdf.Root.StructTreeRoot = root
    pdf.Root.MarkInfo = Dictionary(Marked=True)
    if headings:
        pdf.Root.Outlines = _outline(pdf, headings, pages)


def _outline(pdf: pikepdf.Pdf, headings: Sequence[Element], pages: Sequence[Object]) -> Object:
    outline = pdf.make_indirect(Dictionary(Type=Name.Outlines, Count=len(headings)))
    rows = [
        pdf.make_indirect(Dictionary(Title=String(row.said), Parent=outline, Dest=Array([pages[row.page], Name.Fit])))
        for row in headings
    ]
    for before, after in pairwise(rows):
        before.Next, after.Prev = after, before
    outline.First, outline.Last = rows[0], rows[-1]
    return outline
