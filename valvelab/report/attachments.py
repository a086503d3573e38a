"""The files a certificate carries: put in, and taken out again without trusting them."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import PurePosixPath

from valvelab.errors import BadFile
from valvelab.report.page_model import Certificate
from valvelab.report.pdf_file import Budget, PdfFile, packed, read_file, sealed, unpacked
from valvelab.report.pdf_values import Name, NotReadable, Ref, Stream, Value, text_string

MOST_FILES = 1_000
DEEPEST = 12
LONGEST_NAME = 240
A_PAPER = "a certificate as valvelab wrote it"


def finished(pdf: bytes, certificate: Certificate, properties: dict[str, str]) -> bytes:
    """A drawn PDF as it is handed out: with its properties and the certificate's files, every stream packed alike.

    Equal certificates give equal bytes. `properties` are those of the document, by their PDF names.
    """
    drawn = read_file(pdf)
    root, info = drawn.trailer["Root"], drawn.trailer["Info"]
    budget = Budget()
    objects: dict[int, Value] = {number: _packed_alike(value, budget) for number, value in drawn.objects.items()}
    objects[info.number] = {key: text_string(text) for key, text in properties.items()}
    tree: list[Value] = []
    for row in sorted(certificate.attachments, key=lambda row: row.name):
        number = max(objects) + 1
        objects[number] = packed(row.content, {"Type": Name("EmbeddedFile")})
        named = text_string(row.name)
        objects[number + 1] = {
            "Type": Name("Filespec"), "F": named, "UF": named, "EF": {"F": Ref(number)}, "Desc": text_string(row.note),
        }  # fmt: skip
        tree += [named, Ref(number + 1)]
    if tree:
        objects[root.number] = {**objects[root.number], "Names": {"EmbeddedFiles": {"Names": tree}}}
    return sealed(objects, root, info)


def _packed_alike(value: Value, budget: Budget) -> Value:
    if not isinstance(value, Stream):
        return value
    keys = {key: one for key, one in value.keys.items() if key not in {"Filter", "Length"}}
    return packed(unpacked(value, budget), keys)


def carried_files(file: PdfFile, name: str) -> dict[str, bytes]:
    """Files carried by a PDF called `name`, by their own names.

    Refuses what carries nothing or too much, one name twice, or a name that leaves its folder.
    """
    names = file.dictionary(file.dictionary(file.catalogue.get("Names")).get("EmbeddedFiles"))
    found: dict[str, bytes] = {}
    seen: set[str] = set()
    budget = Budget()
    try:
        for told, content in _named(file, names, 0):
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


def _named(file: PdfFile, node: dict[str, Value], depth: int) -> Iterator[tuple[str, Stream]]:
    """Name and stream of every file in a name tree."""
    if depth > DEEPEST:
        raise NotReadable("names nested too deeply")
    rows = file.at(node.get("Names")) or []
    for key, value in zip(rows[::2], rows[1::2], strict=False):
        spec = file.dictionary(value)
        told = {_text(file.at(spec[one])) for one in ("F", "UF") if one in spec} | {_text(file.at(key))}
        stream = file.at(file.dictionary(spec.get("EF")).get("F"))
        if len(told) != 1 or not isinstance(stream, Stream):
            raise NotReadable(f"{' and '.join(sorted(map(repr, told)))[:80]} for one file")
        yield told.pop(), stream
    for kid in file.at(node.get("Kids")) or []:
        yield from _named(file, file.dictionary(kid), depth + 1)


def _text(value: Value) -> str:
    if not isinstance(value, bytes):
        raise NotReadable("a file without a name")
    if value.startswith(b"\xfe\xff"):
        return value[2:].decode("utf-16-be", "replace")
    return value.decode("latin-1")


def is_inside(name: str) -> bool:
    """Whether a name is short, printable, and stays within the folder it is put in."""
    parts = PurePosixPath(name).parts
    plain = str(PurePosixPath(name)) == name and name.isprintable() and not {"\\", ":"} & set(name)
    return plain and 0 < len(parts) <= DEEPEST and len(name) <= LONGEST_NAME and ".." not in parts and parts[0] != "/"
