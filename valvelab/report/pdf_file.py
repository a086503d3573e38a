"""A whole PDF file: its objects, its streams unpacked within bounds, and whatever in it no certificate has.

Read once from front to back, so that time and memory follow the file's size; the cross-reference table is checked, not
followed. `sealed` writes objects as one revision whose file identifier (ISO 32000-1, 14.4) is the SHA-256 of the file
with the identifier's own digits at zero: a byte changed anywhere shows.
"""

from __future__ import annotations

import base64
import re
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from hashlib import sha256

from valvelab.report.pdf_values import Name, NotReadable, Ref, Stream, Value, after_space, read_value, written

MOST_OBJECTS = 50_000
MOST_OUTSIDE_STREAMS = 4_000_000
MOST_UNREADABLE = 10
MOST_UNPACKED = 200 * 1024 * 1024
MOST_PAGES = 5_000
INHERITED = ("Resources", "MediaBox", "CropBox", "Rotate")

_HEADER = b"%PDF-1.4\n%\xe2\xe3\xcf\xd3\n"
_OBJECT = re.compile(rb"(\d{1,8})[\0\t\n\f\r ]+(\d{1,5})[\0\t\n\f\r ]+obj(?![A-Za-z])")
_NUMBERED = re.compile(rb"(?<!\d)\d{1,8}[\0\t\n\f\r ]+\d{1,5}[\0\t\n\f\r ]+\Z")
_TABLE = re.compile(rb"xref\s++((?:\d++ \d++\s++(?:\d{10} \d{5} [nf]\s*+)*+)++)")
_SECTION = re.compile(rb"(\d++) (\d++)\s++((?:\d{10} \d{5} [nf]\s*+)*+)")
_START = re.compile(rb"startxref\s+(\d+)")
_END = re.compile(rb"\s+%%EOF[\r\n]*")
_SEAL = re.compile(rb"/ID \[<([0-9a-f]{64})> <([0-9a-f]{64})>\]")


@dataclass(frozen=True, slots=True)
class PdfFile:
    """Objects by number (the last where one stands twice), the last trailer, and what is odd about the file."""

    objects: Mapping[int, Value]
    trailer: Mapping[str, Value]
    oddities: tuple[str, ...]

    def at(self, value: Value) -> Value:
        """What a reference stands for; any other value as it is."""
        for _ in range(8):
            if not isinstance(value, Ref):
                return value
            value = self.objects.get(value.number)
        return None

    def dictionary(self, value: Value) -> dict[str, Value]:
        """The dictionary that stands there, or an empty one."""
        found = self.at(value)
        return found if isinstance(found, dict) else {}

    @property
    def catalogue(self) -> dict[str, Value]:
        """The document's catalogue."""
        return self.dictionary(self.trailer.get("Root"))

    def pages(self) -> tuple[dict[str, Value], ...]:
        """Every page in order, with what it inherits. Raises NotReadable for a tree that no certificate has."""
        found = tuple(self._pages(self.catalogue.get("Pages"), {}, 0))
        if not found:
            raise NotReadable("no pages")
        return found

    def _pages(self, node: Value, above: dict[str, Value], depth: int) -> Iterator[dict[str, Value]]:
        if depth > 12:
            raise NotReadable("pages nested too deeply")
        keys = self.dictionary(node)
        mine = {**above, **{key: keys[key] for key in INHERITED if key in keys}}
        kids = self.at(keys.get("Kids"))
        if kids is None:
            yield {**mine, **keys}
            return
        if not isinstance(kids, list) or len(kids) > MOST_PAGES:
            raise NotReadable("a page tree without pages")
        for kid in kids:
            yield from self._pages(kid, mine, depth + 1)


@dataclass(slots=True)
class Budget:
    """How many bytes may still be unpacked."""

    left: int = MOST_UNPACKED


def unpacked(stream: Stream, budget: Budget) -> bytes:
    """A stream's data, unpacked. Raises NotReadable for what is broken or larger than the budget."""
    names = stream.keys.get("Filter")
    if stream.keys.get("DecodeParms") is not None:
        raise NotReadable("a stream packed in a way that no certificate has")
    data = stream.data
    names = names if isinstance(names, list) else [] if names is None else [names]
    if len(names) > 2:
        raise NotReadable("a stream packed over and over")
    for name in names:
        if name == "ASCII85Decode":
            data = _from_ascii85(data)
        elif name == "FlateDecode":
            data = inflated(data, budget)
        else:
            raise NotReadable(f"a stream packed as {name}")
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
    """A deflated stream unpacked; refused where it is broken or holds more than the budget has left."""
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


@dataclass(slots=True)
class _Scan:
    """What was met so far on the way through a file."""

    data: bytes
    objects: dict[int, Value] = field(default_factory=dict)
    places: dict[int, int] = field(default_factory=dict)
    tables: list[re.Match[bytes]] = field(default_factory=list)
    trailers: list[dict[str, Value]] = field(default_factory=list)
    starts: list[re.Match[bytes]] = field(default_factory=list)
    oddities: dict[str, None] = field(default_factory=dict)
    outside: int = 0
    unreadable: int = 0

    def odd(self, what: str) -> None:
        self.oddities[what] = None


def read_file(data: bytes) -> PdfFile:
    """The file's objects. Raises NotReadable for what is no PDF, or too much of one."""
    if not data.startswith(b"%PDF-"):
        raise NotReadable("no PDF")
    scan = _Scan(data)
    place = 0
    while (place := after_space(data, place)) < len(data):
        start = place
        try:
            place = _next(scan, place)
        except NotReadable as error:
            scan.odd(f"{error} where an object is expected")
            met = _OBJECT.match(data, start)
            place = _following(scan, start + 1 if met is None else met.end())
        if scan.unreadable > MOST_UNREADABLE or len(scan.objects) > MOST_OBJECTS or scan.outside > MOST_OUTSIDE_STREAMS:
            raise NotReadable("far more objects, or more unreadable ones, than a certificate has")
    _check_table(scan)
    if not scan.trailers:
        raise NotReadable("a PDF without a trailer, as other programs save it")
    if "Encrypt" in scan.trailers[-1]:
        raise NotReadable("an encrypted PDF")
    return PdfFile(scan.objects, scan.trailers[-1], tuple(scan.oddities))


def _following(scan: _Scan, place: int) -> int:
    """Where the next object, table or trailer may begin, past what could not be read."""
    data = scan.data
    ends = [found for word in (b"xref", b"trailer", b"startxref") if (found := data.find(word, place)) >= 0]
    end = min([*ends, len(data)])
    while (found := data.find(b"obj", place, end)) >= 0 and scan.unreadable <= MOST_UNREADABLE:
        scan.unreadable += 1
        if numbers := _NUMBERED.search(data[max(0, found - 24) : found]):
            return found - (numbers.end() - numbers.start())
        place = found + 3
    scan.unreadable += 1
    return end


def _next(scan: _Scan, place: int) -> int:
    """Take in the object, table or trailer at `place`; returns where it ends."""
    data = scan.data
    if found := _OBJECT.match(data, place):
        number = int(found[1])
        value, end = read_value(data, found.end())
        scan.outside += end - place
        end = after_space(data, end)
        if isinstance(value, dict) and data.startswith(b"stream", end):
            value, end = _stream(scan, value, end + 6)
        if number in scan.objects:
            scan.odd("an object that stands twice")
        scan.objects[number], scan.places[number] = value, place
        end = after_space(data, end)
        if not data.startswith(b"endobj", end):
            raise NotReadable("an object without an end")
        return end + 6
    if found := _TABLE.match(data, place):
        scan.outside += found.end() - place
        scan.tables.append(found)
        return found.end()
    if data.startswith(b"trailer", place):
        value, end = read_value(data, place + 7)
        if not isinstance(value, dict):
            raise NotReadable("a trailer without keys")
        scan.trailers.append(value)
        return end
    if found := _START.match(data, place):
        scan.starts.append(found)
        return found.end()
    raise NotReadable(f"{data[place : place + 12]!r}".removeprefix("b"))


def _stream(scan: _Scan, keys: dict[str, Value], place: int) -> tuple[Stream, int]:
    data = scan.data
    place += 2 if data.startswith(b"\r\n", place) else 1
    length = keys.get("Length")
    end = place + length if isinstance(length, int) and length >= 0 else -1
    if end < 0 or not data.startswith(b"endstream", after_space(data, end)):
        if not isinstance(length, Ref):
            scan.odd("a stream of another length than it states")
        end = data.find(b"endstream", place)
        if end < 0:
            raise NotReadable("a stream that does not end")
    return Stream(keys, data[place:end]), data.index(b"endstream", end) + 9


def _check_table(scan: _Scan) -> None:
    """One revision, whose cross-reference table names every object where it stands."""
    if max(len(scan.tables), len(scan.trailers), len(scan.starts)) > 1:
        scan.odd("a revision appended after the certificate was written")
    if not scan.starts or not _END.fullmatch(scan.data, scan.starts[-1].end()):
        scan.odd("bytes after the end")
    stated: dict[int, int] = {}
    for section in _SECTION.finditer(scan.tables[-1][1]) if scan.tables else ():
        entries = re.findall(rb"(\d{10}) \d{5} ([nf])", section[3])
        stated |= {int(section[1]) + n: int(place) for n, (place, kind) in enumerate(entries) if kind == b"n"}
    begins = scan.tables[-1].start() if scan.tables else None
    if stated != scan.places or not scan.starts or int(scan.starts[-1][1]) != begins:
        scan.odd("a cross-reference table that points elsewhere")


def sealed(objects: Mapping[int, Value], root: Ref, info: Ref) -> bytes:
    """The file of these objects, in the order of their numbers; equal objects give equal bytes."""
    parts, places, length = [_HEADER], {}, len(_HEADER)
    for number, value in sorted(objects.items()):
        if isinstance(value, Stream):
            keys = written({**value.keys, "Length": len(value.data)})
            body = keys + b"\nstream\n" + value.data + b"\nendstream"
        else:
            body = written(value)
        part = b"%d 0 obj\n%s\nendobj\n" % (number, body)
        places[number] = length
        parts.append(part)
        length += len(part)
    size = max(objects) + 1
    free = b"0000000000 00000 f \n"
    rows = (b"%010d 00000 n \n" % places[number] if number in places else free for number in range(1, size))
    table = [b"xref\n0 %d\n0000000000 65535 f \n" % size, *rows]
    keys = written({"Size": size, "Root": root, "Info": info})[:-2]
    blank = b"0" * 64
    table.append(b"trailer\n%s /ID [<%s> <%s>]>>\nstartxref\n%d\n%%%%EOF\n" % (keys, blank, blank, length))
    whole = b"".join([*parts, *table])
    return whole.replace(b"<%s> <%s>" % (blank, blank), b"<%s> <%s>" % ((sha256(whole).hexdigest().encode(),) * 2))


def seal_holds(data: bytes) -> bool:
    """Whether the file's identifier is still the SHA-256 of its bytes."""
    found = list(_SEAL.finditer(data))
    if not found:
        return False
    one, other = found[-1].span(1), found[-1].span(2)
    blank = data[: one[0]] + b"0" * 64 + data[one[1] : other[0]] + b"0" * 64 + data[other[1] :]
    digest = sha256(blank).hexdigest().encode()
    return found[-1][1] == digest == found[-1][2]


def packed(data: bytes, keys: Mapping[str, Value]) -> Stream:
    """A stream of that data, packed the same way always."""
    return Stream({**keys, "Filter": Name("FlateDecode")}, zlib.compress(data, 9))
