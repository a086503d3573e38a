"""The files a certificate carries: put in, and taken out again without trusting them."""

from __future__ import annotations

import io
import logging
from pathlib import Path, PurePosixPath

from pypdf import PdfReader, PdfWriter
from pypdf.errors import PyPdfError
from pypdf.generic import TextStringObject

from valvelab.errors import BadFile
from valvelab.report.page_model import Certificate

LARGEST = 64_000_000


def attach(pdf: bytes, certificate: Certificate) -> bytes:
    """The PDF with the certificate's files embedded; the same input gives the same bytes."""
    if not certificate.attachments:
        return pdf
    writer = PdfWriter(clone_from=io.BytesIO(pdf))
    for attachment in sorted(certificate.attachments, key=lambda row: row.name):
        embedded = writer.add_attachment(attachment.name, attachment.content)
        if attachment.note:
            embedded.description = TextStringObject(attachment.note)
    target = io.BytesIO()
    writer.write(target)
    return target.getvalue()


def carried_files(path: Path) -> dict[str, bytes]:
    """Files carried by a PDF, by name.

    Refuses what is no PDF, carries nothing or too much, or has a name that leaves its folder.
    """
    logging.getLogger("pypdf").setLevel(logging.CRITICAL)  # its remarks would stand beside our one sentence
    try:
        reader = PdfReader(path, strict=False)
        files = {name: contents[0] for name, contents in reader.attachments.items()}
    except (PyPdfError, ValueError, KeyError, RecursionError, TypeError, AttributeError) as error:
        raise BadFile(path.name, "", f"no readable PDF ({error})", "a certificate written by valvelab") from None
    if not files:
        raise BadFile(path.name, "attachments", "none", "the inputs that a valvelab certificate carries")
    if sum(map(len, files.values())) > LARGEST:
        raise BadFile(path.name, "attachments", "over 64 MB", "at most 64 MB")
    for name in files:
        if not is_inside(name):
            raise BadFile(path.name, "attachments", f"the name {name!r}", "a relative name")
    return files


def is_inside(name: str) -> bool:
    """Whether a name stays within the folder it is put in."""
    parts = PurePosixPath(name).parts
    return bool(parts) and not name.startswith("/") and ".." not in parts and not {"\\", ":", "\0"} & set(name)


def page_texts(pdf: Path | io.BytesIO) -> list[str]:
    """What each page says, in drawing order."""
    return [page.extract_text() for page in PdfReader(pdf, strict=False).pages]
