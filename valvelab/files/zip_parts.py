"""Parts of a foreign zip container, in memory: every fault of a damaged one is one refusal.

What a zip reader raises on damaged bytes is not a short list (bad directory, negative offsets, each packing's own
errors), so every exception of it counts as a broken container.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field

from valvelab.errors import BadFile, ValvelabError
from valvelab.files.contents import MAX_UNPACKED_BYTES, Contents

MAX_PARTS = 1000
STAMP = (1980, 1, 1, 0, 0, 0)
"""The date of every part that is written, so that the same parts give the same bytes."""


def packed(parts: Mapping[str, bytes]) -> bytes:
    """A zip container of these parts in their order: the same parts give the same bytes."""
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w") as container:
        for name, content in parts.items():
            container.writestr(zipfile.ZipInfo(name, STAMP), content, zipfile.ZIP_DEFLATED)
    return target.getvalue()


@contextmanager
def refusing_faults(file: str, place: str, found: str, wanted: str) -> Iterator[None]:
    """Turn whatever a zip reader raises inside into BadFile; refusals of our own pass."""
    try:
        yield
    except ValvelabError:
        raise
    except Exception as error:  # noqa: BLE001 - see the head of this module
        raise BadFile(file, place, f"{found} ({said(error)})", wanted) from None


def said(error: BaseException) -> str:
    """What a library says of a file, in one short line."""
    return " ".join(str(error).split())[:120] or type(error).__name__


def part_names(data: bytes) -> tuple[str, ...] | None:
    """Names of all parts of a zip container, folders with `/`; None for bytes that are none."""
    try:
        with refusing_faults("", "", "", ""), zipfile.ZipFile(io.BytesIO(data)) as parts:
            return tuple(map(plain_name, parts.namelist()))
    except BadFile:
        return None


def plain_name(name: str) -> str:
    r"""A part's name with `/` between folders; some writers leave `\` or lead with `./`."""
    return name.strip().replace("\\", "/").removeprefix("./").lstrip("/")


@dataclass(slots=True)
class ZipParts:
    """A container's parts, unpacked one at a time against one budget; `wanted` says what was hoped for."""

    file: str
    wanted: str
    archive: zipfile.ZipFile
    entries: dict[str, zipfile.ZipInfo]
    spent: int = field(default=0)

    @classmethod
    def of(cls, contents: Contents, wanted: str) -> ZipParts:
        """Open a container; refuses a broken one and one of very many parts."""
        file = contents.file
        with refusing_faults(file, "", "a broken zip container", wanted):
            archive = zipfile.ZipFile(io.BytesIO(contents.data))
            listed = archive.infolist()
        if len(listed) > MAX_PARTS:
            raise BadFile(file, "", f"{len(listed)} parts", f"at most {MAX_PARTS}")
        return cls(file, wanted, archive, {plain_name(entry.filename): entry for entry in listed})

    def folder_of(self, name: str) -> str:
        """The folder ("" or ending in `/`) nearest the top that holds a part of this name; refuses two alike."""
        found = sorted((key.count("/"), key.removesuffix(name)) for key in self.entries if _last(key) == name)
        if not found:
            raise BadFile(self.file, "", f"no part {name!r}", self.wanted)
        if len(found) > 1 and found[0][0] == found[1][0]:
            raise BadFile(self.file, "", f"{name} in {found[0][1]} and in {found[1][1]}", "one")
        return found[0][1]

    def part(self, name: str) -> bytes:
        """One part's bytes; refuses it when missing, encrypted, broken, or beyond what is left of the limit."""
        entry = self.entries.get(plain_name(name))
        if entry is None:
            raise BadFile(self.file, "", f"no part {plain_name(name)!r}", self.wanted)
        left = MAX_UNPACKED_BYTES - self.spent
        with (
            refusing_faults(self.file, plain_name(name), "a part that can't be unpacked", self.wanted),
            self.archive.open(entry) as stream,
        ):
            data = stream.read(left + 1)
        if len(data) > left:
            limit = f"{MAX_UNPACKED_BYTES >> 20} MB"
            raise BadFile(self.file, plain_name(name), f"more than {limit} once unpacked", f"at most {limit}")
        self.spent += len(data)
        return data


def _last(name: str) -> str:
    return name.rpartition("/")[2]
