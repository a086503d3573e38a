"""Certificates taken apart and changed by another library than the program's own."""

from __future__ import annotations

import io
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path

from pypdf import PdfReader, PdfWriter

WRITTEN = datetime(2026, 3, 6, 17, 4, 5, tzinfo=UTC)
"""When the certificates of these tests are written."""


def carried_files(paper: Path | bytes) -> dict[str, bytes]:
    """The files a certificate carries, by name."""
    reader = PdfReader(io.BytesIO(paper) if isinstance(paper, bytes) else paper)
    return {name: parts[0] for name, parts in reader.attachments.items()}


def page_texts(paper: Path | bytes) -> list[str]:
    """What each page says, in drawing order."""
    return [page.extract_text() for page in PdfReader(io.BytesIO(paper) if isinstance(paper, bytes) else paper).pages]


def with_files(paper: Path, target: Path, changes: Mapping[str, bytes | None]) -> Path:
    """A copy of a certificate whose carried files were changed; None leaves one out."""
    reader = PdfReader(paper)
    writer = PdfWriter()
    for page in reader.pages:
        writer.add_page(page)
    for name, content in {**carried_files(paper), **changes}.items():
        if content is not None:
            writer.add_attachment(name, content)
    writer.write(target)
    return target
