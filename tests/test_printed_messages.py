"""What reaches a terminal: one line a message, without signs that act on it; true sizes; nothing that blocks."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from valvelab.cli.main import main
from valvelab.errors import BadFile, one_line
from valvelab.files.contents import read_contents, size_text
from valvelab.files.spec_file import read_spec
from valvelab.workbench.dropped import opened

# ECMA-48 (fifth edition), 5: C0 are 00 to 1F, C1 are 80 to 9F; Unicode adds line ends and turned writing
ACTS = [chr(code) for code in (*range(32), 127, *range(128, 160), 0x2028, 0x2029, 0x202E, 0x2066)]


@pytest.mark.parametrize("sign", ACTS)
def test_signs_that_act_are_shown(sign: str) -> None:
    shown = one_line(f"before{sign}after")
    assert sign not in shown
    assert shown.startswith("before\\")
    assert shown.isprintable()


def test_ordinary_writing_is_left_alone() -> None:
    text = "Rüttler µm “x” 弁 – 1.5 mm"
    assert one_line(text) == text


NAMES = ["evil\x1b[31mred.csv", "two\nlines.csv", "bell\x07.csv", "\u202egnp.csv"]


@pytest.mark.parametrize("name", NAMES)
def test_a_file_name_can_not_act_on_the_terminal(tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str) -> None:
    file = tmp_path / name
    assert main(["lobes", str(file)]) == 3
    file.write_text("spring,height,force\nA\x1b[2J,42,100\nA\x1b[2J,40,200\nA\x1b[2J,38,300\n", encoding="utf-8")
    main(["springs", str(file)])
    out, err = capsys.readouterr()
    assert all(line.isprintable() for line in (out + err).split("\n"))
    assert all(line.startswith(("valvelab: ", "info: ", "warning: ")) for line in err.strip().split("\n"))


def test_sizes_are_true() -> None:
    assert [size_text(size) for size in (0, 700, 2**19, 2**19 + 1, 2**20 + 2**19, 64 * 2**20)] == [
        "0 bytes",
        "700 bytes",
        "512 kB",
        "512 kB",
        "1.5 MB",
        "64 MB",
    ]


def test_a_spec_over_its_limit_says_the_limit(tmp_path: Path) -> None:
    file = tmp_path / "long.toml"
    file.write_text("# " + "x" * 700_000, encoding="utf-8")
    with pytest.raises(BadFile, match="found 684 kB, expected at most 512 kB"):
        read_spec(file)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_nothing_but_regular_files_is_opened(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.toml")
    for path in (tmp_path / "pipe.toml", tmp_path, Path("/dev/zero")):
        with pytest.raises(BadFile, match=r"expected a (regular )?file"):
            read_contents(path)
    assert opened([str(tmp_path / "pipe.toml")]) == [str(tmp_path / "pipe.toml")]


def test_a_file_that_answers_when_it_pleases_does_not_block() -> None:
    """The kernel's message queue calls itself regular; a plain read of it waits for the next message."""
    if not Path("/proc/kmsg").exists():
        pytest.skip("no such file here")
    with pytest.raises(BadFile):
        read_contents("/proc/kmsg")
