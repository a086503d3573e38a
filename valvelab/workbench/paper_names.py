"""What the paper of the bay in front is called, where it is chosen and as a file."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from valvelab.language import marked
from valvelab.workbench import bays
from valvelab.workbench.bay import Bay
from valvelab.workbench.behind import BESIDE
from valvelab.workbench.document import BenchFile, Document

CERTIFICATES: dict[str, str] = {
    "lobes": marked("camshaft certificate"), "shaft": marked("shaft form certificate"),
    "texture": marked("surface texture certificate"), "springs": marked("valve springs certificate"),
    "sets": marked("matched spring sets certificate"), "shims": marked("spring shim plan certificate"),
    "lash": marked("valve lash certificate"), "phasing": marked("phasing certificate"),
    "motion": marked("valve motion certificate"), "compare": marked("before and after certificate"),
    "liftcheck": marked("lift check certificate"), "gauge": marked("gauge study certificate"),
}  # fmt: skip
"""What the paper of a use is called where it is chosen, and its file."""
NAMING = frozenset({"lobes", "shaft", "springs", "sets", "shims", "lash", "phasing", "motion", "compare"})
"""Uses whose paper says which part it is of; a surface, a gauge and a car are named in their own words."""
_NONE = marked("certificate")


@dataclass(frozen=True, slots=True)
class Named:
    """What the readings of the paper in front say of their part; empty where nothing. use: whose paper it is."""

    use: str
    file: str
    part: str = ""
    serial: str = ""


def paper(document: Document) -> str:
    """What the paper of the bay in front is."""
    found = _use_in_front(document)
    return _NONE if found is None else CERTIFICATES.get(found[1]) or f"{found[0].title.lower()} {_NONE}"


def called(document: Document) -> tuple[str, str]:
    """What the paper of the bay in front is, and the name of its file: that of its own readings, and what it is."""
    what = paper(document)
    return what, f"{own_name(document) if what != _NONE else ''} {what}.pdf".lstrip()


def page_in_front(document: Document) -> str:
    """The item in front whose own page is what is printed, where the bay has such pages; else empty."""
    bay, value = bays.in_front(document)
    return "" if bay is None or value is None else bays.work_of(bay.name).page(document, value)


def own_name(document: Document) -> str:
    """The name of the readings that the bay in front works on, without its ending; empty for what is in no file."""
    own = _own_files(document)
    return Path(own[0].name).stem if own else ""


def part_named(document: Document) -> Named | None:
    """What the readings in front say of their part; None where the paper in front names none, or there is none."""
    from valvelab.workbench.phasing_bay import sheet_in_front

    found = _use_in_front(document)
    use = "" if found is None else found[1]
    if use not in NAMING:
        return None
    if use == "phasing":
        sheet = sheet_in_front(document)
        return Named(use, own_name(document), sheet.part or "", sheet.serial or "")
    for file in _own_files(document):
        content = document.content(file)
        read = None if content is None else content.value
        read = read[0] if isinstance(read, tuple) and read else read
        remarks = getattr(read, "remarks", {})
        told = {name: getattr(read, name, None) or remarks.get(name) or "" for name in ("part", "serial")}
        if any(told.values()):
            return Named(use, file.name, **told)
    return Named(use, own_name(document))


def _use_in_front(document: Document) -> tuple[Bay, str] | None:
    """The bay in front, and the use whose paper what it has worked out is."""
    bay, value = bays.in_front(document)
    return None if bay is None or value is None else (bay, bays.work_of(bay.name).paper(document, value) or bay.name)


def _own_files(document: Document) -> list[BenchFile]:
    """The files in use at the bay in front that hold readings, the one that a paper is named for first."""
    bay = bays.by_name(document.bay)
    used = () if bay is None else bays.files_in_use(document)
    files = (file for file in document.files if file.path in used)
    own = (file for file in files if (content := document.content(file)) and content.kind not in BESIDE)
    takes = () if bay is None else bay.takes
    return sorted(own, key=lambda file: _rank(document, file, takes))


def _rank(document: Document, file: BenchFile, takes: tuple[str, ...]) -> int:
    content = document.content(file)
    kind = "" if content is None else content.kind
    return takes.index(kind) if kind in takes else len(takes)
