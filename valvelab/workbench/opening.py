"""What was opened last comes to the front: in its bay, and before others of its kind."""

from __future__ import annotations

from collections.abc import Collection

from valvelab.workbench import bays, edits
from valvelab.workbench.document import Document
from valvelab.workbench.nominals import nominals

_SAY_OF_WHAT = frozenset({"spec", "instrument card"})
"""Kinds that are used with what they speak of."""
_NO_PARTS = _SAY_OF_WHAT | {"adopted uncertainty"}
"""Kinds that are used beside others: opening one brings no bay to the front."""


def arrived(document: Document, opened: Collection[str]) -> frozenset[str]:
    """Those of the files opened together that were read by now; none while one of them still is to be read."""
    files = [file for file in document.files if file.path in opened]
    contents = [document.content(file) for file in files]
    if any(content is None for content in contents):
        return frozenset()
    return frozenset(
        file.path for file, content in zip(files, contents, strict=True) if content and not content.preview
    )


def bring_forward(document: Document, paths: Collection[str]) -> Document:
    """The document with files opened together in use, the first of each kind, and a bay in front that takes one.

    A spec is chosen by what it speaks of, a card by the instrument it names, and a nominal that a spec names is no
    part: none comes forward. An adopted uncertainty is used from now on, wherever that is.
    """
    kept_back = nominals(document)
    front: dict[str, str] = {}
    for file in document.files:
        content = document.content(file)
        if file.path in paths and file.path not in kept_back and content is not None and content.value is not None:
            front.setdefault(content.kind, file.path)
    for kind, path in front.items():
        if kind in _SAY_OF_WHAT:
            continue
        used = document.in_use(kind)
        if used is not None and used.path != path:
            document = edits.use_file(document, path)
    takers = [bay.name for kind in front if kind not in _NO_PARTS for bay in bays.takers(kind)]
    return edits.go_to_bay(document, takers[0]) if takers and document.bay not in takers else document
