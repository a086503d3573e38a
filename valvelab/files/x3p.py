"""Surface profiles in the X3P container of ISO 25178-72 (ISO 5436-2 in XML): a zip of a header and its heights.

Nothing is unpacked to disk; unpacking stops at the limit whatever the directory claims; XML with a document type or
entities is refused; both MD5 checksums are verified. Lengths in the file are metres.
"""

from __future__ import annotations

import re
from hashlib import md5
from typing import TYPE_CHECKING

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.errors import BadFile
from valvelab.files.contents import MAX_ROWS, Contents, is_zip
from valvelab.files.even_trace import even_trace
from valvelab.files.plausible import LARGEST_PLACE_MM
from valvelab.files.zip_parts import ZipParts, packed, part_names, plain_name
from valvelab.frozen import frozen
from valvelab.phrase import Phrase
from valvelab.records.form_measurement import SurfaceTrace
from valvelab.records.result import Note, info, warning

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

HEADER = "main.xml"
CHECKSUM = "md5checksum.hex"
HEIGHTS = "bindata/data.bin"
_TYPES = {"I": "<i2", "L": "<i4", "F": "<f4", "D": "<f8"}
_WANTED = "an X3P container (ISO 25178-72)"
_HEADER = """<?xml version="1.0" encoding="UTF-8"?>
<p:ISO5436_2 xmlns:p="http://www.opengps.eu/2008/ISO5436_2">
 <Record1>
  <Revision>ISO5436 - 2000</Revision>
  <FeatureType>PRF</FeatureType>
  <Axes>
   <CX><AxisType>I</AxisType><DataType>D</DataType><Increment>{step}</Increment><Offset>{start}</Offset></CX>
   <CY><AxisType>I</AxisType><DataType>D</DataType><Increment>1</Increment><Offset>0</Offset></CY>
   <CZ><AxisType>A</AxisType><DataType>D</DataType><Increment>1</Increment><Offset>0</Offset></CZ>
  </Axes>
 </Record1>
 <Record3>
  <MatrixDimension><SizeX>{count}</SizeX><SizeY>1</SizeY><SizeZ>1</SizeZ></MatrixDimension>
  <DataLink><PointDataLink>{heights}</PointDataLink><MD5ChecksumPointData>{md5}</MD5ChecksumPointData></DataLink>
 </Record3>
 <Record4><ChecksumFile>{checksum}</ChecksumFile></Record4>
</p:ISO5436_2>
"""
"""Of every part, so that equal traces give equal bytes."""


def is_x3p(data: bytes) -> bool:
    """Whether the bytes are a zip container that holds this form's header, in whatever folder."""
    if not is_zip(data):
        return False
    names = part_names(data) or ()
    return any(name.rpartition("/")[2] == HEADER for name in names)


@frozen
class _Container:
    """The parts of one measurement: all in the folder that holds the header, where links start too."""

    parts: ZipParts
    folder: str

    @property
    def file(self) -> str:
        return self.parts.file

    def holds(self, name: str) -> bool:
        return self.folder + name in self.parts.entries

    def part(self, name: str) -> bytes:
        return self.parts.part(self.folder + plain_name(name))


def read_x3p(contents: Contents) -> SurfaceTrace:
    """The profile in an X3P file; refuses a surface, a gap, a wrong checksum and anything beyond the limits."""
    parts = ZipParts.of(contents, _WANTED)
    with parts.archive:
        container = _Container(parts, parts.folder_of(HEADER))
        header = container.part(HEADER)
        notes = _check_header(container, header)
        root = _parse(contents.file, header)
        notes += _feature(contents.file, root)
        spacing_mm = _spacing(contents.file, root)
        z_um = _heights(container, root)
    return even_trace(contents, "X3P", spacing_mm, z_um, notes)


def x3p_bytes(trace: SurfaceTrace) -> bytes:
    """The container of a trace: lengths in metres, heights as doubles; label and uncertainty have no place there."""
    step_mm = float(trace.x_mm[-1] - trace.x_mm[0]) / (trace.x_mm.size - 1)
    data = (trace.z_um * 1e-6).astype("<f8").tobytes()
    header = _HEADER.format(
        step=repr(step_mm / 1000.0),
        start=repr(float(trace.x_mm[0]) / 1000.0),
        count=trace.z_um.size,
        heights=HEIGHTS,
        md5=_md5(data),
        checksum=CHECKSUM,
    ).encode()
    return packed({HEADER: header, HEIGHTS: data, CHECKSUM: f"{_md5(header)} *{HEADER}\n".encode()})


def _md5(data: bytes) -> str:
    return md5(data, usedforsecurity=False).hexdigest()


def _check_header(container: _Container, header: bytes) -> list[Note]:
    if not container.holds(CHECKSUM):
        return [
            warning(
                container.file, Phrase("the container has no {checksum}; its header is not verified", checksum=CHECKSUM)
            )
        ]
    stated = re.match(rb"\s*([0-9a-fA-F]{32})\b", container.part(CHECKSUM))
    if stated is None:
        raise BadFile(container.file, CHECKSUM, "no MD5 checksum", "32 hexadecimal digits")
    _compare(container.file, HEADER, stated.group(1).decode(), header)
    return []


def _compare(file: str, name: str, stated: str, data: bytes) -> None:
    found = _md5(data)
    if stated.strip().lower() != found:
        raise BadFile(file, name, f"checksum {stated.strip()[:40]!r}", f"{found}; the part was changed")


def _parse(file: str, header: bytes) -> Element:
    from xml.etree.ElementTree import ParseError

    from defusedxml.common import DefusedXmlException
    from defusedxml.ElementTree import fromstring

    try:
        root: Element = fromstring(header, forbid_dtd=True)
    except DefusedXmlException:
        raise BadFile(file, HEADER, "a document type or entities", "plain XML without them") from None
    except (ParseError, ValueError, LookupError, RecursionError) as error:
        raise BadFile(file, HEADER, f"broken XML ({error})", "well-formed XML") from None
    if not root.tag.endswith("ISO5436_2"):
        raise BadFile(file, HEADER, f"root {root.tag[-40:]!r}", "ISO5436_2")
    return root


def _text(file: str, root: Element, path: str, default: str | None = None) -> str:
    element = root.find(path)
    text = (element.text or "").strip() if element is not None else ""
    if text:
        return text
    if default is None:
        raise BadFile(file, HEADER, f"no {path}", "one")
    return default


def _number(file: str, root: Element, path: str, default: str | None = None) -> float:
    text = _text(file, root, path, default)
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not np.isfinite(value):
        raise BadFile(file, f"{HEADER}, {path}", f"{text[:40]!r}", "a number")
    return value


def _size(file: str, root: Element, name: str) -> int:
    value = _number(file, root, f"Record3/MatrixDimension/{name}")
    if value != int(value) or not 1 <= value <= MAX_ROWS:
        raise BadFile(file, f"{HEADER}, {name}", f"{value:g}", f"a whole number from 1 to {MAX_ROWS}")
    return int(value)


def _feature(file: str, root: Element) -> list[Note]:
    feature = _text(file, root, "Record1/FeatureType")
    rows, layers = _size(file, root, "SizeY"), _size(file, root, "SizeZ")
    if feature not in {"PRF", "SUR"} or rows > 1 or layers > 1:
        kind = {"SUR": "a surface", "PCL": "a point cloud", "PRF": "profiles"}.get(feature, f"feature {feature[:20]!r}")
        raise BadFile(file, HEADER, f"{kind} of {rows} rows and {layers} layers", "one profile")
    return [info(file, Phrase("a surface of one row, read as a profile"))] if feature == "SUR" else []


def _spacing(file: str, root: Element) -> float:
    """Distance of two readings along the trace, mm."""
    kind = _text(file, root, "Record1/Axes/CX/AxisType")
    if kind != "I":
        raise BadFile(file, f"{HEADER}, CX", f"axis type {kind[:10]!r}", "an incremental axis (I)")
    increment = _number(file, root, "Record1/Axes/CX/Increment")
    if not 0.0 < increment <= LARGEST_PLACE_MM / 1000.0:
        wanted = f"one above 0 and at most {LARGEST_PLACE_MM / 1000.0:g} m"
        raise BadFile(file, f"{HEADER}, CX", f"increment {increment:g} m", wanted)
    return increment * 1000.0


def _heights(container: _Container, root: Element) -> FloatArray:
    """Heights in µm; a point marked invalid or not finite is a gap, and refused."""
    file, count = container.file, _size(container.file, root, "SizeX")
    if count < 2:
        raise BadFile(file, f"{HEADER}, SizeX", str(count), "2 or more")
    link = root.find("Record3/DataLink")
    if link is not None:
        values, valid = _linked(container, root, count)
    else:
        datums = root.findall("Record3/DataList/Datum")
        words = [(datum.text or "nan").split(";")[-1].strip() or "nan" for datum in datums]
        try:
            values = np.asarray(words, dtype=np.float64)
        except ValueError:
            raise BadFile(file, f"{HEADER}, DataList", "a height that is not a number", "numbers") from None
        valid = np.ones(values.size, dtype=bool)
    if values.size != count:
        raise BadFile(file, "", f"{values.size} heights", f"{count}, the size of the matrix")
    gaps = np.flatnonzero(~(np.isfinite(values) & valid))
    if gaps.size:
        raise BadFile(
            file,
            f"point {gaps[0] + 1}",
            f"{gaps.size} of {count} points without a height",
            "a trace without gaps; none is bridged",
        )
    scale = _number(file, root, "Record1/Axes/CZ/Increment", "1")
    offset = _number(file, root, "Record1/Axes/CZ/Offset", "0")
    with np.errstate(over="ignore", invalid="ignore"):
        heights_um = (values * scale + offset) * 1e6
    return np.asarray(heights_um)


def _linked(
    container: _Container, root: Element, count: int
) -> tuple[FloatArray, np.ndarray[tuple[int], np.dtype[np.bool_]]]:
    file = container.file
    kind = _text(file, root, "Record1/Axes/CZ/DataType", "D")
    if kind not in _TYPES:
        raise BadFile(file, f"{HEADER}, CZ", f"data type {kind[:10]!r}", f"one of {', '.join(_TYPES)}")
    data = container.part(_text(file, root, "Record3/DataLink/PointDataLink"))
    stated = _text(file, root, "Record3/DataLink/MD5ChecksumPointData", "")
    if stated:
        _compare(file, "heights", stated, data)
    layout = np.dtype(_TYPES[kind])
    if len(data) != count * layout.itemsize:
        raise BadFile(file, "heights", f"{len(data)} bytes", f"{count * layout.itemsize} for {count} points")
    values = np.frombuffer(data, dtype=layout).astype(np.float64)
    valid = np.ones(count, dtype=bool)
    mask = _text(file, root, "Record3/DataLink/ValidPointsLink", "")
    if mask:
        bits = container.part(mask)
        stated = _text(file, root, "Record3/DataLink/MD5ChecksumValidPoints", "")
        if stated:
            _compare(file, "valid points", stated, bits)
        if len(bits) * 8 < count:
            raise BadFile(file, "valid points", f"{len(bits)} bytes", f"{(count + 7) // 8} for {count} points")
        valid = np.unpackbits(np.frombuffer(bits, dtype=np.uint8), count=count, bitorder="little").astype(bool)
    return values, valid
