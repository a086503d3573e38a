"""What a certificate says, without a toolkit: `valvelab.report.pdf` draws it.

A certificate is a head, sections of blocks, and the files it carries. Texts are plain (no markup); numbers arrive as
the text to print, so that the builder alone decides on units and decimals.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields, is_dataclass
from typing import Any, Literal

from valvelab.figures.description import Dial, Figure, HeatMap
from valvelab.records.result import Decision, Source
from valvelab.records.signing_key import PublicKey, Replaced
from valvelab.tables.description import Table

Plot = Figure | HeatMap | Dial
Style = Literal["body", "small", "strong"]


@dataclass(frozen=True, slots=True)
class Paragraph:
    """Running text."""

    text: str
    style: Style = "body"


@dataclass(frozen=True, slots=True)
class FigureBlock:
    """Plots in columns, each column a stack over one x axis; `titles` stand over the columns.

    `weights` are the relative widths of the columns, `height_mm` the height of the whole block.
    """

    columns: tuple[tuple[Plot, ...], ...]
    height_mm: float
    titles: tuple[str, ...] = ()
    weights: tuple[float, ...] = ()
    caption: str = ""


def figure_rows(
    columns: Sequence[tuple[Plot, ...]], across: int, height_mm: float, titles: Sequence[str] = (), caption: str = ""
) -> list[FigureBlock]:
    """Columns of plots, `across` to a row and none wider than the others; the caption stands under the last row."""
    blocks = []
    for start in range(0, len(columns), across):
        row = list(columns[start : start + across])
        row += [()] * (across - len(row))
        under = caption if start + across >= len(columns) else ""
        blocks.append(FigureBlock(tuple(row), height_mm, tuple(titles[start : start + across]), caption=under))
    return blocks


@dataclass(frozen=True, slots=True)
class Identity:
    """Label and value pairs in two columns; a missing value is printed as "not stated"."""

    pairs: tuple[tuple[str, str | None], ...]


@dataclass(frozen=True, slots=True)
class Banner:
    """The overall verdict: shape, word, colour and a sentence, or several with line feeds between them.

    `decision` None where nothing was judged.
    """

    decision: Decision | None
    word: str
    sentence: str


@dataclass(frozen=True, slots=True)
class Box:
    """Sentences that must not be overlooked, in a frame."""

    title: str
    sentences: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Signatures:
    """Lines to sign on, with who signs under each."""

    roles: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Heading:
    """The title of the paper, where something stands above it."""

    text: str


@dataclass(frozen=True, slots=True)
class Letterhead:
    """Whose paper it is: name, lines under it, and a small picture (PNG or JPEG) as its file has it."""

    name: str
    lines: tuple[str, ...]
    mark: bytes | None = None


@dataclass(frozen=True, slots=True)
class Picture:
    """A photograph (JPEG or PNG) as its file has it, with what stands under it."""

    name: str
    content: bytes
    caption: str


@dataclass(frozen=True, slots=True)
class Pictures:
    """Photographs side by side, drawn small."""

    pictures: tuple[Picture, ...]


@dataclass(frozen=True, slots=True)
class Spare:
    """Blocks that a section of one page gives up where it is full.

    title: of the section that they then make on a later page; empty where the paper says them elsewhere too.
    instead: what stands on the page for them. stays: the higher, the longer; 0 gives way to plots that were made low.
    """

    title: str
    blocks: tuple[Block, ...]
    instead: tuple[Block, ...] = ()
    stays: int = 0


Block = Paragraph | Table | FigureBlock | Identity | Banner | Box | Signatures | Heading | Letterhead | Pictures | Spare


@dataclass(frozen=True, slots=True)
class Section:
    """A heading with its blocks; `new_page` begins a page.

    size: how many times the usual size its text has. running: what the head of its pages says instead of the title of
    the paper, where they must be whole by themselves. one_page: its plots take the room that the rest leaves on a page.
    """

    title: str
    blocks: tuple[Block, ...]
    new_page: bool = False
    size: float = 1.0
    running: str = ""
    one_page: bool = False


@dataclass(frozen=True, slots=True)
class Attachment:
    """A file the certificate carries, byte for byte; `name` is a relative path with forward slashes.

    relation: whether the paper was made from it, or it holds the figures that the paper shows.
    """

    name: str
    content: bytes
    note: str = ""
    relation: Literal["Source", "Data"] = "Source"


@dataclass(frozen=True, slots=True)
class Certificate:
    """One certificate. `made` is the date as ISO 8601; `number` identifies the paper, `serial` the part.

    `signer`: whose signature it bears; `replaces`: the paper it takes the place of. `kind`: what the paper is. `job`:
    the job's name; `author`: who is stated to have inspected; `written`: when the file was written, ISO 8601 in UTC,
    empty for midnight.
    """

    title: str
    number: str
    serial: str | None
    made: str
    program: str
    sources: tuple[Source, ...]
    sections: tuple[Section, ...]
    attachments: tuple[Attachment, ...] = field(default=())
    signer: PublicKey | None = None
    replaces: Replaced | None = None
    kind: str = "certificate"
    job: str = ""
    author: str = ""
    written: str = ""


SHEET_TYPE = 10.5
"""Points of a build sheet's type where it stands on a certificate."""


@dataclass(frozen=True, slots=True)
class BuildSheet:
    """What a sheet says: its title, a line under it, its table, sentences below, and the files it follows from.

    signed: what whoever signs has done; caution: the line at its foot.
    """

    title: str
    line: str
    table: Table
    sentences: tuple[str, ...]
    sources: tuple[Source, ...]
    signed: str = "built by, date"
    caution: str = "Valve springs hold energy: eye protection, sound tools, hands clear. Measure again what was fitted."


def texts(value: Any) -> Iterator[str]:
    """Every text that a certificate or a part of one holds."""
    if isinstance(value, str):
        yield value
    elif is_dataclass(value):
        for row in fields(value):
            yield from texts(getattr(value, row.name))
    elif isinstance(value, Mapping):
        yield from texts(tuple(value.items()))
    elif isinstance(value, tuple | list):
        for one in value:
            yield from texts(one)
