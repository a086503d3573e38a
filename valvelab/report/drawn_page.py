"""Holds what a certificate shows against the same certificate drawn again: pages, properties, all that a reader opens.

Both files are compared by what they mean, object by object, so that another packing program or version of it does not
matter; `exact` False lets coordinates and printed numbers differ by rounding, as between machines.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping

from pikepdf import Array, Dictionary, Object, Stream, String

from valvelab.records.certificate_result import Difference
from valvelab.records.signing_key import FINGERPRINT, SIGNED_WITH
from valvelab.report.drawing_steps import first_difference
from valvelab.report.page_model import Certificate
from valvelab.report.pdf_file import Budget, NotReadable, PdfFile, Value, dictionary, told, unpacked, written

NOT_OF_A_PAGE = {"/Parent", "/Type"}
PACKING = {"/Filter", "/Length", "/DecodeParms"}
SHOWN = 60
_SIGNED = re.compile(f"{SIGNED_WITH} {FINGERPRINT}".encode())
Keys = Mapping[str, Value] | Object
WORDS = {
    "Contents": "what is drawn", "Annots": "annotations", "Resources": "fonts and images",
    "MediaBox": "size of the sheet", "CropBox": "cropped", "Rotate": "rotated", "UserUnit": "scaled", "AA": "actions",
    "OpenAction": "an action on opening", "AcroForm": "a form", "Names": "names", "Outlines": "outline",
    "Metadata": "metadata", "Lang": "language",
}  # fmt: skip
PLAIN_PAGE = {
    "/Type", "/Parent", "/Contents", "/MediaBox", "/Resources", "/Rotate", "/Trans", "/StructParents", "/Tabs",
}  # fmt: skip
PLAIN_CATALOGUE = {
    "/Type", "/Pages", "/PageMode", "/Names", "/Lang", "/Outlines", "/Metadata", "/MarkInfo", "/StructTreeRoot", "/AF",
    "/OutputIntents", "/ViewerPreferences",
}  # fmt: skip
PLAIN_RESOURCES = {"/Font", "/ProcSet", "/ExtGState"}


def compare_drawn(stated: PdfFile, drawn: PdfFile, *, exact: bool) -> Iterator[Difference]:
    """Everywhere that `stated` shows or holds something else than `drawn`."""
    yield from odd(stated)
    one, other = stated.pages(), drawn.pages()
    if len(one) != len(other):
        yield Difference(where="pages", stated=str(len(one)), recomputed=str(len(other)))
    walk = _Walk(exact=exact)
    # what is told of the document leads to its pages, which are compared by themselves
    walk.seen.update(zip(stated.page_places(), drawn.page_places(), strict=False))
    for number, (mine, yours) in enumerate(zip(one, other, strict=False), start=1):
        yield from walk.keys(mine, yours, f"page {number}", NOT_OF_A_PAGE)
    yield from walk.keys(stated.catalogue, drawn.catalogue, "document", {"/Pages"})
    yield from walk.keys(stated.properties, drawn.properties, "document property")


def odd(file: PdfFile) -> Iterator[Difference]:
    """What no certificate is written with: later revisions, bytes after the end, objects that nothing shows."""
    for what in file.oddities:
        yield Difference(where="file", stated=what, recomputed="nothing of the kind")
    if loose := len(file.objects.keys() - _reached(file)):
        yield Difference(where="file", stated=f"{loose} objects that nothing refers to", recomputed="none")


def _reached(file: PdfFile) -> set[tuple[int, int]]:
    seen: set[tuple[int, int]] = set()
    waiting: list[Value] = list(file.pdf.trailer.values())
    while waiting:
        value = waiting.pop()
        if not isinstance(value, Object) or (value.is_indirect and value.objgen in seen):
            continue
        seen.add(value.objgen)
        if isinstance(value, Dictionary | Stream):
            waiting.extend(value.values())
        elif isinstance(value, Array):
            waiting.extend(value)
    return seen


class _Walk:
    """Two files walked together."""

    def __init__(self, *, exact: bool) -> None:
        self.exact = exact
        self.seen: set[tuple[Value, Value]] = set()
        self.budgets = Budget(), Budget()

    def keys(self, one: Keys, other: Keys, where: str, left_out: Iterable[str] = ()) -> Iterator[Difference]:
        """Differences of two dictionaries, one for each key."""
        mine, yours = dict(one.items()), dict(other.items())
        for key in sorted({*mine, *yours} - set(left_out)):
            compare = self._contents if key == "/Contents" else self.differs
            found = compare(mine.get(key), yours.get(key), f"{where}: {_word(key)}")
            if found is not None:
                yield found

    def differs(self, a: Value, b: Value, where: str) -> Difference | None:
        """The first difference of two values, None where they mean the same."""
        if isinstance(a, Object) and isinstance(b, Object) and a.is_indirect and b.is_indirect:
            pair = a.objgen, b.objgen
            if pair in self.seen:
                return None
            self.seen.add(pair)
        if isinstance(a, Stream) and isinstance(b, Stream):
            return self._streams(a, b, where)
        if isinstance(a, Dictionary) and isinstance(b, Dictionary):
            return self._entries(a, b, where)
        if isinstance(a, Array) and isinstance(b, Array) and len(a) == len(b):
            return next((bad for x, y in zip(a, b, strict=True) if (bad := self.differs(x, y, where))), None)
        same = type(a) is type(b) and (written(a) == written(b) or _same_text(a, b))
        return None if same else Difference(where=where, stated=_short(a), recomputed=_short(b))

    def _entries(self, one: Object, other: Object, where: str) -> Difference | None:
        mine, yours = dict(one.items()), dict(other.items())
        keys = sorted({*mine, *yours} - (PACKING if isinstance(one, Stream) else set()))
        return next((bad for key in keys if (bad := self.differs(mine.get(key), yours.get(key), where))), None)

    def _streams(self, one: Stream, other: Stream, where: str) -> Difference | None:
        bad = self._entries(one, other, where)
        if bad is not None:
            return bad
        try:
            a, b = unpacked(one, self.budgets[0]), unpacked(other, self.budgets[1])
        except NotReadable as error:
            return Difference(where=where, stated=str(error), recomputed="a whole stream")
        if a == b:
            return None
        return Difference(where=where, stated=f"{len(a)} bytes", recomputed=f"{len(b)} bytes, others")

    def _contents(self, one: Value, other: Value, where: str) -> Difference | None:
        try:
            a, b = self._drawing(one, 0), self._drawing(other, 1)
        except NotReadable as error:
            return Difference(where=where, stated=str(error), recomputed="a whole stream")
        bad = first_difference(a, b, exact=self.exact)
        return None if bad is None else Difference(where=where, stated=bad[0], recomputed=bad[1])

    def _drawing(self, value: Value, number: int) -> bytes:
        streams = list(value) if isinstance(value, Array) else [value]
        if not all(isinstance(stream, Stream) for stream in streams):
            raise NotReadable("no drawing")
        return b"\n".join(unpacked(stream, self.budgets[number]) for stream in streams)


def _same_text(a: Value, b: Value) -> bool:
    """Whether two texts read the same; earlier papers have in UTF-16 what PDF's own encoding has too."""
    if not (isinstance(a, String) and isinstance(b, String)):
        return False
    return str(a) == str(b) != "" and "\ufffd" not in str(a)


def _word(key: str) -> str:
    return WORDS.get(key[1:], _shown(key[1:]))


def _short(value: Value) -> str:
    return _shown("empty" if isinstance(value, Dictionary) and not len(value) else told(value))


def _shown(text: str) -> str:
    text = "".join(sign if sign.isprintable() else "·" for sign in text)
    return text if len(text) <= SHOWN else text[: SHOWN - 1] + "…"


def foreign(file: PdfFile, certificate: Certificate) -> Iterator[Difference]:
    """What a certificate of any version never shows, pages without the certificate's number, a signer it doesn't have.

    For a paper that can't be drawn again here: it finds what was added to it, not what was drawn otherwise.
    """
    yield from odd(file)
    nothing = "nothing of the kind"
    for key in sorted(set(file.catalogue.keys()) - PLAIN_CATALOGUE):
        yield Difference(where=f"document: {_word(key)}", stated="present", recomputed=nothing)
    for key in sorted(set(dictionary(file.catalogue.get("/Names")).keys()) - {"/EmbeddedFiles"}):
        yield Difference(where=f"document: {WORDS['Names']}", stated=_shown(key[1:]), recomputed=nothing)
    budget, checked = Budget(), Budget()
    for stream in file.objects.values():
        if isinstance(stream, Stream):
            unpacked(stream, checked)  # packed streams end with a check sum: a damaged font or page is refused here
    for count, page in enumerate(file.pages(), start=1):
        added = {*page} - PLAIN_PAGE | ({"/Rotate"} if page.get("/Rotate", 0) != 0 else set())
        added |= {*dictionary(page.get("/Resources")).keys()} - PLAIN_RESOURCES
        for key in sorted(added):
            yield Difference(where=f"page {count}: {_word(key)}", stated="present", recomputed=nothing)
        drawing = page.get("/Contents")
        words = unpacked(drawing, budget) if isinstance(drawing, Stream) else b""
        if certificate.number.encode() not in words:
            yield Difference(
                where=f"page {count}", stated=f"not certificate {certificate.number}", recomputed="its number"
            )
        if certificate.signer is None and _SIGNED.search(words):
            yield Difference(where=f"page {count}", stated=SIGNED_WITH, recomputed="no signer")
