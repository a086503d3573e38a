"""`verify` as an attacker, a damaged disk and an earlier version would try it."""

from __future__ import annotations

import io
import json
import os
import re
import subprocess
import sys
import zlib
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pikepdf
import pytest
from hypothesis import given
from hypothesis import strategies as st
from papers import WRITTEN, carried_files, with_files
from pypdf import PdfReader, PdfWriter
from pypdf.annotations import FreeText
from pypdf.generic import (
    ArrayObject,
    DecodedStreamObject,
    DictionaryObject,
    FloatObject,
    IndirectObject,
    NameObject,
    NumberObject,
    PdfObject,
    RectangleObject,
    TextStringObject,
)

from valvelab.cli.main import main
from valvelab.errors import BadFile, ValvelabError
from valvelab.job import gauge, parts
from valvelab.job import verify as verifying
from valvelab.job.verify import verify_bytes
from valvelab.places import sample_profiles
from valvelab.records.certificate_result import VerifyResult
from valvelab.report import pdf_file
from valvelab.report.drawing_steps import first_difference
from valvelab.report.pdf_file import seal_holds

HERE = Path(__file__).parent
EARLIER = sorted((HERE / "certificates_0_1_0").glob("*.pdf"))
STUDY = """part,appraiser,trial,reading [mm]
1,A,1,0.021
1,A,2,0.022
1,B,1,0.021
1,B,2,0.023
2,A,1,0.034
2,A,2,0.033
2,B,1,0.035
2,B,2,0.034
3,A,1,0.027
3,A,2,0.028
3,B,1,0.027
3,B,2,0.027
"""


@pytest.fixture(scope="module")
def paper(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small certificate."""
    folder = tmp_path_factory.mktemp("study")
    (folder / "study.csv").write_text(STUDY, encoding="utf-8")
    target = folder / "c.pdf"
    assert main(["certify", str(folder / "study.csv"), "--out", str(target), "--date", "2026-03-05", "--quiet"]) == 0
    return target


def answer(data: bytes) -> VerifyResult | str:
    """What verify says; a refusal as its one sentence."""
    try:
        return verify_bytes(data, "c.pdf")
    except ValvelabError as error:
        sentence = str(error)
    assert "\n" not in sentence
    assert "c.pdf" in sentence
    return sentence


def changed(paper: Path, change: Callable[[PdfWriter], object]) -> bytes:
    """The certificate after another program changed it."""
    writer = PdfWriter(clone_from=paper)
    change(writer)
    target = paper.parent / "changed.pdf"
    writer.write(target)
    return target.read_bytes()


def added(writer: PdfWriter, made: PdfObject) -> IndirectObject:
    return writer._add_object(made)  # noqa: SLF001 - the writer has no public way


def stream(writer: PdfWriter, data: bytes, **keys: object) -> object:
    made = DecodedStreamObject()
    made.set_data(data)
    made.update({NameObject(f"/{key}"): value for key, value in keys.items()})
    return added(writer, made)


def painted(writer: PdfWriter) -> None:
    page = writer.pages[0]
    contents = page.get_contents()
    assert contents is not None
    page[NameObject("/Contents")] = stream(writer, contents.get_data() + b"\n1 1 1 rg 50 600 400 100 re f")


def another_glyph(writer: PdfWriter) -> None:
    font = next(iter(writer.pages[0]["/Resources"]["/Font"].values())).get_object()  # type: ignore[index]
    drawn = font["/FontDescriptor"]
    data = bytearray(drawn["/FontFile2"].get_data())
    data[5000] ^= 1
    drawn[NameObject("/FontFile2")] = stream(writer, bytes(data), Length1=NumberObject(len(data)))


def script(writer: PdfWriter) -> DictionaryObject:
    return DictionaryObject({NameObject("/S"): NameObject("/JavaScript"), NameObject("/JS"): TextStringObject("x()")})


def page_key(name: str, value: object) -> Callable[[PdfWriter], object]:
    return lambda writer: writer.pages[0].__setitem__(NameObject(f"/{name}"), value)


CHANGES: dict[str, tuple[Callable[[PdfWriter], object], str]] = {
    "only saved again": (lambda _: None, "file"),
    "a box over the verdict": (painted, "page 1: what is drawn"),
    "cropped": (page_key("CropBox", RectangleObject((0, 0, 300, 300))), "page 1: cropped"),
    "another sheet": (page_key("MediaBox", RectangleObject((0, 0, 300, 300))), "page 1: size of the sheet"),
    "turned": (lambda writer: writer.pages[0].rotate(90), "page 1: rotated"),
    "scaled": (page_key("UserUnit", FloatObject(2)), "page 1: scaled"),
    "a stamp": (lambda writer: writer.add_annotation(0, FreeText(text="ACCEPTED", rect=(50, 550, 200, 650))),
                "page 1: annotations"),
    "a glyph bent": (another_glyph, "page 1: fonts and images"),
    "another title": (lambda writer: writer.add_metadata({"/Title": "Other"}), "document property: Title"),
    "a property more": (lambda writer: writer.add_metadata({"/Approved": "yes"}), "document property: Approved"),
    "script on opening": (lambda writer: writer.root_object.__setitem__(NameObject("/OpenAction"), script(writer)),
                          "document: an action on opening"),
    "script by name": (lambda writer: writer.root_object["/Names"].__setitem__(NameObject("/JavaScript"),
                       DictionaryObject({NameObject("/Names"): ArrayObject([script(writer)])})), "document: names"),
    "an outline": (lambda writer: writer.add_outline_item(title="x", page_number=0), "document: outline"),
    "a page more": (lambda writer: writer.add_blank_page(), "pages"),
    "a file more": (lambda writer: writer.add_attachment("notes.txt", b"x"), "attachments"),
}  # fmt: skip


def test_the_paper_as_written_agrees(paper: Path) -> None:
    found = verify_bytes(paper.read_bytes(), "c.pdf")
    assert (found.agrees, found.drawn_page_agrees, found.differing) == (True, True, ())
    assert found.signature.model_dump() == {"state": "none", "name": None, "fingerprint": None}


@pytest.mark.parametrize("name", CHANGES)
def test_what_another_program_changed_is_named(paper: Path, name: str) -> None:
    change, where = CHANGES[name]
    found = answer(changed(paper, change))
    assert isinstance(found, VerifyResult)
    assert (found.agrees, found.drawn_page_agrees) == (False, False)
    assert where in {row.where for row in found.differing}


@pytest.mark.parametrize("name", [name for name in CHANGES if name != "only saved again"])
def test_a_forger_who_renews_the_identifier_is_found_too(
    paper: Path, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(verifying, "seal_holds", lambda _: True)
    found = answer(changed(paper, CHANGES[name][0]))
    assert isinstance(found, VerifyResult)
    assert not found.agrees
    assert CHANGES[name][1] in {row.where for row in found.differing}


def test_a_later_revision_is_named(paper: Path) -> None:
    data = paper.read_bytes()
    page, root, info = (re.search(rb"/%s (\d+) 0 R" % key, data) for key in (b"Contents", b"Root", b"Info"))
    assert page is not None
    assert root is not None
    assert info is not None
    over = b"1 1 1 rg 0 0 595 842 re f"
    body = b"%s 0 obj\n<</Length %d>>\nstream\n%s\nendstream\nendobj\n" % (page[1], len(over), over)
    table = b"xref\n%s 1\n%010d 00000 n \ntrailer\n<</Size 99 /Root %s 0 R /Info %s 0 R>>\nstartxref\n%d\n%%%%EOF\n"
    found = answer(data + body + table % (page[1], len(data), root[1], info[1], len(data) + len(body)))
    assert isinstance(found, VerifyResult)
    assert not found.agrees
    assert {"a revision appended after the certificate was written", "an object that stands twice"} <= {
        row.stated for row in found.differing
    }
    assert "page 1: what is drawn" in {row.where for row in found.differing}


def test_a_key_that_stands_twice_is_named(paper: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Readers differ in which of the two they take."""
    monkeypatch.setattr(verifying, "seal_holds", lambda _: True)
    data = paper.read_bytes()
    found = answer(data.replace(b"/MediaBox", b"/Rotate 0 /Rotate 0 /MediaBox", 1))
    assert isinstance(found, VerifyResult)
    assert not found.agrees
    assert any("duplicated key /Rotate" in row.stated for row in found.differing)


@pytest.mark.parametrize("tail", [b" ", b"\n", b"hello", b"%%EOF\n", b"\0" * 40])
def test_bytes_after_the_end_are_noticed(paper: Path, tail: bytes) -> None:
    found = answer(paper.read_bytes() + tail)
    assert isinstance(found, VerifyResult)
    assert not found.agrees


def test_a_changed_byte_anywhere_is_noticed(paper: Path) -> None:
    """One flipped bit, then cuts, doublings and swaps of all sizes."""
    data, chance = paper.read_bytes(), np.random.default_rng(29)
    for number in range(60):
        changed = bytearray(data)
        place, size = int(chance.integers(len(data))), int(chance.choice([1, 2, 8, 64, 1000]))
        if number < 30:
            changed[place] ^= 1 << int(chance.integers(8))
        elif number < 40:
            del changed[place : place + size]
        elif number < 50:
            changed[place:place] = chance.bytes(size)
        else:
            changed[place:place] = changed[place : place + size]
        found = answer(bytes(changed))
        assert isinstance(found, str) or not found.agrees, number


def test_the_identifier_is_the_sha_256_of_the_file(paper: Path) -> None:
    data = paper.read_bytes()
    assert seal_holds(data)
    for place in (20, len(data) // 2, len(data) - 10):
        assert not seal_holds(data[:place] + bytes([data[place] ^ 1]) + data[place + 1 :])


@pytest.mark.parametrize(
    "text",
    [
        b"[" * 60_000 + b"]" * 60_000,
        b'{"a":' * 60_000 + b"1" + b"}" * 60_000,
        b"",
        b"nothing",
        b'{"a": 1, "a": 2}',
        b"3",
    ],
)
def test_results_that_are_no_json_are_named(paper: Path, tmp_path: Path, text: bytes) -> None:
    found = answer(with_files(paper, tmp_path / "c.pdf", {"result-1-gauge.json": text}).read_bytes())
    assert isinstance(found, VerifyResult)
    assert not found.agrees


def test_one_name_for_two_files_is_refused(paper: Path) -> None:
    found = answer(changed(paper, lambda writer: writer.add_attachment("study.csv", b"part,appraiser\n")))
    assert isinstance(found, str)
    assert "'study.csv' twice" in found


@pytest.mark.parametrize("name", ["a/" * 2000 + "x", "../x", "/etc/x", "a\0b", "a\nb", "c:x", "x" * 300, "study.csv/x"])
def test_names_of_files_that_no_folder_holds_are_refused(paper: Path, tmp_path: Path, name: str) -> None:
    found = answer(with_files(paper, tmp_path / "c.pdf", {name: b"x"}).read_bytes())
    assert isinstance(found, str)
    assert len(found) < 300


def test_unpacking_stops_at_the_limit(paper: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Forty files of 2 MB each, packed to 2 kB, against a limit of 5 MB: the third is the last one unpacked."""
    seen: list[int] = []
    real = pdf_file.inflated

    def counted(data: bytes, budget: pdf_file.Budget) -> bytes:
        found = real(data, budget)
        seen.append(len(found))
        return found

    def bomb(writer: PdfWriter) -> None:
        names = writer.root_object["/Names"]["/EmbeddedFiles"]["/Names"]  # type: ignore[index]
        plain = DecodedStreamObject()
        plain.set_data(bytes(2_000_000))
        packed = added(writer, plain.flate_encode(9))
        for number in range(40):
            spec = DictionaryObject({
                NameObject("/F"): TextStringObject(f"z{number}"),
                NameObject("/EF"): DictionaryObject({NameObject("/F"): packed}),
            })  # fmt: skip
            names.extend([TextStringObject(f"z{number}"), added(writer, spec)])  # type: ignore[union-attr]

    data = changed(paper, bomb)
    monkeypatch.setattr(pdf_file, "inflated", counted)
    monkeypatch.setattr("valvelab.report.attachments.Budget", lambda: pdf_file.Budget(5_000_000))
    found = answer(data)
    assert isinstance(found, str)
    assert "once unpacked" in found
    assert sum(seen) < 5_000_000


def test_a_packed_table_of_objects_is_refused_before_it_is_unpacked() -> None:
    """A cross-reference stream of 1 GB, its type written with an escape."""
    packing = zlib.compressobj(9)
    table = b"".join([*(packing.compress(bytes(10_000_000)) for _ in range(100)), packing.flush()])
    head = b"%PDF-1.5\n1 0 obj\n<</Type/Catalog/Pages 1 0 R>>\nendobj\n"
    keys = b"<</Type/X#52ef/W[1 2 1]/Size 5/Root 1 0 R/Filter/FlateDecode/Length %d>>" % len(table)
    plain = b"xref\n0 1\n0000000000 65535 f \ntrailer\n<</Size 5/Root 1 0 R>>\n"
    whole = head + b"4 0 obj\n" + keys + b"\nstream\n" + table + b"\nendstream\nendobj\n" + plain
    found = answer(whole + b"startxref\n%d\n%%%%EOF\n" % len(head))
    assert found == (
        "c.pdf: found a PDF without a trailer, as other programs save it, expected a certificate as valvelab wrote it"
    )


def test_a_drawing_of_very_many_steps_is_compared_in_the_end(paper: Path) -> None:
    def steps(writer: PdfWriter) -> None:
        writer.pages[0][NameObject("/Contents")] = stream(writer, b"(a) Tj\n" * 300_000)

    found = answer(changed(paper, steps))
    assert isinstance(found, VerifyResult)
    assert "page 1: what is drawn" in {row.where for row in found.differing}


@pytest.mark.parametrize(
    "data",
    [
        b"", b"%PDF-1.4\n", b"%PDF-1.4\n" + b"1 0 obj\n" * 100_000, b"%PDF-1.4\n1 0 obj\n" + b"[" * 500_000,
        b"%PDF-1.4\n1 0 obj\n" + b"(" * 500_000, b"%PDF-1.4\n1 0 obj\n[" + b"1 " * 500_000,
        b"%PDF-1.4\n" + b"%\n" * 500_000, b"%PDF-1.4\n1" + b" " * 500_000,
        b"%PDF-1.4\nxref\n" + b"0 1\n0000000000 65535 f \n" * 20_000,
        b"%PDF-1.4\n1 0 obj\n<</Kids [1 0 R]>>\nendobj\ntrailer\n<</Root 1 0 R>>\n",
        b"%PDF-1.4\n1 0 obj\n<</Pages 1 0 R /Kids [1 0 R]>>\nendobj\ntrailer\n<</Root 1 0 R>>\n",
        b"%PDF-1.4\n" + b"1 0 obj <</Length 9>> stream\n" * 20_000,
        b"%PDF-1.4\n1 0 obj\n2 0 R\nendobj\n2 0 obj\n1 0 R\nendobj\ntrailer\n<</Root 1 0 R>>\n",
    ],
)  # fmt: skip
def test_what_is_no_certificate_is_one_sentence(data: bytes) -> None:
    assert isinstance(answer(data), str)


def _chain(pdf: pikepdf.Pdf, long: int) -> pikepdf.Object:
    last = pdf.make_indirect(pikepdf.Dictionary(S=pikepdf.Name.P, K=0))
    for _ in range(long):
        last = pdf.make_indirect(pikepdf.Dictionary(S=pikepdf.Name.Sect, K=pikepdf.Array([last])))
    return last


def _nested(deep: int) -> pikepdf.Array:
    value = pikepdf.Array([])
    for _ in range(deep):
        value = pikepdf.Array([value])
    return value


@cache
def _packed() -> bytes:
    """210 MB, packed."""
    packing = zlib.compressobj(1)
    return b"".join([*(packing.compress(bytes(10_000_000)) for _ in range(21)), packing.flush()])


def _bomb(pdf: pikepdf.Pdf) -> pikepdf.Object:
    made = pdf.make_stream(b"")
    made.write(_packed(), filter=pikepdf.Name.FlateDecode)
    return made


def _files(pdf: pikepdf.Pdf) -> pikepdf.Object:
    return pdf.Root.Names.EmbeddedFiles


def _in_a_circle(pdf: pikepdf.Pdf) -> None:
    group = pdf.Root.Names.EmbeddedFiles = pdf.make_indirect(_files(pdf))
    group.Kids = pikepdf.Array([group] * 3)


Hostile = Callable[[pikepdf.Pdf], object]
HOSTILE: dict[str, tuple[str, Hostile]] = {
    "structure within itself": ("document", lambda pdf: setattr(pdf.Root.StructTreeRoot, "K", pdf.Root.StructTreeRoot)),
    "structure without end": ("document", lambda pdf: setattr(pdf.Root.StructTreeRoot, "K", _chain(pdf, 5_000))),
    "structure a number": ("document", lambda pdf: setattr(pdf.Root, "StructTreeRoot", 3)),
    "nested associations": ("document", lambda pdf: setattr(pdf.Root, "AF", _nested(400))),
    "associated with itself": ("document", lambda pdf: setattr(pdf.Root, "AF", pikepdf.Array([pdf.Root]))),
    "outline in a circle": ("document", lambda pdf: setattr(pdf.Root.Outlines.First, "Next", pdf.Root.Outlines.First)),
    "a page that swells": ("page 1: what is drawn", lambda pdf: setattr(pdf.pages[0].obj, "Contents", _bomb(pdf))),
    "outline to another page": (
        "document: outline",
        lambda pdf: setattr(pdf.Root.Outlines.First, "Dest", pikepdf.Array([pdf.pages[-1].obj, pikepdf.Name.Fit])),
    ),
    "a size that is none": ("document", lambda pdf: setattr(_files(pdf).Names[1].EF.F.Params, "Size", 10**18)),
    "a date that is none": ("property", lambda pdf: setattr(pdf.docinfo, "CreationDate", pikepdf.Dictionary(a=1))),
    "a date without end": ("property", lambda pdf: setattr(pdf.docinfo, "CreationDate", pikepdf.String("9" * 10**6))),
    "names a number": ("names that are no list", lambda pdf: setattr(_files(pdf), "Names", 7)),
    "groups a number": ("names that are no list", lambda pdf: setattr(_files(pdf), "Kids", 7)),
    "groups in a circle": ("twice", _in_a_circle),
    "a file that swells": ("once unpacked", lambda pdf: setattr(_files(pdf).Names[1].EF, "F", _bomb(pdf))),
    "pages in a circle": ("Loop", lambda pdf: setattr(pdf.Root.Pages, "Kids", pikepdf.Array([pdf.Root.Pages]))),
}  # fmt: skip


@pytest.mark.parametrize("case", HOSTILE)
def test_what_a_reader_could_hang_or_choke_on_is_named(paper: Path, case: str) -> None:
    """Each is either named as what differs, or refused in one sentence."""
    said, change = HOSTILE[case]
    with pikepdf.open(paper) as pdf:
        change(pdf)
        target = io.BytesIO()
        pdf.save(target, object_stream_mode=pikepdf.ObjectStreamMode.disable, compress_streams=False)
    found = answer(target.getvalue())
    told = found if isinstance(found, str) else " ".join(row.where for row in found.differing)
    assert said in told
    assert len(told) < 2_000


@pytest.mark.parametrize("user", ["", "word"])
def test_an_encrypted_certificate_is_refused(paper: Path, user: str) -> None:
    target = io.BytesIO()
    with pikepdf.open(paper) as pdf:
        pdf.save(target, encryption=pikepdf.Encryption(owner="other", user=user))
    assert answer(target.getvalue()) == ("c.pdf: found an encrypted PDF, expected a certificate as valvelab wrote it")


def test_a_certificate_cut_off_anywhere_never_agrees(paper: Path) -> None:
    data = paper.read_bytes()
    for length in (0, 4, 300, len(data) // 3, 2 * len(data) // 3, len(data) - 60, len(data) - 2):
        found = answer(data[:length])
        assert isinstance(found, str) or not found.agrees, length


def test_a_damaged_certificate_of_an_earlier_version(capsys: pytest.CaptureFixture[str]) -> None:
    """A broken stream of a page, which once ended in a traceback."""
    assert main(["verify", str(HERE / "crash_inputs" / "certificate_with_a_broken_page.pdf")]) == 3
    assert capsys.readouterr().err.count("\n") == 1


@pytest.mark.parametrize(
    ("job", "said"),
    [
        (f'[[part]]\ninspect = "gauge"\nfile = "study.csv"\noptions = {["--at=1 mm"] * 60}\n', "60 times"),
        ('[[part]]\ninspect = "gauge"\nfile = "study.csv"\n' * 101, "101 parts"),
    ],
)
def test_carried_options_are_capped(paper: Path, tmp_path: Path, job: str, said: str) -> None:
    found = answer(with_files(paper, tmp_path / "c.pdf", {"job.toml": job.encode()}).read_bytes())
    assert isinstance(found, str)
    assert said in found


def test_a_nominal_outside_is_refused_unasked(paper: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[str] = []
    real = Path.is_file
    monkeypatch.setattr(Path, "is_file", lambda self: asked.append(str(self)) or real(self))
    spec = (
        b'[[envelope]]\nnominal = "../../../etc/hostname"\n[[envelope.band]]\nfrom = 0\nto = 1\nabove = 1\nbelow = 1\n'
    )
    job = b'part = [{inspect = "gauge", file = "study.csv", spec = "spec.toml"}]'
    found = answer(with_files(paper, tmp_path / "c.pdf", {"job.toml": job, "spec.toml": spec}).read_bytes())
    assert isinstance(found, str)
    assert "outside the certificate" in found
    assert not [path for path in asked if path.endswith("hostname")]


# Certificates of earlier versions


@pytest.mark.parametrize("old", EARLIER, ids=lambda path: path.stem)
def test_certificates_of_0_1_0_verify_as_data(old: Path, capsys: pytest.CaptureFixture[str]) -> None:
    found = verify_bytes(old.read_bytes(), old.name)
    assert found.agrees
    assert found.drawn_page_agrees is None
    assert found.written_by == "valvelab 0.1.0"
    assert any("0.1.0" in note.text for note in found.notes)
    # figures may come out otherwise under mended methods; then a person has to look, and nobody is accused
    assert main(["verify", str(old)]) == (4 if found.differing else 0)
    out, _ = capsys.readouterr()
    assert "DIFFERS" not in out
    assert "does not prove who wrote it" in out


def test_an_old_figure_that_comes_out_otherwise_is_listed_not_called_false(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The same paper under a method that gives another repeatability."""
    real = gauge.USE.inspect

    def mended(*asked: Any) -> Any:
        found = real(*asked)
        anova = found.result.anova.model_copy(update={"repeatability_sd": 0.5})
        return replace(found, result=found.result.model_copy(update={"anova": anova}))

    monkeypatch.setattr(gauge, "USE", replace(gauge.USE, inspect=mended))
    old = next(path for path in EARLIER if path.stem == "gauge")
    assert main(["verify", str(old)]) == 4
    out, err = capsys.readouterr()
    assert "is whole, as valvelab 0.1.0 wrote it" in out
    assert "anova.repeatability_sd" in out
    assert "differ under this version's methods" in err


def test_a_job_of_the_first_form_is_the_job_that_is_done() -> None:
    """A paper of 0.2.0, whose parts are told as words of their command lines."""
    old = HERE / "certificates_0_2_0" / "words.pdf"
    job = carried_files(old)["job.toml"]
    assert b"options = [" in job
    found = verify_bytes(old.read_bytes(), old.name)
    # sets and a shim plan say more than they did: figures that the paper does not state at all, and notes on them
    spoken = ("result-3-sets", "result-4-shims")
    more = [row for row in found.differing if row.where.startswith(spoken) and row.stated == "nothing"]
    kept = [row for row in found.differing if row not in more and row.where not in {f"{one}.notes" for one in spoken}]
    # what is drawn, and what makes a paper one for the archive, that one has otherwise
    assert not [row for row in kept if not row.where.startswith(("page", "document"))]
    assert found.number == "C3A9-018D-D1A4"


@pytest.mark.parametrize(
    "change", [(b"--size=8", b"--size=9"), (b"[[part]]", b"# signed by nobody\n[[part]]"), (b"= 1\n", b"= 2\n")]
)
def test_a_job_of_the_first_form_with_other_words_is_seen(tmp_path: Path, change: tuple[bytes, bytes]) -> None:
    old = HERE / "certificates_0_2_0" / "words.pdf"
    job = carried_files(old)["job.toml"]
    assert change[0] in job
    changes = {"job.toml": job.replace(*change, 1)}
    found = answer(with_files(old, tmp_path / "c.pdf", changes).read_bytes())
    assert isinstance(found, VerifyResult)
    assert not found.agrees
    assert any(row.where in {"job.toml", "result-3-sets.within", "result-3-sets.size"} for row in found.differing)


@pytest.mark.parametrize("name", ["a stamp", "cropped", "scaled", "script on opening", "script by name", "a file more"])
def test_what_was_added_to_an_old_paper_is_named(tmp_path: Path, name: str) -> None:
    change, where = CHANGES[name]
    old = tmp_path / "c.pdf"
    old.write_bytes(next(path for path in EARLIER if path.stem == "gauge").read_bytes())
    found = answer(changed(old, change))
    assert isinstance(found, VerifyResult)
    assert not found.agrees
    assert where in {row.where for row in found.differing}


def test_a_damaged_glyph_of_an_old_paper_is_refused() -> None:
    """The last byte but two of the first font: its check sum."""
    data = bytearray(next(path for path in EARLIER if path.stem == "gauge").read_bytes())
    data[data.index(b"endstream", data.index(b"/Length1")) - 3] ^= 1
    assert answer(bytes(data)) == "c.pdf: found a broken stream, expected a certificate as valvelab wrote it"


def test_readings_changed_in_an_old_paper_are_named(tmp_path: Path) -> None:
    old = next(path for path in EARLIER if path.stem == "gauge")
    readings = carried_files(old)["study.csv"].replace(b"0.021", b"0.027", 1)
    found = answer(with_files(old, tmp_path / "c.pdf", {"study.csv": readings}).read_bytes())
    assert isinstance(found, VerifyResult)
    assert not found.agrees
    assert any("source" in row.where for row in found.differing)


@pytest.mark.parametrize("version", ["0.1.9", "0.0.1", "newest", "", 3])
def test_a_version_that_never_was_is_not_believed(paper: Path, tmp_path: Path, version: object) -> None:
    result = json.loads(carried_files(paper)["result-1-gauge.json"])
    changes = {"result-1-gauge.json": json.dumps({**result, "version": version}).encode()}
    found = answer(with_files(paper, tmp_path / "c.pdf", changes).read_bytes())
    assert isinstance(found, VerifyResult)
    assert not found.agrees


def test_another_drawing_library_is_not_called_false(paper: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A paper drawn by another reportlab, whose lines came out a little otherwise."""
    from valvelab.report import pdf, plots

    monkeypatch.setattr(pdf.reportlab, "Version", "9.9.9")
    monkeypatch.setattr(pdf, "HEAD", pdf.HEAD + 0.2)
    assert plots
    found = verify_bytes(paper.read_bytes(), "c.pdf")
    assert (found.agrees, found.drawn_page_agrees) == (True, None)
    assert any(note.level == "warning" and "9.9.9" in note.text for note in found.notes)


def test_another_machine_s_last_digits_are_not_called_false(paper: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The same paper where numbers round and streams pack otherwise."""
    real = gauge.USE.paper

    def elsewhere(*asked: Any) -> Any:
        part = real(*asked)
        sd = part.result.anova.repeatability_sd * (1.0 + 1e-12)
        anova = part.result.anova.model_copy(update={"repeatability_sd": sd})
        return replace(part, result=part.result.model_copy(update={"anova": anova}))

    monkeypatch.setattr(gauge, "USE", replace(gauge.USE, paper=elsewhere))
    pikepdf.settings.set_flate_compression_level(1)
    try:
        found = verify_bytes(paper.read_bytes(), "c.pdf")
    finally:
        pikepdf.settings.set_flate_compression_level(-1)
    assert (found.agrees, found.drawn_page_agrees) == (True, True)


# What is written


def test_a_paper_that_would_not_verify_is_not_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "study.csv").write_text(STUDY, encoding="utf-8")
    real = parts.carry
    monkeypatch.setattr(parts, "carry", lambda job, _inputs, results: real(job, {}, results))
    target = tmp_path / "c.pdf"
    target.write_bytes(b"an older paper")
    assert main(["certify", str(tmp_path / "study.csv"), "--out", str(target)]) == 3
    out, err = capsys.readouterr()
    assert out == ""
    assert "would not verify" in err
    assert err.count("\n") == 1
    assert target.read_bytes() == b"an older paper"


@pytest.mark.parametrize("name", ["study: 3.csv", "-study.csv", "job.toml.csv", "Ünicode Prüfung.csv", "a\tb.csv"])
def test_readings_of_any_name_make_a_paper_that_verifies(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_text(STUDY, encoding="utf-8")
    target = tmp_path / "c.pdf"
    assert main(["certify", str(tmp_path / name), "--out", str(target), "--quiet"]) == 0
    assert main(["verify", str(target), "--quiet"]) == 0


def test_the_document_s_date_is_when_it_was_written(paper: Path) -> None:
    metadata = PdfReader(paper).metadata
    assert metadata is not None
    assert metadata["/CreationDate"] == f"D:{WRITTEN:%Y%m%d%H%M%S}+00'00'"
    assert metadata["/Title"] == "Gauge study: measurement certificate"


def test_refusals_never_name_the_folder_it_was_laid_out_in(paper: Path, tmp_path: Path) -> None:
    found = answer(with_files(paper, tmp_path / "c.pdf", {"study.csv": b"part,appraiser\n1,A\n"}).read_bytes())
    assert isinstance(found, str)
    assert "valvelab-verify" not in found


def test_a_fault_of_an_inspection_is_one_sentence(paper: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def breaks(*_: object) -> Any:
        raise IndexError

    monkeypatch.setattr(gauge, "USE", replace(gauge.USE, paper=breaks))
    with pytest.raises(BadFile, match=r"c\.pdf: found contents that can't be computed again \(IndexError\)"):
        verify_bytes(paper.read_bytes(), "c.pdf")


def test_another_processor_s_arithmetic_is_not_called_false(tmp_path: Path) -> None:
    """The same paper where the linear algebra library takes the code of an older processor: last digits differ."""
    samples = sample_profiles()
    for name in ("club_four_journals.csv", "club_four_shaft_spec.toml"):
        (tmp_path / name).write_bytes((samples / name).read_bytes())
    rows = (samples / "quillmere_four_camshaft.csv").read_text(encoding="utf-8").splitlines()
    kept = [row if row.startswith("#") else ",".join(row.split(",")[:2]) for row in rows]
    (tmp_path / "lobe.csv").write_text("\n".join(kept) + "\n", encoding="utf-8")
    (tmp_path / "job.toml").write_text(
        '[[part]]\ninspect = "lobes"\nfile = "lobe.csv"\n'
        '[[part]]\ninspect = "shaft"\nfile = "club_four_journals.csv"\nspec = "club_four_shaft_spec.toml"\n',
        encoding="utf-8",
    )
    main(["certify", str(tmp_path), "--out", str(tmp_path / "c.pdf"), "--quiet"])
    for kind in ("Prescott", "Nehalem", "Haswell"):
        done = subprocess.run(
            [sys.executable, "-m", "valvelab", "verify", str(tmp_path / "c.pdf"), "--quiet"],
            env={**os.environ, "OPENBLAS_CORETYPE": kind},
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, done.stdout


@given(
    st.lists(st.tuples(st.floats(0.0, 500.0), st.floats(0.0, 500.0)), min_size=2, max_size=20),
    st.floats(0.0, 2.0),
    st.integers(0, 2**31),
)
def test_a_curve_thinned_otherwise_is_the_same_and_a_bent_one_is_not(
    corners: list[tuple[float, float]], bend: float, seed: int
) -> None:
    chance = np.random.default_rng(seed)
    between = [
        (a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1]))
        for a, b in pairwise(corners)
        for share in (0.0, float(chance.uniform()))
    ] + [corners[-1]]

    def drawn(points: list[tuple[float, float]]) -> bytes:
        words = [f"{x:.6f} {y:.6f} {'l' if number else 'm'}" for number, (x, y) in enumerate(points)]
        return " ".join(["q 1 0 0 1 0 0 cm n", *words, "S Q"]).encode()

    assert first_difference(drawn(corners), drawn(between), exact=False) is None
    moved = [(x, y) if number else (x, y + 1.0 + bend) for number, (x, y) in enumerate(corners)]
    assert first_difference(drawn(corners), drawn(moved), exact=False) is not None
    if corners != between:
        assert (drawn(corners) == drawn(between)) is (
            first_difference(drawn(corners), drawn(between), exact=True) is None
        )
