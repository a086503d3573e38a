"""What the paper of the bay in front is called, where it is chosen and as a file."""

from __future__ import annotations

from pathlib import Path

from valvelab.language import marked
from valvelab.workbench import bays
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
_NONE = marked("certificate")


def paper(document: Document) -> str:
    """What the paper of the bay in front is."""
    bay = bays.by_name(document.bay)
    value = None if bay is None else bays.answer_value(document, bay)
    if bay is None or value is None:
        return _NONE
    use = bays.work_of(bay.name).paper(document, value) or bay.name
    return CERTIFICATES.get(use) or f"{bay.title.lower()} {_NONE}"


def called(document: Document) -> tuple[str, str]:
    """What the paper of the bay in front is, and the name of its file: that of its own readings, and what it is."""
    what = paper(document)
    return what, f"{own_name(document) if what != _NONE else ''} {what}.pdf".lstrip()


def page_in_front(document: Document) -> str:
    """The item in front whose own page is what is printed, where the bay has such pages; else empty."""
    bay = bays.by_name(document.bay)
    value = None if bay is None else bays.answer_value(document, bay)
    return "" if bay is None or value is None else bays.work_of(bay.name).page(document, value)


def own_name(document: Document) -> str:
    """The name of the readings that the bay in front works on, without its ending; empty for what is in no file."""
    bay = bays.by_name(document.bay)
    used = () if bay is None else bays.files_in_use(document)
    files = (file for file in document.files if file.path in used)
    own = (file for file in files if (content := document.content(file)) and content.kind not in BESIDE)
    takes = () if bay is None else bay.takes
    ordered = sorted(own, key=lambda file: _rank(document, file, takes))
    return Path(ordered[0].name).stem if ordered else ""


def _rank(document: Document, file: BenchFile, takes: tuple[str, ...]) -> int:
    content = document.content(file)
    kind = "" if content is None else content.kind
    return takes.index(kind) if kind in takes else len(takes)
