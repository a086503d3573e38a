"""The files a certificate carries: put in, and taken out again without trusting them."""

from __future__ import annotations

import io
from collections.abc import Iterator, Mapping
from pathlib import PurePosixPath

import pikepdf
from pikepdf import Array, Stream, String

from valvelab.errors import BadFile
from valvelab.report.archive import dress
from valvelab.report.page_model import Certificate
from valvelab.report.pdf_file import Budget, NotReadable, PdfFile, Sign, Value, dictionary, sealed, unpacked
from valvelab.report.tags import Tags, put_tags

MOST_FILES = 1_000
DEEPEST = 12
LONGEST_NAME = 240
A_PAPER = "a certificate as valvelab wrote it"


def finished(
    pdf: bytes, tags: Tags, certificate: Certificate, properties: Mapping[str, str], sign: Sign | None = None
) -> bytes:
    """A drawn PDF as it is handed out: tagged, with properties and the certificate's files, every stream packed alike.

    Equal certificates and keys give equal bytes. `properties` are those of the document, by their PDF names.
    """
    with pikepdf.open(io.BytesIO(pdf)) as drawn:
        written = certificate.written or f"{certificate.made}T00:00:00Z"
        dress(drawn, properties, written, certificate.attachments)
        put_tags(drawn, tags)
        return sealed(drawn, sign)


def carried_files(file: PdfFile, name: str) -> dict[str, bytes]:
    """Files carried by a PDF called `name`, by their own names.

    Refuses what carries nothing or too much, one name twice, or a name that leaves its folder.
    """
    found: dict[str, bytes] = {}
    seen: set[str] = set()
    budget = Budget()
    try:
        for told, content in _named(file):
            if not is_inside(told):
                raise BadFile(name, "attachments", f"the name {told[:60]!r}", "a relative name of a few folders")
            if told.casefold() in seen:
                raise BadFile(name, "attachments", f"the name {told!r} twice", "each file once")
            if len(found) >= MOST_FILES:
                raise BadFile(name, "attachments", f"over {MOST_FILES} files", "the inputs of one job")
            seen.add(told.casefold())
            found[told] = unpacked(content, budget)
    except NotReadable as error:
        raise BadFile(name, "attachments", str(error), "the files that a valvelab certificate carries") from None
    if not found:
        raise BadFile(name, "attachments", "none", "the inputs that a valvelab certificate carries")
    return found


def _named(file: PdfFile) -> Iterator[tuple[str, Stream]]:
    """Name and stream of every file in the tree of names."""
    nodes = [dictionary(dictionary(file.catalogue.get("/Names")).get("/EmbeddedFiles"))]
    for node in nodes:
        rows = _list(node.get("/Names"))
        for key, value in zip(rows[::2], rows[1::2], strict=False):
            spec = dictionary(value)
            told = {_text(spec[one]) for one in ("/F", "/UF") if one in spec} | {_text(key)}
            stream = dictionary(spec.get("/EF")).get("/F")
            if len(told) != 1 or not isinstance(stream, Stream):
                raise NotReadable(f"{' and '.join(sorted(map(repr, told)))[:80]} for one file")
            yield told.pop(), stream
        nodes += map(dictionary, _list(node.get("/Kids")))
        if len(nodes) > MOST_FILES:
            raise NotReadable("names in far more groups than a certificate has")


def _list(value: Value) -> list[Value]:
    if value is not None and not isinstance(value, Array):
        raise NotReadable("names that are no list")
    return [] if value is None else list(value)


def _text(value: Value) -> str:
    if not isinstance(value, String):
        raise NotReadable("a file without a name")
    return str(value)


def is_inside(name: str) -> bool:
    """Whether a name is short, printable, and stays within the folder it is put in."""
    parts = PurePosixPath(name).parts
    plain = str(PurePosixPath(name)) == name and name.isprintable() and not {"\\", ":"} & set(name)
    return plain and 0 < len(parts) <= DEEPEST and len(name) <= LONGEST_NAME and ".." not in parts and parts[0] != "/"
