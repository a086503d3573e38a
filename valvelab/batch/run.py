"""A whole batch: tasks go out, answers come back in the order of the names and are written down as they come."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from valvelab import __version__
from valvelab.batch.asked import AskedSpec
from valvelab.batch.in_order import in_order
from valvelab.batch.journal import Journal
from valvelab.batch.lot import Gathered
from valvelab.batch.table import note_columns
from valvelab.batch.task import Answer, Found, Pool, Task
from valvelab.errors import utf8
from valvelab.records.batch_result import BatchResult, Decisions, FailedFile
from valvelab.records.result import Decision, Note, info, warning
from valvelab.tables.item_rows import DECISION

TOLD_WARNINGS = 20
SHOWN_ROWS = 40

Inputs = Iterator[tuple[str, str]]
"""Name and path of each file, or of each record, in the order of the names."""


@dataclass(slots=True)
class Tally:
    """What came back so far; of what may be many no more is held than is shown.

    worst: file and item of rows that were not accepted, by decision. warnings: the first file of each, and how many.
    unsaid: warnings beyond the most that are told. columns: as `note_columns` has them.
    """

    rows: int = 0
    files: int = 0
    unchanged: int = 0
    failed: list[tuple[str, str]] = field(default_factory=list)
    passed: int = 0
    decisions: Counter[Decision] = field(default_factory=Counter)
    judged: set[str] = field(default_factory=set)
    worst: dict[Decision, list[tuple[str, str]]] = field(default_factory=lambda: {"reject": [], "undecided": []})
    warnings: dict[str, tuple[str, int]] = field(default_factory=dict)
    unsaid: int = 0
    columns: dict[str, bool] = field(default_factory=dict)

    @property
    def done(self) -> int:
        """How many files came back."""
        return self.files + self.passed + len(self.failed)

    def take(self, found: Found) -> None:
        """Count what was found of a file."""
        self.files += 1
        self.rows += len(found.rows)
        note_columns(self.columns, found)
        self.judged.update(row["characteristic"] for row in found.verdicts)
        for row in found.rows:
            decision: Decision | None = row[DECISION]  # type: ignore[assignment]
            if decision is None:
                continue
            self.decisions[decision] += 1
            shown = self.worst.get(decision)
            if shown is not None and len(shown) < SHOWN_ROWS:
                shown.append((found.name, str(row["item"])))
        for text in found.warnings:
            first, count = self.warnings.get(text, (found.name, 0))
            if count or len(self.warnings) < TOLD_WARNINGS:
                self.warnings[text] = first, count + 1
            else:
                self.unsaid += 1


def run(
    inputs: Inputs,
    pool: Pool,
    journal: Journal | None = None,
    lot: Gathered | None = None,
    report: Callable[[Tally], None] = lambda _tally: None,
) -> Tally:
    """Inspect every input. journal: where what is found is written down, begun; lot: what gathers its values."""
    tally = Tally()
    held: dict[str, Found] = {}

    def tasks() -> Iterator[Task]:
        for name, path in inputs:
            earlier = None if journal is None else journal.earlier(name)
            if earlier is not None:
                held[name] = earlier
            yield Task(name, path, None if earlier is None else earlier.sources)

    for task, answer in in_order(tasks(), pool):
        earlier = held.pop(task.name, None)
        found = earlier if answer.ended == "unchanged" else answer.found
        tally.unchanged += answer.ended == "unchanged"
        reason = _refused(answer)
        if reason is not None:
            tally.failed.append((task.name, reason))
        elif found is None:
            tally.passed += 1
        else:
            tally.take(found)
            if journal is not None:
                journal.add(task.name, found)
            if lot is not None:
                lot.add(found)
        report(tally)
    return tally


def _refused(answer: Answer) -> str | None:
    if answer.version != __version__:
        return f"a worker with valvelab {answer.version}, expected {__version__}"
    return answer.reason if answer.ended == "failed" else None


def result_of(tally: Tally, prefix: str, spec: AskedSpec, notes: Iterator[Note]) -> BatchResult:
    """The document of a batch that was run. prefix: what stands before the files' names; notes: what else is said."""
    return BatchResult(
        source=spec.sources,
        notes=(*_notes(tally, prefix, spec), *notes),
        rows=tally.rows,
        files=tally.files,
        unchanged=tally.unchanged,
        passed_over=tally.passed,
        failed=tuple(FailedFile(file=prefix + name, reason=reason) for name, reason in sorted(tally.failed)),
        decisions=Decisions(**dict(tally.decisions)),
    )


def _notes(tally: Tally, prefix: str, spec: AskedSpec) -> Iterator[Note]:
    for name in spec.unanswered(tally.judged):
        yield warning("spec", f"{utf8(str(spec.path))}: found nothing in any file that answers its limit on {name}")
    for text, (first, count) in tally.warnings.items():
        yield warning(prefix + first + f" and {count - 1} more" * (count > 1), text)
    if tally.unsaid:
        yield info("warnings", f"{tally.unsaid} others are not told here; a file that is inspected alone tells its own")
