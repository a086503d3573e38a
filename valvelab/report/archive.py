"""Makes a drawn PDF one for the archive: PDF/A-3, conformance B (ISO 19005-3), with the files that it carries.

Colours are those of the sRGB profile in it, what is known of the document stands as XMP beside the properties (ISO
16684-1) and says the same, and every carried file is associated with the document (ISO 19005-3, annex E).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from hashlib import md5
from html import escape
from pathlib import PurePosixPath

import pikepdf
from pikepdf import Array, Dictionary, Name, Stream, String

from valvelab.places import resources
from valvelab.report.page_model import Attachment

LANGUAGE = "en-GB"
MEDIA_TYPES = {
    ".csv": "text/csv", ".txt": "text/plain", ".smd": "text/plain", ".toml": "application/toml",
    ".json": "application/json", ".x3p": "application/zip",
    ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    ".ods": "application/vnd.oasis.opendocument.spreadsheet",
}  # fmt: skip
ANY_TYPE = "application/octet-stream"
_SRGB = "sRGB IEC61966-2.1"
_XMP = """<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>
<x:xmpmeta xmlns:x="adobe:ns:meta/">
  <rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
<rdf:Description {namespaces} rdf:about="">
<pdfaid:part>3</pdfaid:part><pdfaid:conformance>B</pdfaid:conformance>
<dc:format>application/pdf</dc:format>
<dc:language><rdf:Bag><rdf:li>{language}</rdf:li></rdf:Bag></dc:language>
<dc:title><rdf:Alt><rdf:li xml:lang="x-default">{Title}</rdf:li></rdf:Alt></dc:title>
<dc:creator><rdf:Seq><rdf:li>{Author}</rdf:li></rdf:Seq></dc:creator>
<dc:description><rdf:Alt><rdf:li xml:lang="x-default">{Subject}</rdf:li></rdf:Alt></dc:description>
<pdf:Producer>{Producer}</pdf:Producer>
<xmp:CreatorTool>{Creator}</xmp:CreatorTool>
<xmp:CreateDate>{written}</xmp:CreateDate><xmp:ModifyDate>{written}</xmp:ModifyDate>
<xmp:MetadataDate>{written}</xmp:MetadataDate>
</rdf:Description></rdf:RDF>
</x:xmpmeta>

<?xpacket end="w"?>
"""
_NAMESPACES = {
    "dc": "http://purl.org/dc/elements/1.1/", "pdf": "http://ns.adobe.com/pdf/1.3/",
    "xmp": "http://ns.adobe.com/xap/1.0/", "pdfaid": "http://www.aiim.org/pdfa/ns/id/",
}  # fmt: skip


def pdf_date(written: str) -> str:
    """A time as a PDF's property (ISO 32000-1, 7.9.4); `written` is ISO 8601 in UTC to the second."""
    return "D:" + written.translate({ord(sign): None for sign in "-:T"}).replace("Z", "+00'00'")


def time_stated(date: str) -> str:
    """The time that a PDF's property states, as ISO 8601; empty for any other form than `pdf_date` gives."""
    digits = date[2:16]
    parts = digits[:4], digits[4:6], digits[6:8], digits[8:10], digits[10:12], digits[12:]
    told = "{}-{}-{}T{}:{}:{}Z".format(*parts)
    return told if digits.isascii() and digits.isdigit() and pdf_date(told) == date else ""


def dress(pdf: pikepdf.Pdf, properties: Mapping[str, str], written: str, attachments: Iterable[Attachment]) -> None:
    """Put properties, metadata, colour profile and carried files into a drawn PDF; `written`: when, ISO 8601 in UTC."""
    plain = {key: "".join(sign if sign.isprintable() else " " for sign in text) for key, text in properties.items()}
    date = pdf_date(written)
    dated = {**plain, "CreationDate": date, "ModDate": date}
    pdf.trailer.Info = pdf.make_indirect(Dictionary({f"/{key}": String(text) for key, text in dated.items()}))
    namespaces = " ".join(f'xmlns:{name}="{place}"' for name, place in _NAMESPACES.items())
    told = {key: escape(text, quote=False) for key, text in plain.items()}
    xmp = _XMP.format(language=LANGUAGE, written=written, namespaces=namespaces, **told)
    root = pdf.Root
    root.Metadata = pdf.make_stream(xmp.encode(), Type=Name.Metadata, Subtype=Name.XML)
    root.Lang = String(LANGUAGE)
    root.ViewerPreferences = Dictionary(DisplayDocTitle=True)
    profile = pdf.make_stream((resources() / "srgb.icc").read_bytes(), N=3)
    intent = Dictionary(
        Type=Name.OutputIntent, S=Name.GTS_PDFA1, OutputConditionIdentifier=_SRGB, Info=_SRGB, DestOutputProfile=profile
    )
    root.OutputIntents = Array([intent])
    rows = [(row.name, _associated(pdf, row, date)) for row in sorted(attachments, key=lambda row: row.name)]
    if rows:
        root.Names = Dictionary(EmbeddedFiles=Dictionary(Names=Array([one for row in rows for one in row])))
        root.AF = Array([spec for _, spec in rows])


def _associated(pdf: pikepdf.Pdf, row: Attachment, date: str) -> pikepdf.Object:
    content: Stream = pdf.make_stream(
        row.content,
        Type=Name.EmbeddedFile,
        Subtype=Name("/" + MEDIA_TYPES.get(PurePosixPath(row.name).suffix.lower(), ANY_TYPE)),
        Params=Dictionary(
            Size=len(row.content),
            CheckSum=String(md5(row.content, usedforsecurity=False).digest()),
            CreationDate=date,
            ModDate=date,
        ),
    )
    spec = Dictionary(
        Type=Name.Filespec,
        F=row.name,
        UF=row.name,
        EF=Dictionary(F=content, UF=content),
        AFRelationship=Name("/" + row.relation),
        Desc=row.note,
    )
    return pdf.make_indirect(spec)
