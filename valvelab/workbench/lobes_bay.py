"""The camshaft bay: a lift table, a spec, their nominal tables."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from valvelab.conformity.band import BandPiece
from valvelab.conformity.envelope import EnvelopeFit, use_in
from valvelab.errors import BadSpec
from valvelab.files.contents import read_contents
from valvelab.files.corrected import corrected_lift_table
from valvelab.files.lift_table import read_lift_table
from valvelab.files.spec_file import nominal_path, parse_toml
from valvelab.inspection.lobes.inspect import LobesInspection, inspect_lobes
from valvelab.language import say
from valvelab.records.job import Shown
from valvelab.records.measurement import LiftTable
from valvelab.records.parts.part import JobPart
from valvelab.records.result import Result, Source
from valvelab.records.spec import Spec
from valvelab.workbench.background import Partly, Question
from valvelab.workbench.bay import Work, front_item
from valvelab.workbench.card_choice import card_for
from valvelab.workbench.document import BenchFile, Document, Kind
from valvelab.workbench.nominals import nominals
from valvelab.workbench.papers import part_of
from valvelab.workbench.spec_choice import files_of, inspected_to, spec_for, stamps
from valvelab.workbench.state import BayState, entered

NAME = "lobes"
JUDGES = ("lobe", "camshaft")
TABLE: Kind[LiftTable] = Kind("lift table")


@dataclass(frozen=True, slots=True)
class LobesState(BayState):
    """What is looked at: a lobe, durations at a lift, which map, list and plots."""

    bay = NAME
    lobe: str = ""
    checking_lift_mm: float = entered(
        1.27, "Checking lift", text="at checking lift", edit="move the checking lift", dimension="length", unit="mm",
        step=0.05, decimals=(3, 4), least=0.02, digits=4,
    )  # fmt: skip
    map: str = "deviation"
    page: str = "durations"
    plots: frozenset[str] = frozenset({"deviation", "lift", "velocity", "acceleration", "jerk"})


def chosen_lobe(document: Document, inspection: LobesInspection) -> str:
    """The lobe in front: the one chosen while the shaft has it, else the first rejected, else the first."""
    names = [lobe.lobe for lobe in inspection.result.lobes]
    return front_item(inspection.result, names, document.state(LobesState).lobe)


def spec_in_use(document: Document) -> tuple[BenchFile, Spec] | None:
    """The spec that verdicts are reached by, with its file.

    The one chosen by hand; else one that speaks of lobes, before all the one that bears the table's own name.
    """
    table = table_in_use(document)
    return spec_for(document, JUDGES, lambda spec: bool(spec.envelope), None if table is None else table.path)


@dataclass(frozen=True, slots=True)
class LobeBand:
    """The band that a lobe lies in: where it stands in its spec, counted from 0, its pieces and their use."""

    lobe: str
    file: BenchFile
    number: int
    pieces: tuple[BandPiece, ...]
    fit: EnvelopeFit

    @property
    def use(self) -> float:
        """The worst use of the band: 1 touches it."""
        return use_in(self.fit, self.pieces)


def band_of(document: Document, inspection: LobesInspection, lobe: str) -> LobeBand | None:
    """The band of the spec in use that a lobe lies in; None without an envelope for it."""
    found, lies = spec_in_use(document), inspection.envelopes.get(lobe)
    if found is None or lies is None:
        return None
    kind = next((row.kind for row in inspection.result.lobes if row.lobe == lobe), None)
    for number, envelope in enumerate(found[1].envelope):
        names = envelope.lobes
        if names in {"all", kind} or (not isinstance(names, str) and lobe in names):
            return LobeBand(lobe, found[0], number, envelope.band, lies.fit)
    return None


def as_in(band: LobeBand, text: str) -> LobeBand:
    """The band as another text of its spec has it; BadSpec where that can't be read."""
    spec = parse_toml(text.encode(), band.file.name, Spec, BadSpec)
    return replace(band, pieces=spec.envelope[band.number].band)


def nominal_paths(spec_path: str, spec: Spec) -> dict[str, Path]:
    """Nominal tables that the envelopes name, by that name; BadSpec where one is not there."""
    return {row.nominal: nominal_path(spec_path, row, number) for number, row in enumerate(spec.envelope, start=1)}


def table_in_use(document: Document) -> BenchFile | None:
    """The lift table that is inspected: never one that the spec uses as a nominal, unless chosen by hand."""
    chosen, kept_back = document.current.get(TABLE), nominals(document)
    candidates = [file for file in document.of_kind(TABLE) if file.path == chosen or file.path not in kept_back]
    return next((file for file in candidates if file.path == chosen), candidates[0] if candidates else None)


def uses(document: Document) -> tuple[BenchFile, ...]:
    """The lift table, the spec and the instrument's card of the question."""
    return files_of(table_in_use(document), spec_in_use(document), card_in_use(document))


def card_in_use(document: Document) -> BenchFile | None:
    """The card that the lifts in use are corrected by."""
    file = table_in_use(document)
    table = None if file is None else document.value_of(file, TABLE)
    return None if table is None else card_for(document, "length", table.instrument)


def measured_table(table: LiftTable, card: BenchFile | None) -> tuple[LiftTable, tuple[Source, ...]]:
    """The table as the card corrects it, and the card's identity; read away from the window."""
    return corrected_lift_table(table, None if card is None else card.given)


def question(document: Document) -> Question[LobesInspection] | None:
    """Inspect the lift table in use against the spec in use."""
    file = table_in_use(document)
    table = None if file is None else document.value_of(file, TABLE)
    if file is None or table is None:
        return None
    found, card = spec_in_use(document), card_in_use(document)

    def work() -> LobesInspection | Partly[LobesInspection]:
        measured, cards = measured_table(table, card)
        if found is None:
            return inspect_lobes(measured, sources=cards)
        return inspected_to(
            lambda: _inspect_to_spec(measured, cards, *found), lambda: inspect_lobes(measured, sources=cards)
        )

    return Question(
        stamps(document, *files_of(file, found, card)), say("Inspecting {name}").format(name=file.name), work
    )


def _inspect_to_spec(table: LiftTable, cards: tuple[Source, ...], file: BenchFile, spec: Spec) -> LobesInspection:
    nominals = {name: read_lift_table(path) for name, path in nominal_paths(file.path, spec).items()}
    sources = (read_contents(file.given).source, *cards, *(nominal.source for nominal in nominals.values()))
    return inspect_lobes(table, spec, nominals, spec_file=file.path, sources=sources)


def result(inspection: LobesInspection) -> Result:
    """The result document of an inspection."""
    return inspection.result


def parts(document: Document) -> tuple[JobPart, ...]:
    """The lift table in use, corrected by the card in use, against the spec in use."""
    file, card = table_in_use(document), card_in_use(document)
    instrument = None if card is None else Path(card.path)
    return () if file is None else (part_of(NAME, file, spec_in_use(document), instrument=instrument),)


def certificate(document: Document, inspection: LobesInspection) -> Shown:
    """The camshaft's part of a certificate."""
    return Shown(inspection.result, *parts(document))


WORK = Work(LobesState, question, result, parts, certificate, uses, spec=spec_in_use, judges=JUDGES)
