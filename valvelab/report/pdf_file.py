"""A whole PDF file: what it shows and carries, its streams unpacked within bounds, and whatever no certificate has.

The file is read by qpdf; what qpdf had to mend, and where the file's parts don't stand where its table says, is odd.
`sealed` writes a file whose identifier (ISO 32000-1, 14.4) is the SHA-256 of the file with the digits of identifier and
signature at zero: a byte changed anywhere shows. A signature is one of that identifier, and stands beside it.
"""

from __future__ import annotations

import base64
import io
import re
import zlib
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property
from hashlib import sha256
from typing import Any

import pikepdf
from pikepdf import Array, Dictionary, Object, Stream, String

MOST_OBJECTS = 50_000
MOST_OUTSIDE_STREAMS = 4_000_000
MOST_WARNINGS = 10
MOST_UNPACKED = 200 * 1024 * 1024
INHERITED = ("/Resources", "/MediaBox", "/CropBox", "/Rotate")

Value = Any
"""A value of a PDF file: a number, truth value or None of Python's, else an Object."""

_HIDDEN = re.compile(rb"\bstream\r?\n.*?(?:endstream|\Z)|\((?:[^\\()]|\\.)*+\)", re.DOTALL)
"""Streams and texts: what looks like an object or a table in them is none."""
_OBJECT = re.compile(rb"(?<!\d)(\d{1,8})\s++\d{1,5}\s++obj\b")
_TABLE = re.compile(rb"\bxref([\s\dfn]*+)trailer\b")
_SECTION = re.compile(rb"(\d++) (\d++)\s++((?:\d{10} \d{5} [nf]\s*+)++)")
_START = re.compile(rb"startxref\s++(\d++)")
_END = re.compile(rb"\s+%%EOF[\r\n]*")
_PACKED_TABLE = re.compile(rb"/(?:X|#58)(?:R|#52)(?:e|#65)(?:f|#66)")
"""A table in a stream, which a reader of PDF unpacks whole, however large, before anyone can ask it not to."""
_WHERE = re.compile(r"^stream <[^>]*>[ :,]*")
_SEAL = re.compile(rb"/ID \[<([0-9a-f]{64})> ?<([0-9a-f]{64})>\](?: /Signature <([0-9a-f]{128})>)?")
_SIGNED = b"valvelab certificate "
"""Stands before the identifier in what is signed, so that a signature is never taken for one of something else."""

Sign = Callable[[bytes], bytes]
"""The signature, 64 bytes, of some text."""


class NotReadable(Exception):
    """A file that is no PDF, or whose values no certificate has; says what stands there."""


@dataclass(frozen=True)
class PdfFile:
    """An open file, and what is odd about it."""

    pdf: pikepdf.Pdf
    oddities: tuple[str, ...]

    @property
    def catalogue(self) -> Object:
        """The document's catalogue."""
        return self.pdf.Root

    @property
    def properties(self) -> Object:
        """The document's properties; empty where there are none."""
        return dictionary(self.pdf.trailer.get("/Info"))

    @cached_property
    def objects(self) -> dict[tuple[int, int], Object]:
        """Every indirect object that is more than a number, a truth value or null."""
        return {one.objgen: one for one in self.pdf.objects if isinstance(one, Object)}

    def pages(self) -> tuple[dict[str, Value], ...]:
        """Every page in order, with what it inherits. Raises NotReadable for a tree that no certificate has."""
        try:
            found = tuple(_with_inherited(page.obj) for page in self.pdf.pages)
        except pikepdf.PdfError as error:
            raise NotReadable(_said(error)) from None
        if not found:
            raise NotReadable("no pages")
        return found

    def page_places(self) -> list[tuple[int, int]]:
        """Number and generation of every page's object, in order."""
        return [page.obj.objgen for page in self.pdf.pages]


def dictionary(value: Value) -> Object:
    """The dictionary itself, or an empty one for anything else."""
    return value if isinstance(value, Dictionary) else Dictionary()


def _with_inherited(page: Object) -> dict[str, Value]:
    keys = dict(page.items())
    above = page
    for _ in range(12):
        above = dictionary(above.get("/Parent"))
        keys = {**{key: above[key] for key in INHERITED if key in above}, **keys}
    return keys


@dataclass(slots=True)
class Budget:
    """How many bytes may still be unpacked."""

    left: int = MOST_UNPACKED


def unpacked(stream: Object, budget: Budget) -> bytes:
    """A stream's data, unpacked. Raises NotReadable for what is broken or larger than the budget."""
    if stream.get("/DecodeParms") is not None:
        raise NotReadable("a stream packed in a way that no certificate has")
    filters = stream.get("/Filter")
    names = list(filters) if isinstance(filters, Array) else [] if filters is None else [filters]
    if len(names) > 2:
        raise NotReadable("a stream packed over and over")
    data = stream.read_raw_bytes()
    for name in names:
        if name == "/ASCII85Decode":
            data = _from_ascii85(data)
        elif name == "/FlateDecode":
            data = inflated(data, budget)
        else:
            raise NotReadable(f"a stream packed as {told(name)}")
    budget.left -= len(data)
    if budget.left < 0:
        raise NotReadable(f"over {MOST_UNPACKED // 2**20} MB once unpacked")
    return data


def _from_ascii85(data: bytes) -> bytes:
    try:
        return base64.a85decode(data.strip().removesuffix(b"~>"))
    except ValueError:
        raise NotReadable("a broken stream") from None


def inflated(data: bytes, budget: Budget) -> bytes:
    """A deflated stream's data. Raises NotReadable for what is broken, or larger than the budget's rest."""
    machine = zlib.decompressobj()
    try:
        found = machine.decompress(data, max(0, budget.left) + 1)
    except zlib.error:
        raise NotReadable("a broken stream") from None
    if len(found) > budget.left:
        raise NotReadable(f"over {MOST_UNPACKED // 2**20} MB once unpacked")
    if not machine.eof:
        raise NotReadable("a stream that breaks off")
    return found


def read_file(data: bytes) -> PdfFile:
    """The file, open. Raises NotReadable for what is no PDF, or too much of one."""
    if not data.startswith(b"%PDF-"):
        raise NotReadable("no PDF")
    oddities = list(_misplaced(data))
    try:
        pdf = _opened(data)
        for one in pdf.objects:
            del one  # every object is parsed now, and whatever is wrong with it told
        oddities += map(_said, pdf.get_warnings()[:MOST_WARNINGS])
    except pikepdf.PasswordError:
        raise NotReadable("an encrypted PDF") from None
    except (pikepdf.PdfError, RuntimeError, ValueError) as error:
        raise NotReadable(_said(error)) from None
    if pdf.is_encrypted:
        raise NotReadable("an encrypted PDF")
    return PdfFile(pdf, tuple(dict.fromkeys(oddities)))


def _opened(data: bytes) -> pikepdf.Pdf:
    """As its last table leads; where that leads nowhere, by looking for objects, as viewers then do."""
    try:
        return pikepdf.open(io.BytesIO(data), suppress_warnings=True)
    except pikepdf.PdfError:
        return pikepdf.open(io.BytesIO(data.replace(b"startxref", b"no table ")), suppress_warnings=True)


def _said(error: object) -> str:
    """What qpdf says, without the name of the memory that the file was read from."""
    return " ".join(_WHERE.sub("", str(error)).split())[:120]


def _misplaced(data: bytes) -> Iterator[str]:
    """What stands otherwise than in one revision whose cross-reference table names every object where it stands."""
    hidden = 0

    def blank(found: re.Match[bytes]) -> bytes:
        nonlocal hidden
        hidden += len(found[0])
        return b" " * len(found[0])

    outside = _HIDDEN.sub(blank, data)
    objects, tables, starts = (list(mark.finditer(outside)) for mark in (_OBJECT, _TABLE, _START))
    if len(objects) > MOST_OBJECTS or len(data) - hidden > MOST_OUTSIDE_STREAMS:
        raise NotReadable("far more objects than a certificate has")
    if not tables or _PACKED_TABLE.search(data):
        raise NotReadable("a PDF without a trailer, as other programs save it")
    places = {int(found[1]): found.start() for found in objects}
    if len(places) < len(objects):
        yield "an object that stands twice"
    if max(len(tables), len(starts)) > 1:
        yield "a revision appended after the certificate was written"
    if not starts or not _END.fullmatch(data, starts[-1].end()):
        yield "bytes after the end"
    stated: dict[int, int] = {}
    for section in _SECTION.finditer(tables[-1][1]):
        entries = re.findall(rb"(\d{10}) \d{5} ([nf])", section[3])
        stated |= {int(section[1]) + n: int(place) for n, (place, kind) in enumerate(entries) if kind == b"n"}
    if stated != places or not starts or int(starts[-1][1]) != tables[-1].start():
        yield "a cross-reference table that points elsewhere"


def sealed(pdf: pikepdf.Pdf, sign: Sign | None = None) -> bytes:
    """The file as one revision, every stream packed alike; equal contents and keys give equal bytes."""
    target = io.BytesIO()
    pdf.save(
        target,
        static_id=True,
        min_version="1.7",
        fix_metadata_version=False,  # it states none, and looking loads a reader of XML
        recompress_flate=True,
        object_stream_mode=pikepdf.ObjectStreamMode.disable,
        stream_decode_level=pikepdf.StreamDecodeLevel.generalized,
    )
    head, _, tail = target.getvalue().rpartition(b"/ID [")
    rest = tail.partition(b"]")[2]

    def identified(digits: bytes, signature: bytes) -> bytes:
        place = b" /Signature <%s>" % signature if signature else b""
        return head + b"/ID [<%s><%s>]" % (digits, digits) + place + rest

    digest = sha256(identified(b"0" * 64, b"0" * 128 if sign else b"")).hexdigest().encode()
    return identified(digest, sign(_SIGNED + digest).hex().encode() if sign else b"")


@dataclass(frozen=True, slots=True)
class Seal:
    """A file's identifier as it follows from its bytes, whether it is the one that stands there, and its signature."""

    digest: bytes
    holds: bool
    signature: bytes | None

    @property
    def signed(self) -> bytes:
        """The text that the signature is one of."""
        return _SIGNED + self.digest


def seal_of(data: bytes) -> Seal:
    """The seal of a file: every byte of it but the digits of identifier and signature is in the identifier."""
    found = next(iter(deque(_SEAL.finditer(data), maxlen=1)), None)
    if found is None:
        return Seal(sha256(data).hexdigest().encode(), holds=False, signature=None)
    blank = bytearray(data)
    for start, end in filter(lambda span: span[0] >= 0, map(found.span, (1, 2, 3))):
        blank[start:end] = b"0" * (end - start)
    digest = sha256(blank).hexdigest().encode()
    return Seal(digest, found[1] == digest == found[2], bytes.fromhex(found[3].decode()) if found[3] else None)


def seal_holds(data: bytes) -> bool:
    """Whether the file's identifier is still the SHA-256 of its bytes."""
    return seal_of(data).holds


def told(value: Value) -> str:
    """A value as one would write it, for a sentence."""
    if isinstance(value, String):
        return str(value)
    if isinstance(value, Stream):
        return f"a stream of {len(value.read_raw_bytes())} bytes"
    return "nothing" if value is None else written(value).decode("latin-1")


def written(value: Value) -> bytes:
    """A value that holds no other, as it stands in a file."""
    return value.unparse() if isinstance(value, Object) else str(value).lower().encode()
