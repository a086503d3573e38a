"""Draws a certificate as PDF: A4 or US Letter, vector plots, head and foot on every page, its inputs attached.

The same certificate gives the same bytes: nothing of the machine or the user goes in, and of the clock only the time of
writing that the certificate states.
"""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import reportlab
from reportlab.pdfgen.canvas import Canvas

from valvelab.pieces import in_pieces
from valvelab.report import tables  # noqa: F401 - registers how tables are drawn
from valvelab.report.attachments import finished
from valvelab.report.blocks import Layout, flowables, heading, under_heading
from valvelab.report.front_page import fitted
from valvelab.report.identity_code import draw_code
from valvelab.report.page_layout import (
    BaseDocTemplate,
    CondPageBreak,
    Flowable,
    Frame,
    PageBreak,
    PageTemplate,
    Spacer,
)
from valvelab.report.page_model import Certificate
from valvelab.report.paper import BOLD, MARGIN, MM, REGULAR, Paper, paper, rule, sheet_size, write
from valvelab.report.pdf_file import Sign
from valvelab.report.tags import KEPT, Tags, decoration
from valvelab.report.texts import SOURCES
from valvelab.units import System

HEAD = 17.0 * MM
FOOT = 17.0 * MM
SOURCES_IN_FOOT = 4
CODE_SIDE, CODE_GAP, CODE_TOP = 11.0 * MM, 1.5 * MM, 5.0 * MM
"""The code in the right margin: its side, how far from the text, how far from the upper edge."""
FOOT_LINE = "Supports, and never replaces, the judgement of qualified people and of the event's own officials."


class Running(Flowable):
    """From here on the heads of pages say this; takes no room."""

    KEPT = "valvelab_running"

    def __init__(self, text: str) -> None:
        super().__init__()
        self._text = text

    def frameAction(self, _frame: Frame) -> None:
        """Leave the words with the page."""
        setattr(self.canv, self.KEPT, self._text)


def certificate_bytes(certificate: Certificate, system: System = "metric", sign: Sign | None = None) -> bytes:
    """The whole PDF; equal certificates give equal bytes. `sign`: the key of the certificate's signer."""
    tags = Tags()
    return finished(_draw(certificate, system, tags), tags, certificate, _properties(certificate), sign)


def _properties(certificate: Certificate) -> dict[str, str]:
    """The document's properties without its dates."""
    return {
        "Title": " · ".join(filter(None, (certificate.job, certificate.title))),
        "Author": certificate.author or (certificate.signer.name if certificate.signer else certificate.program),
        "Subject": " · ".join(filter(None, (certificate.serial, certificate.number))),
        "Creator": certificate.program, "Producer": f"reportlab {reportlab.Version}",
    }  # fmt: skip


def _draw(certificate: Certificate, system: System, tags: Tags) -> bytes:
    look = paper()
    target = io.BytesIO()
    width, height = size = sheet_size(system)
    document = BaseDocTemplate(
        target,
        pagesize=size,
        invariant=1,
        pageCompression=0,  # packed once, when it is finished
        leftMargin=MARGIN,
        rightMargin=MARGIN,
        topMargin=HEAD,
        bottomMargin=FOOT,
    )
    frame = Frame(MARGIN, FOOT, width - 2 * MARGIN, height - HEAD - FOOT, 0, 0, 0, 0, id="page")
    document.addPageTemplates([PageTemplate(id="page", frames=[frame])])
    layout = Layout(look, system, width - 2 * MARGIN)
    story = _story(certificate, layout, height - HEAD - FOOT)
    document.build(story, canvasmaker=_numbered(certificate, look, size, tags))
    return target.getvalue()


def _story(certificate: Certificate, layout: Layout, room: float) -> list[Flowable]:
    story: list[Flowable] = []
    for number, section in enumerate(fitted(certificate.sections, layout, room)):
        parts: list[Flowable] = []
        enlarged = replace(layout, look=replace(layout.look, size=section.size))
        for block in in_pieces(section.blocks):
            parts += flowables(block, enlarged)
        if section.new_page and number:
            _without_trailing_room(story)
            story.append(PageBreak())
        elif number and (section.title or not section.running):
            story.append(CondPageBreak(30.0 * MM))
        story.append(Running(section.running))
        if section.title:
            parts = under_heading(heading(section.title, enlarged, first=number == 0), parts)
        story += parts
    _without_trailing_room(story)
    return story


def _without_trailing_room(story: list[Flowable]) -> None:
    """Nothing but room may begin a page."""
    while story and isinstance(story[-1], Spacer):
        story.pop()


def _numbered(certificate: Certificate, look: Paper, size: tuple[float, float], tags: Tags) -> Callable[..., Canvas]:
    """A canvas class that knows the number of pages when it draws each page's head and foot."""

    class NumberedCanvas(Canvas):
        def __init__(self, *args: Any, **keywords: Any) -> None:
            super().__init__(*args, **{**keywords, "initialFontName": REGULAR})
            self._pages: list[dict[str, Any]] = []
            setattr(self, KEPT, tags)

        def showPage(self) -> None:
            self._pages.append(dict(self.__dict__))
            self._startPage()  # type: ignore[attr-defined]
            tags.next_page()

        def save(self) -> None:
            for number, page in enumerate(self._pages, start=1):
                self.__dict__.update(page)
                running = page.get(Running.KEPT, "")
                with decoration(self):
                    _furniture(self, certificate, look, size, running, number, len(self._pages))
                super().showPage()
            super().save()

    return NumberedCanvas


def _furniture(
    canvas: Canvas,
    certificate: Certificate,
    look: Paper,
    size: tuple[float, float],
    running: str,
    number: int,
    count: int,
) -> None:
    """Head: what, which part, which paper. Foot: page n of m, sources by SHA-256, program."""
    width, height = size
    right = width - MARGIN
    quiet = look.of("quiet")
    serial = f"serial {certificate.serial}" if certificate.serial else ""
    what = running or " · ".join(filter(None, (certificate.title, serial)))
    top = height - 11.0 * MM
    write(canvas, what, (MARGIN, top), 7.0, quiet, width=0.62 * width)
    write(
        canvas, f"{certificate.kind} {certificate.number} · {certificate.made}", (right, top), 7.0, quiet, end="right"
    )
    if number == 1:
        _who_and_why(canvas, certificate, look, size, top - 3.5)
    bottom = 12.0 * MM
    lines = [(MARGIN, level, right, level) for level in (top - 3.5, bottom + 8.0)]
    rule(canvas, look.of("line"), 0.5, *lines)
    write(canvas, f"page {number} of {count}", (right, bottom), 7.0, quiet, font=BOLD, end="right")
    write(canvas, _sources(certificate), (MARGIN, bottom), 6.0, quiet, width=width - 2 * MARGIN - 50.0)
    write(canvas, f"{certificate.program} · {FOOT_LINE}", (MARGIN, bottom - 8.0), 6.0, quiet)


def _who_and_why(
    canvas: Canvas, certificate: Certificate, look: Paper, size: tuple[float, float], rule_y: float
) -> None:
    """Besides on page 1: a code of number and fingerprint in the margin, who signed, what it replaces."""
    signer = certificate.signer
    words = [certificate.number, *([signer.fingerprint] if signer else [])]
    draw_code(canvas, " ".join(words), (size[0] - MARGIN + CODE_GAP, size[1] - CODE_TOP), CODE_SIDE, look.of("text"))
    said = [one.sentence for one in (signer, certificate.replaces) if one is not None]
    for row, sentence in enumerate(said, start=1):
        write(canvas, sentence, (MARGIN, rule_y - 6.2 * row), 6.0, look.of("quiet"), width=size[0] - 2 * MARGIN)


def _sources(certificate: Certificate) -> str:
    count = len(certificate.sources)
    if count > SOURCES_IN_FOOT:
        under = f" under “{SOURCES}”" if any(section.title == SOURCES for section in certificate.sections) else ""
        return f"SHA-256 of {count} source files{under}; number {certificate.number} follows from them all"
    length = {0: 64, 1: 64, 2: 16}.get(count, 8)
    shown = [f"{Path(source.file).name} {source.sha256[:length]}" for source in certificate.sources]
    return "SHA-256 " + " · ".join(shown) if shown else "no source files"
