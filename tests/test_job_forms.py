"""A use is told once; jobs of the first form, told as words of command lines, are read as the records of today."""

from __future__ import annotations

from pathlib import Path

import pytest
from something import each

from valvelab.errors import BadFile, WrongUsage
from valvelab.files.kinds import READERS
from valvelab.job.carried import job_toml
from valvelab.job.job_file import read_job
from valvelab.job.uses import USES, use
from valvelab.records.job import PARTS, Job
from valvelab.records.parts.lobes import LobesPart
from valvelab.records.parts.motion import MotionPart
from valvelab.records.parts.springs import SetsPart, ShimsPart
from valvelab.workbench.bays import BAYS

LIFT, TRAY = Path("lift.csv"), Path("tray.csv")


def test_every_list_of_uses_is_the_one_list() -> None:
    assert set(PARTS) == set(USES)
    for name in each(USES):
        assert use(name).part is PARTS[name]
        model = use(name).result
        assert (model if isinstance(model, type) else model()).model_fields["command"].default == name
    assert {reader.command for reader in READERS} <= set(USES)
    assert {bay.name for bay in BAYS} <= set(USES)


def read(folder: Path, text: str) -> Job:
    (folder / "job.toml").write_text(text, encoding="utf-8")
    return read_job(folder)[0]


@pytest.mark.parametrize(
    ("words", "part"),
    [
        (["--at=2 mm", "--at", "0.1 in", "--keep-eccentricity"],
         LobesPart(file=LIFT, at=("2 mm", "0.1 in"), keep_eccentricity=True)),
        (["--spec=other.toml", "--quiet", "--units=inch"], LobesPart(file=LIFT, spec=Path("other.toml"))),
        (["--columns=angle=0, 1I=1"], LobesPart(file=LIFT, columns="angle=0, 1I=1")),
    ],
)  # fmt: skip
def test_words_become_fields(tmp_path: Path, words: list[str], part: LobesPart) -> None:
    head = 'schema_version = 1\n[[part]]\ninspect = "lobes"\nfile = "lift.csv"\nspec = "own.toml"\n'
    (found,) = read(tmp_path, f"{head}options = {words}\n").part
    assert found == (part if part.spec else part.model_copy(update={"spec": Path("own.toml")}))


def test_words_of_every_kind(tmp_path: Path) -> None:
    job = read(
        tmp_path,
        '[[part]]\ninspect = "motion"\nfile = "lift.csv"\noptions = ["--train", "train.toml", "--no-dynamics"]\n'
        '[[part]]\ninspect = "sets"\nfile = "tray.csv"\n'
        'options = ["--size=8", "--within", "rate=0.6 N/mm", "--time-limit=5", "--set=A,B", "--set=C,D"]\n'
        '[[part]]\ninspect = "shims"\nfile = "tray.csv"\n'
        'options = ["--heights=heights.csv", "--from=sets.json", "--set=1", "--fix=1I=A"]\n',
    )
    motion, sets, shims = job.part
    assert motion == MotionPart(file=LIFT, train=Path("train.toml"), no_dynamics=True)
    assert sets == SetsPart(file=TRAY, size=8, within=("rate=0.6 N/mm",), time_limit="5", set=("A,B", "C,D"))
    asked = {"file": TRAY, "heights": "heights.csv", "from": "sets.json", "set": 1, "fix": ["1I=A"]}
    assert shims == ShimsPart.model_validate(asked)
    assert read(tmp_path, job_toml(job)) == job


@pytest.mark.parametrize(
    ("text", "refusal", "said"),
    [
        ('options = ["--nonsense"]', WrongUsage, "found '--nonsense', expected one of --columns, --instrument, --at"),
        ('options = ["--out=x.json"]', WrongUsage, "--out belongs to the certificate"),
        ('options = ["--at"]', WrongUsage, "--at: expected a value"),
        ('options = ["--table-zero=yes"]', WrongUsage, "--table-zero: found 'yes', expected no value"),
        ("options = 3", BadFile, "expected a list of texts"),
        (f"options = {['--at=1 mm'] * 51}", BadFile, "51 times --at"),
        (f"at = {['1 mm'] * 51}", BadFile, "at most 50"),
        ("att = 1", BadFile, "unknown key 'att', expected 'at'?"),
        ('keep_eccentricity = "perhaps"', BadFile, "expected true or false"),
    ],
)
def test_what_no_part_asks_is_refused(tmp_path: Path, text: str, refusal: type[Exception], said: str) -> None:
    with pytest.raises(refusal) as refused:
        read(tmp_path, f'[[part]]\ninspect = "lobes"\nfile = "lift.csv"\n{text}\n')
    assert said in str(refused.value)
