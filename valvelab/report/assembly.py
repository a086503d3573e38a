"""Puts a certificate together from its parts: one part an inspection, each in the same order for every kind of part.

A kind of certificate is one function `…_part(inspection, …) -> Part`; everything that all certificates share is here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from hashlib import sha256
from pathlib import Path

from valvelab.cautions import CAUTIONS
from valvelab.inspection.characteristics import Subject, of_subjects
from valvelab.records.result import Note, Result, Source, Verdict
from valvelab.records.spec import DecisionRule, Spec
from valvelab.report.page_model import (
    Attachment,
    Banner,
    Block,
    Box,
    Certificate,
    Identity,
    Paragraph,
    Section,
    Signatures,
)
from valvelab.report.texts import CARRIED, RULES, UNCERTAINTY
from valvelab.tables.description import Mark, Table
from valvelab.tables.verdicts import RANKED, WORDS, overall, rank, verdict_table
from valvelab.units import System, display_unit

FIRST_PAGE_ROWS = 8
CAUTIONS_BOX = Box("Before anything is fitted or run", CAUTIONS)
PICTURED_PARTS = 8
SHARED = ("part", "serial number", "operator", "measured on")
INSPECTORS = {"operator", "inspector"}
SIGNS = ("inspected by, date", "checked by, date", "for the event, date")


@dataclass(frozen=True, slots=True)
class Part:
    """What one inspection puts on the certificate.

    `name` is the kind of part ("Camshaft"); `identity` label and value pairs, None where not stated; `overview` blocks
    for the first page; `sections` the detail; `subjects` choose the rows of the method page; `spec` judged it. `pages`:
    all there is on a paper of its own, and its own pages among several parts, made of its result as it is judged there;
    None for the usual order. `title` is that of a paper of its own, where the kind of part says too little.
    """

    name: str
    result: Result
    identity: tuple[tuple[str, str | None], ...]
    overview: tuple[Block, ...]
    sections: tuple[Section, ...]
    subjects: tuple[Subject, ...]
    serial: str | None = None
    spec: Spec | None = None
    pages: Callable[[Result], tuple[Section, ...]] | None = None
    title: str = ""


def assemble(
    parts: Sequence[Part],
    made: str,
    system: System = "metric",
    title: str | None = None,
    spec: Spec | None = None,
    attachments: tuple[Attachment, ...] = (),
) -> Certificate:
    """The whole certificate: verdict first, then evidence, method, cautions.

    `made` is the date, ISO 8601; `spec` stands for the parts that bring none of their own. One part spreads over the
    first page; several get a line each there, under them what the first one shows, and pages of their own.
    """
    parts = [replace(part, spec=part.spec or spec) for part in parts]
    sources = tuple({source.sha256: source for part in parts for source in part.result.source}.values())
    alone = len(parts) == 1
    heading = parts[0].title or f"{parts[0].name}: measurement certificate" if alone else "Measurement certificate"
    if alone and parts[0].pages is not None:
        own = parts[0].pages(parts[0].result)
        return _paper(parts, heading, title, own, made, sources, attachments)
    front = _front_of_one(parts[0], made, title, system) if alone else _front_of_many(parts, made, title, system)
    sections = [Section(heading, (*front, Signatures(SIGNS)))]
    for part in parts:
        sections += _one_part(part, system) if alone else _one_of_many(part, system)
    sections += [
        notes_section([note for part in parts for note in part.result.notes]),
        sources_section(sources, attachments),
        method_section(tuple(subject for part in parts for subject in part.subjects), _rules(parts)),
        *([Section("Cautions", (CAUTIONS_BOX,))] if alone else []),
    ]
    return _paper(parts, heading, title, tuple(sections), made, sources, attachments)


def _paper(
    parts: Sequence[Part],
    title: str,
    job: str | None,
    sections: tuple[Section, ...],
    made: str,
    sources: tuple[Source, ...],
    attachments: tuple[Attachment, ...],
) -> Certificate:
    return Certificate(
        title=title,
        number=number_of(attachments),
        serial=next((part.serial for part in parts if part.serial), None),
        made=made,
        program=f"valvelab {parts[0].result.version}",
        sources=sources,
        sections=sections,
        attachments=attachments,
        job=job or "",
        author=next((told for part in parts for label, told in part.identity if label in INSPECTORS and told), ""),
    )


def number_of(attachments: Iterable[Attachment]) -> str:
    """Twelve hex digits that follow from everything the certificate carries."""
    digest = sha256()
    for attachment in sorted(attachments, key=lambda row: row.name):
        digest.update(attachment.name.encode() + b"\0" + sha256(attachment.content).digest())
    text = digest.hexdigest()[:12].upper()
    return "-".join(text[start : start + 4] for start in (0, 4, 8))


def _front_of_one(part: Part, made: str, title: str | None, system: System) -> list[Block]:
    """Identity, verdict, what needs attention, and the part's overview."""
    verdicts = part.result.verdicts
    pairs = (*part.identity, *spec_pairs(part.spec), ("certificate written", made))
    named = (("job", title), *pairs) if title else pairs
    blocks: list[Block] = [Identity(named), banner(verdicts, _rules([part]))]
    return [*blocks, *_to_look_at([part], system), *part.overview]


def _front_of_many(parts: Sequence[Part], made: str, title: str | None, system: System) -> list[Block]:
    """What all parts share, the overall verdict, a line for each part, and what needs attention."""
    shared: dict[str, str | None] = dict.fromkeys(SHARED)
    for part in parts:
        for label, value in part.identity:
            if label in shared:
                shared[label] = shared[label] or value
    pairs = (("job", title), *shared.items(), ("certificate written", made))
    verdicts = [verdict for part in parts for verdict in part.result.verdicts]
    rows = []
    for part in parts:
        worst = overall(part.result.verdicts)
        counts = [sum(row.decision == kind for row in part.result.verdicts) for kind in RANKED]
        files = ", ".join(dict.fromkeys(Path(source.file).name for source in part.result.source[:1]))
        rows.append((part.name, files, *map(str, reversed(counts)), Mark(worst) if worst else "not judged"))
    header = ("inspected", "readings", "accepted", "undecided", "rejected", "worst verdict")
    table = Table(header, tuple(rows), left=2, flush_left=(5,), widths=(24, 36, 11, 11, 11, 16), wrap=(0, 1))
    blocks = [Identity(pairs), banner(verdicts, _rules(parts)), table, *_to_look_at(parts, system)]
    return [*blocks, *(block for block in parts[0].overview[:1] if len(parts) <= PICTURED_PARTS), CAUTIONS_BOX]


def _one_part(part: Part, system: System) -> list[Section]:
    """The full verdict table where the first page had no room for it, then the detail."""
    verdicts = part.result.verdicts
    table = [Section("Verdicts", tuple(verdict_blocks(verdicts, [part.result], system)), new_page=True)]
    return [*(table if len(verdicts) > FIRST_PAGE_ROWS else []), *part.sections]


def _one_of_many(part: Part, system: System) -> list[Section]:
    """One part on pages of its own: identity, verdicts, overview, detail."""
    if part.pages is not None:
        return list(part.pages(part.result))
    blocks: list[Block] = [Identity((*part.identity, *spec_pairs(part.spec)))]
    if part.result.verdicts:
        blocks += verdict_blocks(part.result.verdicts, [part.result], system)
    detail = (
        replace(section, title="" if section.title == part.name else section.title, new_page=False)
        for section in part.sections
    )
    return [Section(part.name, (*blocks, *part.overview), new_page=True), *detail]


def spec_pairs(spec: Spec | None) -> tuple[tuple[str, str | None], ...]:
    """What a spec is called on paper."""
    if spec is None:
        return (("spec", None),)
    revision = f", revision {spec.revision}" if spec.revision else ""
    return (("spec", (spec.title or "untitled") + revision),)


def _rules(parts: Sequence[Part]) -> tuple[DecisionRule, ...]:
    """The different rules by which parts were judged."""
    return tuple(dict.fromkeys(part.spec.decision for part in parts if part.spec is not None))


def _to_look_at(parts: Sequence[Part], system: System) -> list[Block]:
    """All verdicts where they are few, else those not accepted."""
    among = [part.result for part in parts]
    verdicts = [verdict for result in among for verdict in result.verdicts]
    shown = verdicts if len(verdicts) <= FIRST_PAGE_ROWS else _attention(verdicts)
    if not shown:
        return []
    heading = "" if len(shown) == len(verdicts) else "Not accepted"
    blocks = verdict_blocks(shown[:FIRST_PAGE_ROWS], among, system, heading)
    if len(shown) > FIRST_PAGE_ROWS:
        rest = len(shown) - FIRST_PAGE_ROWS
        blocks.append(Paragraph(f"and {rest} more; the full table follows.", "small"))
    return blocks


def _attention(verdicts: Sequence[Verdict]) -> list[Verdict]:
    """Rejected first, then undecided, each least likely to conform first."""
    rows = [verdict for verdict in verdicts if verdict.decision != "accept"]
    return sorted(rows, key=lambda row: (rank(row.decision), row.probability_conforming or 0.0))


def banner(verdicts: Sequence[Verdict], rules: Sequence[DecisionRule] = ()) -> Banner:
    """The overall verdict with its counts, and the rule where there is one for all."""
    decision = overall(verdicts)
    if decision is None:
        return Banner(None, "Nothing judged", "No limit of a spec applied; the certificate states what was measured.")
    counts = [(kind, sum(row.decision == kind for row in verdicts)) for kind in RANKED]
    told = ", ".join(f"{count} {WORDS[kind]}" for kind, count in counts if count)
    characteristics = "characteristic" if len(verdicts) == 1 else "characteristics"
    told = f"Of {len(verdicts)} {characteristics} judged: {told}."
    return Banner(decision, WORDS[decision].capitalize(), f"{told} {in_words(rules[0])}" if len(rules) == 1 else told)


def in_words(rule: DecisionRule) -> str:
    """A decision rule in words."""
    sure = 100.0 * rule.confidence
    return RULES[rule.rule].format(sure=sure, unsure=100.0 - sure)


def verdict_blocks(
    verdicts: Sequence[Verdict], among: Sequence[Result], system: System, title: str = ""
) -> list[Block]:
    """The table of verdicts of some results, and under it why some are undecided or what their uncertainty lacks."""
    table, reasons = verdict_table(verdicts, among, system, title)
    return [table, *(Paragraph(reason, "small") for reason in reasons)]


def notes_section(notes: Sequence[Note]) -> Section:
    """Everything the reader has to know, attention first."""
    ordered = sorted(notes, key=lambda note: note.level != "warning")
    rows = tuple(("attention" if note.level == "warning" else "", note.about, note.text) for note in ordered)
    if not rows:
        return Section("Notes", (Paragraph("None."),))
    return Section("Notes", (Table(("", "about", "note"), rows, left=3, wrap=(2,)),))


def sources_section(sources: Sequence[Source], attachments: Sequence[Attachment]) -> Section:
    """Files and their SHA-256, and how to recompute."""
    if not attachments:
        rows = tuple((Path(source.file).name, grouped(source.sha256)) for source in sources)
        return Section("Data identity", (Table(("file", "SHA-256"), rows, left=2, wrap=(0,)),))
    carried = tuple(
        (row.name, row.note, f"{len(row.content):,}".replace(",", "\u202f"), grouped(sha256(row.content).hexdigest()))
        for row in attachments
    )
    table = Table(("file", "what", "bytes", "SHA-256"), carried, left=2, wrap=(0, 1), flush_left=(3,))
    return Section("Data identity", (Paragraph(CARRIED), table))


def grouped(digest: str) -> str:
    """Hex digits in eights, to be compared by eye."""
    return " ".join(digest[start : start + 8] for start in range(0, len(digest), 8))


def method_section(subjects: Sequence[Subject], rules: Sequence[DecisionRule]) -> Section:
    """Every characteristic of these subjects: meaning, method, source; and how uncertainty and decisions work."""
    rows = tuple(
        (row.head, display_unit(row.unit, "metric").label or "–", row.meaning, row.method, row.source)
        for row in of_subjects(subjects)
    )
    blocks: list[Block] = [Paragraph(text) for text in UNCERTAINTY]
    blocks += [Paragraph(in_words(rule)) for rule in rules]
    header = ("characteristic", "unit", "what it is", "how it is computed", "source")
    blocks.append(Table(header, rows, left=5, widths=(16, 11, 31, 28, 14)))
    return Section("Method and uncertainty", tuple(blocks))
