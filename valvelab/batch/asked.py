"""The spec that a batch judges every file by: read once by whoever asks, and held to that by every worker."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from hashlib import sha256
from pathlib import Path

from valvelab.batch.task import Question
from valvelab.errors import BadFile, utf8
from valvelab.files.contents import read_contents
from valvelab.files.spec_file import nominal_path
from valvelab.job.typed import Specs
from valvelab.records.result import Source
from valvelab.records.spec import Spec

_KEPT = 4


@dataclass(frozen=True, slots=True)
class AskedSpec:
    """A spec, None without one; `sources`: its file and the tables that its envelopes name, `nominals` the latter."""

    path: Path | None
    spec: Spec | None
    sources: tuple[Source, ...]
    nominals: tuple[Path, ...]

    @classmethod
    def read(cls, path: Path | None, specs: Specs | None = None) -> AskedSpec:
        """Read it into `specs`, and see that its nominal tables are there. Raises BadSpec and BadFile."""
        if path is None:
            return cls(None, None, (), ())
        spec, source = (Specs() if specs is None else specs)[path]
        nominals = tuple(nominal_path(path, envelope, number) for number, envelope in enumerate(spec.envelope, start=1))
        others = {nominal: read_contents(nominal).source for nominal in nominals}
        return cls(path, spec, (source, *others.values()), tuple(others))

    @property
    def digest(self) -> str:
        """What is asked of every file, by its bytes."""
        return sha256(" ".join(source.sha256 for source in self.sources).encode()).hexdigest()

    def unanswered(self, judged: set[str]) -> list[str]:
        """What it asks for that no file could answer; judged: characteristics that some file did."""
        if self.spec is None:
            return []
        asked = [limit.of for limit in self.spec.limit] + ["envelope"] * bool(self.spec.envelope)
        return [name for name in dict.fromkeys(asked) if name not in judged]


@lru_cache(_KEPT)
def specs_of(question: Question) -> Specs:
    """The spec of a question, read once in a process; refuses another text than the question was asked with."""
    specs = Specs()
    if question.spec is None:
        return specs
    if AskedSpec.read(Path(question.spec), specs).digest != question.spec_digest:
        where = utf8(question.spec)
        raise BadFile(where, "", "another text than when the batch began", "the same, on every machine that takes part")
    return specs
