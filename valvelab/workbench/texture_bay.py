"""The texture bay: one surface trace, how it is filtered, a spec."""

from __future__ import annotations

from dataclasses import dataclass, replace

from valvelab.errors import BadSpec, ValvelabError
from valvelab.inspection.form.texture import TextureInspection, TextureQuestion, inspect_texture
from valvelab.language import say
from valvelab.records.form_measurement import SurfaceTrace
from valvelab.records.job import Shown
from valvelab.records.parts.part import JobPart
from valvelab.records.result import Result
from valvelab.records.spec import Spec
from valvelab.workbench.background import Partly, Question
from valvelab.workbench.bay import Work
from valvelab.workbench.document import BenchFile, Document, Kind
from valvelab.workbench.papers import part_of
from valvelab.workbench.spec_choice import files_of, sources_of, spec_for, stamps, without_spec
from valvelab.workbench.state import BayState, entered

NAME = "texture"
JUDGES = ("trace",)
TRACE: Kind[SurfaceTrace] = Kind("surface trace")


@dataclass(frozen=True, slots=True)
class TextureState(BayState):
    """How the trace is filtered as asked; None takes what the standard's setting classes say.

    A short cutoff of 0 leaves that filter out.
    """

    bay = NAME
    cutoff_mm: float | None = entered(
        None, "Cutoff", text="cutoff", edit="change the cutoff", dimension="length", unit="mm", step=0.05,
        decimals=(3, 4), least=1e-9, optional=True,
    )  # fmt: skip
    short_cutoff_um: float | None = entered(
        None, "Short cutoff, 0 for none", text="short cutoff", edit="change the short cutoff", dimension="length",
        unit="um", step=0.5, decimals=(1, 1), least=0.0, optional=True, digits=6,
    )  # fmt: skip
    sections: int | None = entered(
        None, "Sections in the evaluation length", text="sections", edit="change the sections", least=0.5,
        optional=True, digits=0,
    )  # fmt: skip

    @property
    def short_cutoff_mm(self) -> float | None:
        """The short cutoff in the unit of the cutoff."""
        return None if self.short_cutoff_um is None else round(self.short_cutoff_um / 1000.0, 9)


def spec_in_use(document: Document) -> tuple[BenchFile, Spec] | None:
    """The spec in use among those with limits on traces."""
    return spec_for(document, JUDGES)


def uses(document: Document) -> tuple[BenchFile, ...]:
    """Trace and spec of the question."""
    return files_of(document.in_use(TRACE), spec_in_use(document))


def question(document: Document) -> Question[TextureInspection] | None:
    """Filter and evaluate the trace in use against the spec in use."""
    read = document.value_in_use(TRACE)
    if read is None:
        return None
    trace, asked, found = read[1], document.state(TextureState), spec_in_use(document)

    def work() -> TextureInspection | Partly[TextureInspection]:
        plain = TextureQuestion(trace, asked.cutoff_mm, asked.short_cutoff_mm, asked.sections)
        if found is None:
            return _inspect(plain, asked)
        judged = replace(plain, spec=found[1], spec_file=found[0].path, other_sources=sources_of(found))
        try:
            return _inspect(judged, asked)
        except BadSpec as refusal:
            measured = _inspect(plain, asked)
            inner = f"; {measured.failure}" if isinstance(measured, Partly) else ""
            value = measured.value if isinstance(measured, Partly) else measured
            return Partly(value, f"{without_spec(refusal)}{inner}")

    return Question(
        (*stamps(document, *files_of(read, found)), asked), say("Filtering {name}").format(name=read[0].name), work
    )


def _inspect(asked: TextureQuestion, how: TextureState) -> TextureInspection | Partly[TextureInspection]:
    """The inspection; where the settings can't be had from this trace, the one with the usual settings, and why."""
    try:
        return inspect_texture(asked)
    except BadSpec:
        raise
    except ValvelabError as refusal:
        if how == TextureState():
            raise
        value = inspect_texture(replace(asked, cutoff_mm=None, short_cutoff_mm=None, sections=None))
        return Partly(value, say("{refusal}; shown with the usual settings instead").format(refusal=refusal))


def result(inspection: TextureInspection) -> Result:
    """The result document of an inspection."""
    return inspection.result


def parts(document: Document) -> tuple[JobPart, ...]:
    """The trace in use, with the spec and the settings chosen."""
    return _parts(document, document.state(TextureState))


def _parts(document: Document, asked: TextureState | TextureQuestion) -> tuple[JobPart, ...]:
    file = document.in_use(TRACE)
    if file is None:
        return ()
    cutoff, short = (
        None if length is None else f"{length!r} mm" for length in (asked.cutoff_mm, asked.short_cutoff_mm)
    )
    fields = {"cutoff": cutoff, "short_cutoff": short, "sections": asked.sections}
    return (part_of(NAME, file, spec_in_use(document), **fields),)


def certificate(document: Document, inspection: TextureInspection) -> Shown:
    """The trace's part of a certificate, with the settings that it was evaluated with."""
    return Shown(inspection.result, *_parts(document, inspection.question))


WORK = Work(TextureState, question, result, parts, certificate, uses, spec=spec_in_use, judges=JUDGES)
