"""The documents say what the program does: paths exist, commands and characteristics are all told."""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest
from something import each

from valvelab.cautions import CAUTIONS
from valvelab.cli.main import COMMANDS
from valvelab.inspection.characteristics import all_characteristics

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
GUIDE = sorted((ROOT / "resources" / "guide").glob("*.md"))
THE_TWO = ("python3 valvelab demo", "python3 tests")


def code_spans(text: str) -> set[str]:
    """What stands between single backticks."""
    return set(re.findall(r"`([^`\n]+)`", re.sub(r"```.*?```", "", text, flags=re.DOTALL)))


def shell_lines(text: str) -> list[str]:
    """Command lines in the fenced blocks, comments and prompts taken off."""
    blocks = re.findall(r"```(?:sh|bash|console|shell)?\n(.*?)```", text, flags=re.DOTALL)
    lines = [line.removeprefix("$ ").partition("  #")[0].strip() for block in blocks for line in block.splitlines()]
    return [line for line in lines if line.startswith(("python3 valvelab", "valvelab ", "python3 tests"))]


def unwrapped(text: str) -> str:
    return " ".join(text.split())


@pytest.mark.parametrize(("name", "text"), [("README.md", README), ("DEVELOPERS.md", DEVELOPERS)])
def test_every_path_named_exists(name: str, text: str) -> None:
    path = re.compile(r"(?:\.ci|valvelab|resources|tests|sample_profiles)/[\w./-]*|[\w-]+\.(?:md|toml)")
    named = {span for span in code_spans(text) if path.fullmatch(span)}
    missing = [span for span in named if not (ROOT / span).exists()]
    ours = [span for span in missing if "/" in span or span in {"pyproject.toml", "README.md", "DEVELOPERS.md"}]
    assert not ours, f"{name} names paths that are not there: {ours}"


@pytest.mark.parametrize("page", [ROOT / "README.md", ROOT / "DEVELOPERS.md", *GUIDE], ids=lambda page: page.name)
def test_every_link_and_picture_leads_somewhere(page: Path) -> None:
    linked = re.findall(r"\]\(([^)#]+)\)", page.read_text(encoding="utf-8"))
    assert not [name for name in linked if not (page.parent / name).is_file()]


def test_readme_links_every_page_of_the_guide_and_shows_a_picture() -> None:
    assert not [page.name for page in GUIDE if f"(resources/guide/{page.name})" not in README]
    assert len(re.findall(r"!\[[^\]]*\]\(resources/pictures/", README)) == 1


def test_developers_names_every_room() -> None:
    rooms = {path.parent.name for path in (ROOT / "valvelab").glob("*/__init__.py")}
    told = {Path(span).name for span in code_spans(DEVELOPERS)}
    assert rooms <= told, rooms - told


def test_readme_shows_the_two_commands() -> None:
    lines = shell_lines(README)
    for command in each(THE_TWO):
        assert any(line.startswith(command) for line in lines), command


def test_readme_names_every_command() -> None:
    missing = [name for name in COMMANDS if not re.search(rf"`(?:valvelab )?{name}\b", README)]
    assert not missing


def test_readme_names_every_characteristic() -> None:
    spans = code_spans(README)
    missing = [row.name for row in all_characteristics() if row.name not in spans]
    assert not missing


def test_readme_shows_the_cautions() -> None:
    for sentence in each(CAUTIONS):
        assert sentence in unwrapped(README), sentence


def inputs(words: list[str]) -> list[str]:
    """Words of a command line that name files or folders it reads."""
    before = ["", *words]
    return [
        word
        for previous, word in zip(before, words, strict=False)
        if not word.startswith("-") and previous != "--out" and ("/" in word or re.search(r"\.\w{2,4}$", word))
    ]


@pytest.mark.parametrize("line", shell_lines(README) or [THE_TWO[0]])
def test_readme_command_runs(line: str, tmp_path: Path) -> None:
    words = shlex.split(line.replace("python3 valvelab", "valvelab"))[1:]
    if line.startswith("python3 tests") or not words or words[0] not in COMMANDS:
        return
    (tmp_path / "sample_profiles").symlink_to(ROOT / "sample_profiles")
    absent = [name for name in inputs(words) if not (tmp_path / name).exists()]
    assert not [name for name in absent if name.startswith("sample_profiles/")]
    if absent:
        return  # the reader's own file
    done = subprocess.run(
        [sys.executable, "-m", "valvelab", *words],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
        stdin=subprocess.DEVNULL,
        env={**os.environ, "QT_QPA_PLATFORM": "offscreen"},
    )
    assert done.returncode in {0, 1, 4}, done.stderr


@pytest.mark.parametrize("line", shell_lines(README) or [THE_TWO[0]])
def test_readme_command_is_understood(line: str) -> None:
    words = shlex.split(line.replace("python3 valvelab", "valvelab"))
    if words[:2] == ["python3", "tests"]:
        assert (ROOT / "tests" / "__main__.py").is_file()
        return
    command = next((word for word in words[1:] if not word.startswith("-")), None)
    if command in COMMANDS:
        done = subprocess.run(
            [sys.executable, "-m", "valvelab", command, "--help"],
            capture_output=True,
            text=True,
            check=False,
            env={**os.environ, "COLUMNS": "200"},
        )
        assert done.returncode == 0, done.stderr
        unknown = [word.partition("=")[0] for word in words[2:] if word.startswith("--")]
        assert not [word for word in unknown if word not in done.stdout]
    else:
        files = words[1:]
        assert all(word.startswith(("--version", "--help")) or "." in word for word in files), line


def test_readme_tables_repeat_what_the_program_knows() -> None:
    import make_readme

    for page in each(make_readme.BLOCKS):
        assert make_readme.rewritten(page) == page.read_text(encoding="utf-8"), (
            "python tests/make_readme.py rewrites it"
        )
