"""Surface traces from CSV, SMD text and X3P containers; each malformed one refused in a sentence."""

from __future__ import annotations

import io
import re
import zipfile
from hashlib import md5
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from something import each

from valvelab.errors import BadFile
from valvelab.files.contents import MAX_UNPACKED_BYTES
from valvelab.files.smd import checksum
from valvelab.files.surface_trace import read_surface_trace

X = np.arange(2000) * 0.001
Z = np.round(np.random.default_rng(4).normal(size=2000), 4)
NAMESPACE = "http://www.opengps.eu/2008/ISO5436_2"


def refusal(path: Path) -> str:
    """The one line that a refused trace gives."""
    with pytest.raises(BadFile) as caught:
        read_surface_trace(path)
    text = str(caught.value)
    assert text.startswith(str(path))
    assert "\n" not in text
    assert "found" in text
    assert "expected" in text
    return text.removeprefix(str(path))


def put(folder: Path, name: str, data: bytes | str) -> Path:
    path = folder / name
    path.write_bytes(data.encode() if isinstance(data, str) else data)
    return path


def csv(x: np.ndarray, z: np.ndarray, header: str = "x [mm], z [um]") -> str:
    return header + "\n" + "".join(f"{a:.6f}, {b:.5f}\n" for a, b in zip(x, z, strict=True))


def smd(z: np.ndarray = Z) -> bytes:
    """The trace in this form, with its checksum."""
    spacing = float(X[z.size - 1] - X[0]) / (z.size - 1)
    head = ["ISO 5436-2 - 2000 0 lobe", "PRF 0"]
    head += [f"CX I {z.size} mm 1.0E+000 D {spacing!r}", f"CZ A {z.size} um 1.0E+000 D"]
    body = "".join(f"{line}\r\n" for line in head) + "\x03\r\n" + "\x03\r\n"
    body += "".join(f"{float(value)!r}\r\n" for value in z) + "\x03\r\n"
    return resummed(body.encode("latin-1"))


def resummed(data: bytes) -> bytes:
    """The same bytes with the checksum they need."""
    end = data.rindex(b"\x03") + 3
    return data[:end] + f"{checksum(data[:end])}\r\n\x1a".encode()


class Container:
    """An X3P container with parts to spoil."""

    def __init__(self, z_um: np.ndarray = Z, kind: str = "D", feature: str = "PRF", rows: int = 1) -> None:
        layout = {"D": "<f8", "F": "<f4", "L": "<i4", "I": "<i2"}[kind]
        scale = 1.0 if kind in "DF" else 1e-10
        heights = z_um * 1e-6 / scale
        self.data = (heights if kind in "DF" else heights.round()).astype(layout).tobytes()
        self.kind, self.feature, self.rows, self.scale, self.count = kind, feature, rows, scale, z_um.size
        self.head = '<?xml version="1.0" encoding="UTF-8"?>\n'
        self.links = "<PointDataLink>bindata/data.bin</PointDataLink><MD5ChecksumPointData>{md5}</MD5ChecksumPointData>"
        self.extra: dict[str, bytes] = {}

    def xml(self) -> bytes:
        links = self.links.format(md5=md5(self.data, usedforsecurity=False).hexdigest().upper())
        return (
            f'{self.head}<p:ISO5436_2 xmlns:p="{NAMESPACE}"><Record1><Revision>ISO5436 - 2000</Revision>'
            f"<FeatureType>{self.feature}</FeatureType><Axes>"
            "<CX><AxisType>I</AxisType><DataType>D</DataType><Increment>1e-6</Increment><Offset>0</Offset></CX>"
            "<CY><AxisType>I</AxisType><DataType>D</DataType><Increment>1e-6</Increment><Offset>0</Offset></CY>"
            f"<CZ><AxisType>A</AxisType><DataType>{self.kind}</DataType><Increment>{self.scale}</Increment>"
            "<Offset>0</Offset></CZ></Axes></Record1>"
            f"<Record3><MatrixDimension><SizeX>{self.count}</SizeX><SizeY>{self.rows}</SizeY><SizeZ>1</SizeZ>"
            f"</MatrixDimension><DataLink>{links}</DataLink></Record3>"
            "<Record4><ChecksumFile>md5checksum.hex</ChecksumFile></Record4></p:ISO5436_2>"
        ).encode()

    def write(self, path: Path, stated: str | None = None, xml: bytes | None = None) -> Path:
        xml = self.xml() if xml is None else xml
        total = md5(xml, usedforsecurity=False).hexdigest() if stated is None else stated
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as parts:
            parts.writestr("main.xml", xml)
            parts.writestr("bindata/data.bin", self.data)
            if total:
                parts.writestr("md5checksum.hex", f"{total} *main.xml\n")
            for name, data in self.extra.items():
                parts.writestr(name, data)
        return path


def test_three_forms_hold_the_same_trace(tmp_path: Path) -> None:
    paths = [
        put(tmp_path, "a.csv", csv(X, Z)), put(tmp_path, "a.smd", smd()), Container().write(tmp_path / "a.x3p"),
    ]  # fmt: skip
    for path, form in each(zip(paths, ("CSV", "SMD", "X3P"), strict=True)):
        trace = read_surface_trace(path)
        assert trace.form == form
        assert trace.z_um == pytest.approx(Z, abs=1e-9)
        assert trace.x_mm == pytest.approx(X, abs=1e-12)
        assert not trace.z_um.flags.writeable


@pytest.mark.parametrize("kind", ["D", "F", "L", "I"])
def test_x3p_data_types(tmp_path: Path, kind: str) -> None:
    assert read_surface_trace(Container(Z / 2.0, kind).write(tmp_path / "a.x3p")).z_um == pytest.approx(
        Z / 2.0, abs=6e-5
    )


def test_x3p_written_by_a_surface_library(tmp_path: Path) -> None:
    # surfalize writes ISO 25178-72 with its own code
    surfalize = pytest.importorskip("surfalize", reason="surfalize comes with the dev extra only")
    surfalize.Surface(Z[None, :], 1.0, 1.0).save(tmp_path / "a.x3p")
    trace = read_surface_trace(tmp_path / "a.x3p")
    assert trace.z_um == pytest.approx(Z, abs=1e-9)
    assert trace.x_mm == pytest.approx(X, abs=1e-12)
    surfalize.Surface(np.tile(Z, (3, 1)), 1.0, 1.0).save(tmp_path / "b.x3p")
    assert "a surface of 3 rows" in refusal(tmp_path / "b.x3p")


def test_csv_units_directions_and_spacing(tmp_path: Path) -> None:
    inches = read_surface_trace(put(tmp_path, "in.csv", csv(X / 25.4, Z, "x [in], z [um]")))
    assert inches.x_mm[-1] == pytest.approx(X[-1], abs=1e-3)
    falling = read_surface_trace(put(tmp_path, "f.csv", csv(X[::-1], Z)))
    assert falling.z_um == pytest.approx(Z[::-1])
    assert any("turned round" in note.text for note in falling.notes)
    spaced = read_surface_trace(put(tmp_path, "s.csv", "# spacing: 1 um\nz [um]\n" + "".join(f"{b}\n" for b in Z)))
    assert spaced.x_mm == pytest.approx(X)
    bare = read_surface_trace(put(tmp_path, "b.csv", csv(X, Z, "x [mm], z")))
    assert any("read as µm" in note.text for note in bare.notes)
    scaled = read_surface_trace(put(tmp_path, "u.csv", "# height uncertainty: 2 %\n" + csv(X, Z)))
    assert scaled.scale_uncertainty == pytest.approx(0.02)


def test_uneven_steps_are_evened_with_a_note(tmp_path: Path) -> None:
    shaken = X + 0.0002 * np.random.default_rng(1).uniform(-1.0, 1.0, X.size)
    trace = read_surface_trace(put(tmp_path, "a.csv", csv(shaken, np.sin(X))))
    assert np.ptp(np.diff(trace.x_mm)) < 1e-12
    assert trace.z_um[5:-5] == pytest.approx(np.interp(trace.x_mm, shaken, np.sin(X))[5:-5], abs=1e-4)
    assert any("even grid" in note.text for note in trace.notes)


def test_gaps_in_a_csv_trace(tmp_path: Path) -> None:
    hole = np.delete(np.arange(2000), slice(700, 720))
    text = refusal(put(tmp_path, "a.csv", csv(X[hole], Z[hole])))
    assert ", line 702: found a gap in the trace from x 0.699 to 0.72 mm" in text
    blank = csv(X, Z).splitlines()
    blank[100] = blank[100].split(",")[0] + ","
    assert "without a reading of z or x: line 101" in refusal(put(tmp_path, "b.csv", "\n".join(blank)))
    back = X.copy()
    back[50] = back[48]
    assert "x that only grows" in refusal(put(tmp_path, "c.csv", csv(back, Z)))
    assert "3 or more" in refusal(put(tmp_path, "d.csv", csv(X[:2], Z[:2])))


@pytest.mark.parametrize(
    ("spoil", "told"),
    [
        (lambda d: d.replace(b"\x03", b"", 1), "2 of the three records"),
        (lambda d: d[: d.rindex(b"\x03") + 3], "no checksum"),
        (lambda d: d[: d.rindex(b"\x03") + 3] + b"12\r\n", "checksum 12"),
        (lambda d: d.replace(str(float(Z[7])).encode(), str(float(Z[7]) + 1.0).encode(), 1), "the file was changed"),
        (lambda d: resummed(d.replace(b"CX I 2000", b"CX I 1999")), "1999 and 2000 points, 2000 heights"),
        (lambda d: resummed(d.replace(b"CX I", b"CX A")), "an incremental CX axis"),
        (lambda d: resummed(d.replace(b"mm 1.0E+000 D", b"kg 1.0E+000 D")), "unit 'kg'"),
        (lambda d: resummed(d.replace(b"CZ A 2000 um", b"CZ A two um")), "axis, kind, points, unit, scale"),
        (lambda d: resummed(d.replace(b"PRF", b"SUR")), "a surface (SUR)"),
        (lambda d: resummed(d.replace(str(float(Z[9])).encode(), b"BAD", 1)), "a gap is not bridged"),
        (lambda d: resummed(d.replace(b"CX I 2000", b"CX I 999999999")), "999999999 points"),
        (lambda d: resummed(d.replace(b"1.0E+000 D 0.001", b"1.0E+000 D nan")), "numbers above 0"),
    ],
)  # fmt: skip
def test_spoiled_smd(tmp_path: Path, spoil: object, told: str) -> None:
    assert callable(spoil)
    assert told in refusal(put(tmp_path, "a.smd", spoil(smd())))


def test_smd_checksum_and_separators(tmp_path: Path) -> None:
    # ISO 5436-2: fields separated by NUL or blanks; byte sum modulo 65535
    assert checksum(b"\xff" * 257) == 0
    assert checksum(b"AB") == 131
    data = smd()
    header, rest = data.split(b"\x03", 1)
    swapped = resummed(header.replace(b" ", b"\x00").replace(b"ISO\x005436", b"ISO 5436") + b"\x03" + rest)
    assert read_surface_trace(put(tmp_path, "a.smd", swapped)).z_um == pytest.approx(Z)


def test_spoiled_x3p(tmp_path: Path) -> None:
    assert "the part was changed" in refusal(Container().write(tmp_path / "a.x3p", stated="0" * 32))
    assert "no MD5 checksum" in refusal(Container().write(tmp_path / "b.x3p", stated="none"))
    changed = Container()
    xml = changed.xml()
    changed.data = changed.data[:-1] + b"\x00"
    assert "heights: found checksum" in refusal(changed.write(tmp_path / "c.x3p", xml=xml))
    short = Container()
    short.count = 2001
    assert "16000 bytes" in refusal(short.write(tmp_path / "d.x3p"))
    holes = Z.copy()
    holes[500] = np.nan
    assert "1 of 2000 points without a height" in refusal(Container(holes).write(tmp_path / "e.x3p"))
    masked = Container()
    bits = np.ones(2000, dtype=np.uint8)
    bits[3] = 0
    masked.extra["bindata/valid.bin"] = np.packbits(bits, bitorder="little").tobytes()
    masked.links += "<ValidPointsLink>bindata/valid.bin</ValidPointsLink>"
    assert "point 4: found 1 of 2000 points" in refusal(masked.write(tmp_path / "f.x3p"))
    assert "a point cloud" in refusal(Container(feature="PCL").write(tmp_path / "g.x3p"))
    missing = Container()
    missing.links = "<PointDataLink>bindata/other.bin</PointDataLink>"
    assert "no part 'bindata/other.bin'" in refusal(missing.write(tmp_path / "h.x3p"))
    broken = Container()
    assert "broken XML" in refusal(broken.write(tmp_path / "i.x3p", xml=broken.xml()[:-9]))
    whole = Container().write(tmp_path / "j.x3p").read_bytes()
    refusal(put(tmp_path, "k.x3p", whole[: len(whole) // 2]))


def test_x3p_without_its_checksum_is_read_with_a_warning(tmp_path: Path) -> None:
    trace = read_surface_trace(Container().write(tmp_path / "a.x3p", stated=""))
    assert [note.level for note in trace.notes] == ["warning"]


@pytest.mark.parametrize(
    "declaration",
    [
        '<!DOCTYPE a [<!ENTITY b "boom"><!ENTITY c "&b;&b;&b;&b;">]>\n',
        '<!DOCTYPE a [<!ENTITY b SYSTEM "file:///etc/hostname">]>\n',
        "<!DOCTYPE a>\n",
    ],
)
def test_xml_with_a_document_type_is_refused(tmp_path: Path, declaration: str) -> None:
    spoiled = Container()
    spoiled.head += declaration
    assert "a document type or entities" in refusal(spoiled.write(tmp_path / "a.x3p"))


def test_a_container_that_unpacks_to_too_much_is_refused(tmp_path: Path) -> None:
    bomb = Container()
    bomb.data = bytes(MAX_UNPACKED_BYTES + 1)
    xml = Container().xml()
    path = bomb.write(tmp_path / "a.x3p", xml=xml)
    assert path.stat().st_size < 1 << 20
    assert "200 MB once unpacked" in refusal(path)
    # a directory that understates the size does not help
    lying = path.read_bytes().replace(len(bomb.data).to_bytes(4, "little"), (16000).to_bytes(4, "little"))
    refusal(put(tmp_path, "b.x3p", lying))


def test_a_container_of_very_many_parts_is_refused(tmp_path: Path) -> None:
    crowd = Container()
    crowd.extra = {f"remarks/{number}.txt": b"" for number in range(1200)}
    assert "1203 parts" in refusal(crowd.write(tmp_path / "a.x3p"))


CRASH_INPUTS = Path(__file__).parent / "crash_inputs"


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("container_without_its_beginning.x3p", "main.xml: found a part that can't be unpacked (negative seek"),
        ("lzma_packed_damaged.x3p", "main.xml: found a part that can't be unpacked (Corrupt input data)"),
    ],
)
def test_containers_that_once_crashed(name: str, said: str) -> None:
    assert said in refusal(CRASH_INPUTS / name)


@pytest.mark.parametrize("folder", ["journal 3/", "a/b/", "exports\\"])
def test_a_container_whose_parts_lie_in_a_folder(tmp_path: Path, folder: str) -> None:
    flat = Container().write(tmp_path / "flat.x3p")
    with zipfile.ZipFile(flat) as source, zipfile.ZipFile(tmp_path / "deep.x3p", "w") as moved:
        moved.writestr("__MACOSX/._main.xml", b"of the packer's own")
        for name in source.namelist():
            moved.writestr(folder + name, source.read(name))
    found = read_surface_trace(tmp_path / "deep.x3p")
    assert found.notes == ()  # the header's checksum was found in the folder, and held
    assert found.z_um == pytest.approx(Z, abs=1e-9)


def test_two_headers_side_by_side_are_refused(tmp_path: Path) -> None:
    two = Container()
    two.extra = {"a/main.xml": b"", "b/main.xml": b""}
    assert read_surface_trace(two.write(tmp_path / "a.x3p")).z_um.size == Z.size  # the one at the top counts
    with zipfile.ZipFile(tmp_path / "b.x3p", "w") as parts:
        for folder in ("a", "b"):
            parts.writestr(f"{folder}/main.xml", two.xml())
    assert "main.xml in a/ and in b/" in refusal(tmp_path / "b.x3p")


@pytest.mark.parametrize("packing", [zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
def test_damage_in_any_packing_is_one_sentence(tmp_path: Path, packing: int) -> None:
    plain = Container(Z[:60]).write(tmp_path / "plain.x3p")
    stream = io.BytesIO()
    with zipfile.ZipFile(plain) as source, zipfile.ZipFile(stream, "w", packing) as packed:
        for name in source.namelist():
            packed.writestr(name, source.read(name))
    whole = stream.getvalue()
    refused = 0
    for place in range(0, len(whole), 7):
        for damaged in (whole[:place] + bytes([whole[place] ^ 0x2D]) + whole[place + 1 :], whole[:50] + whole[place:]):
            path = put(tmp_path, "damaged.x3p", damaged)
            try:
                assert np.isfinite(read_surface_trace(path).z_um).all()
            except BadFile as error:
                refused += 1
                assert "\n" not in str(error)  # noqa: PT017
    assert refused > len(whole) / 14


@pytest.mark.parametrize("number", ["1e308", "-1e308", "1e400", "nan", "0", "-1", "9" * 400])
@pytest.mark.parametrize("tag", ["Increment", "Offset", "SizeX", "SizeY"])
def test_x3p_numbers_out_of_all_reason_are_refused_or_harmless(tmp_path: Path, tag: str, number: str) -> None:
    container = Container(Z[:60])
    xml = container.xml().decode()
    for match in each(re.finditer(f"<{tag}>[^<]*</{tag}>", xml)):
        changed = f"{xml[: match.start()]}<{tag}>{number}</{tag}>{xml[match.end() :]}"
        path = container.write(tmp_path / "a.x3p", xml=changed.encode())
        try:
            assert np.isfinite(read_surface_trace(path).z_um).all()
        except BadFile as error:
            assert "expected" in str(error)  # noqa: PT017


@pytest.mark.parametrize("number", [b"1e308", b"-1e308", b"1e400", b"nan"])
@pytest.mark.parametrize("word", [b"1.0E+000", b" 0.001"])
def test_smd_numbers_out_of_all_reason_are_refused(tmp_path: Path, word: bytes, number: bytes) -> None:
    changed = smd(Z[:60]).replace(word, b" " + number)
    refusal(put(tmp_path, "a.smd", resummed(changed)))


def test_other_containers_are_not_traces(tmp_path: Path) -> None:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as parts:
        parts.writestr("readme.txt", "hello")
    refusal(put(tmp_path, "a.x3p", stream.getvalue()))
    refusal(put(tmp_path, "b.csv", b"\x00\x01\x02" * 50))
    refusal(put(tmp_path, "c.csv", ""))
    refusal(tmp_path / "absent.csv")


@given(st.data())
@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_damaged_files_are_refused_or_read_never_worse(tmp_path: Path, data: st.DataObject) -> None:
    whole = data.draw(st.sampled_from([smd(Z[:60]), Container(Z[:60]).write(tmp_path / "seed.x3p").read_bytes()]))
    spoiled = bytearray(whole)
    for _ in range(data.draw(st.integers(1, 6))):
        spoiled[data.draw(st.integers(0, len(spoiled) - 1))] = data.draw(st.integers(0, 255))
    path = put(tmp_path, "spoiled", bytes(spoiled[: data.draw(st.integers(1, len(spoiled)))]))
    try:
        trace = read_surface_trace(path)
    except BadFile as error:
        assert "\n" not in str(error)  # noqa: PT017
    else:
        assert np.isfinite(trace.z_um).all()
