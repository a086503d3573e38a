"""Which spec of the bench a bay judges by: one bench may hold a camshaft's, a spring's and a surface's."""

from __future__ import annotations

from collections.abc import Callable, Collection
from pathlib import Path
from typing import TypeVar

from valvelab.errors import BadSpec
from valvelab.files.contents import decode, read_contents
from valvelab.files.spec_file import MAX_TOML_BYTES
from valvelab.inspection.characteristics import named
from valvelab.language import say, say_number
from valvelab.phrase import Phrase
from valvelab.records.result import Result, Source, warning
from valvelab.records.spec import Spec
from valvelab.workbench.background import Partly
from valvelab.workbench.document import BenchFile, Document, Kind, Value

SPEC: Kind[Spec] = Kind("spec")
OfResult = TypeVar("OfResult", bound="Result")


def spec_for(
    document: Document,
    subjects: Collection[str],
    also: Callable[[Spec], bool] = lambda _spec: False,
    table: str | None = None,
) -> tuple[BenchFile, Spec] | None:
    """The spec in use where it speaks of one of these subjects, else the first that does.

    A limit on something that nobody knows counts as speaking: its refusal should be seen. `also` names another way
    of speaking; of several specs the one that bears the `table`'s name comes first.
    """
    found: list[tuple[BenchFile, Spec]] = []
    for file, spec in document.values_of(SPEC):
        known = [named(limit.of) for limit in spec.limit]
        if any(not rows or any(row.subject in subjects for row in rows) for rows in known) or also(spec):
            found.append((file, spec))
    chosen = document.current.get(SPEC)
    if table is not None:
        found.sort(key=lambda pair: Path(pair[0].path).with_suffix("") != Path(table).with_suffix(""))
    return next((pair for pair in found if pair[0].path == chosen), found[0] if found else None)


def headline_of(document: Document, pair: tuple[BenchFile, Spec] | None, applied: Spec | None) -> str:
    """What was judged against, in a few words."""
    if pair is None:
        return say("no spec on the bench has limits on this") if document.of_kind(SPEC) else say("no spec on the bench")
    file, spec = pair
    if applied is not spec:
        return say("{name} could not be applied: see Remarks").format(name=file.name)
    title = spec.title or file.name
    if spec.revision:
        title = say("{title} revision {revision}").format(title=title, revision=spec.revision)
    rule = say("{rule} rule at {value} %").format(
        rule=say(spec.decision.rule), value=say_number(f"{100.0 * spec.decision.confidence:.0f}")
    )
    return f"{title}, {rule}"


def inspected_to(judged: Callable[[], Value], plain: Callable[[], Value]) -> Value | Partly[Value]:
    """What `judged` gives; where that refuses the spec, what `plain` gives without it, and why."""
    try:
        return judged()
    except BadSpec as refusal:
        return Partly(plain(), without_spec(refusal))


def without_spec(refusal: BadSpec) -> str:
    """What is said where a spec was refused and left out."""
    return Phrase("{refusal}; measured without the spec", refusal=refusal)


def noted(result: OfResult, refusal: BadSpec) -> OfResult:
    """A result without the spec that was refused, with a note that says so."""
    return result.model_copy(update={"notes": (*result.notes, warning("spec", without_spec(refusal)))})


def sources_of(pair: tuple[BenchFile, Spec] | None) -> tuple[Source, ...]:
    """The spec's identity as a source of the result; read away from the window."""
    return () if pair is None else (read_contents(pair[0].given).source,)


def text_of(file: BenchFile) -> str:
    """The spec's text as it was typed, else as its file has it; BadFile where that can't be read."""
    if file.text is not None:
        return file.text
    contents = read_contents(file.path, MAX_TOML_BYTES)
    return decode(contents.file, contents.data)[0]


def stamps(document: Document, *files: BenchFile | None) -> tuple[int, ...]:
    """What tells one reading of these files from another, for the key of a question."""
    return tuple(content.stamp for file in files if file and (content := document.content(file)))


def files_of(*found: BenchFile | tuple[BenchFile, object] | None) -> tuple[BenchFile, ...]:
    """The files among these, with or without what they were read as."""
    return tuple(one[0] if isinstance(one, tuple) else one for one in found if one is not None)
