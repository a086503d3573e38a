"""Puts a certificate together from its parts: one part an inspection, each in the same order for every kind of part.

A kind of certificate is one function `…_part(inspection, …) -> Part`; everything that all certificates share is here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from hashlib import sha256
from pathlib import Path

from valvelab.cautions import CAUTIONS
from valvelab.decimals import percent
from valvelab.inspection.characteristics import Subject, of_subjects
from valvelab.inspection.judging import NOT_HERE
from valvelab.records.result import OPEN, Note, Result, Source, Verdict
from valvelab.records.said import plainly_in, said_in
from valvelab.records.spec import DecisionRule, Spec
from valvelab.report.page_model import (
    Attachment,
    Banner,
    Block,
    Box,
    Certificate,
    FigureBlock,
    Heading,
    Identity,
    Letterhead,
    Paragraph,
    Picture,
    Pictures,
    Section,
    Signatures,
    Spare,
    figure_rows,
)
from valvelab.report.texts import CARRIED, RULES, SHORT_UNCERTAINTY, SOURCES, UNCERTAINTY, WHERE_DEFINED
from valvelab.tables.description import Mark, Table
from valvelab.tables.sentences import (
    about_in_print,
    closest,
    folded,
    in_print,
    limits_told,
    room,
    sentences,
)
from valvelab.tables.verdicts import RANKED, counts, judged, outcome_told, overall, rank, verdict_table
from valvelab.units import System, display_unit, show

TITLE = "Measurement certificate"
"""What every paper is called, beside the part it is of."""
CAUTIONS_BOX = Box("Before anything is fitted or run", (" ".join(CAUTIONS),))
MOST_SENTENCES, MOST_CLOSEST, MOST_DECIDING, MOST_WARNINGS = 6, 4, 40, 12
PICTURED_PARTS, ACROSS = 4, 2
"""Parts of a job whose picture it shows, the gravest first, and how many side by side."""
PICTURE_MM = 62.0
FEW_PARTS = 8
"""Parts of a job that its first page lists where it is full, the gravest."""
LONGEST_VALUE, LONGEST_SENTENCE = 60, 240
"""Signs of what is stated and of a sentence that are left on such a page."""
PARTLY = "Accepted, as far as it is judged here"
"""What a paper says where its spec has limits on other things besides."""
FOUND, PHOTOGRAPHS = "What was found", "Photographs"
ON_FRONT = 3
"""Photographs that the first page has room for; more have pages of their own."""
SOURCE_TYPE = 7.5
"""Points in which the files read are listed, so that a digest stands on one line."""
SHARED = ("part", "serial number", "operator", "measured on")
INSPECTORS = {"operator", "inspector"}
SIGNS = ("inspected by, date", "checked by, date", "for the event, date")


def _no_annexes() -> tuple[Section, ...]:
    return ()


@dataclass(frozen=True, slots=True)
class Part:
    """What one inspection puts on the certificate.

    `name` is the kind of part ("Camshaft"); `identity` label and value pairs, None where not stated. `picture`: the
    part drawn with its bad places marked; `told`: its answer in words, where that is no verdict; `found`: what was
    measured, in short; `annexes` make the detail, which a full paper has; `method`: how, in a few lines; `subjects`
    choose the rows of the full paper's method page; `spec` judged it. `pages`: all there is on a paper of its own, and
    its own pages among several parts, made of its result as it is judged there; None for the usual order. `title` is
    that of a paper of its own, where the kind of part says too little. `by_others`: what other papers judge by its
    spec, and what is taken from them here, where it judges nothing itself.
    """

    name: str
    result: Result
    identity: tuple[tuple[str, str | None], ...]
    picture: tuple[FigureBlock, ...]
    found: tuple[Block, ...]
    subjects: tuple[Subject, ...]
    annexes: Callable[[], tuple[Section, ...]] = _no_annexes
    told: tuple[str, ...] = ()
    method: str = ""
    serial: str | None = None
    spec: Spec | None = None
    pages: Callable[[Result], tuple[Section, ...]] | None = None
    title: str = ""
    by_others: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Words:
    """What a job says besides its parts: its title and particulars, the shop's letterhead, photographs."""

    title: str | None = None
    customer: str | None = None
    job_number: str | None = None
    remarks: str | None = None
    full: bool = False
    letterhead: Letterhead | None = None
    pictures: tuple[Picture, ...] = ()

    @property
    def pairs(self) -> tuple[tuple[str, str | None], ...]:
        """What is stated of the job, by its labels."""
        stated = (("job", self.title), ("job number", self.job_number), ("customer", self.customer))
        return tuple((label, text) for label, text in stated if text)


NO_WORDS = Words()


def assemble(
    parts: Sequence[Part],
    made: str,
    system: System = "metric",
    words: Words = NO_WORDS,
    spec: Spec | None = None,
    attachments: tuple[Attachment, ...] = (),
) -> Certificate:
    """The whole certificate: what was decided on its first page, what decides on the second, annexes where wanted.

    `made` is the date, ISO 8601; `spec` stands for the parts that bring none of their own.
    """
    parts = [replace(part, spec=part.spec or spec, result=said_in(part.result, system)) for part in parts]
    alone = len(parts) == 1
    heading = parts[0].title or f"{parts[0].name}: {TITLE.lower()}" if alone else TITLE
    sections: list[Section] = []
    if alone and parts[0].pages is not None:
        sections += _with_words(parts[0].pages(parts[0].result), words)
    else:
        sections += [
            _front(heading, parts, made, words, system, attachments),
            *_second(parts, words, system, attachments),
        ]
    if words.full:
        sections += _annexes(parts, system, attachments)
    sources = tuple({source.sha256: source for source in _sources(parts)}.values())
    return Certificate(
        title=heading,
        number=number_of(attachments),
        serial=next((part.serial for part in parts if part.serial), None),
        made=made,
        program=f"valvelab {parts[0].result.version}",
        sources=sources,
        sections=tuple(sections),
        attachments=attachments,
        job=words.title or "",
        author=next((told for part in parts for label, told in part.identity if label in INSPECTORS and told), ""),
    )


def _with_words(pages: Sequence[Section], words: Words) -> list[Section]:
    """Pages that are whole by themselves with the job's words: on the one that lists the others, else after them.

    A single page has no room for a head.
    """
    head = (words.letterhead,) if words.letterhead else ()
    said: list[Block] = [Identity(words.pairs)] if words.customer or words.job_number else []
    said += [Paragraph(line) for line in _lines(words)]
    said += [Pictures(words.pictures)] if words.pictures else []
    first, *others = pages
    if others and any(isinstance(block, Signatures) for block in first.blocks[-1:]):
        title = (*head, Heading(first.title)) if head else ()
        blocks = (*title, *first.blocks[:-1], *said, first.blocks[-1])
        return [replace(first, title="" if head else first.title, blocks=blocks), *others]
    return [*pages, Section("Of the job", (*head, *said), new_page=True)] if said else [*pages]


def number_of(attachments: Iterable[Attachment]) -> str:
    """Twelve hex digits that follow from everything the certificate carries."""
    digest = sha256()
    for attachment in sorted(attachments, key=lambda row: row.name):
        digest.update(attachment.name.encode() + b"\0" + sha256(attachment.content).digest())
    text = digest.hexdigest()[:12].upper()
    return "-".join(text[start : start + 4] for start in (0, 4, 8))


def _front(
    heading: str, parts: Sequence[Part], made: str, words: Words, system: System, attachments: Sequence[Attachment]
) -> Section:
    """The first page: whose it is and what of, the verdict in words, a drawing, the closest calls, signatures."""
    results = [part.result for part in parts]
    alone = len(parts) == 1
    blocks: list[Block] = [words.letterhead] if words.letterhead else []
    blocks += [Heading(heading), _identity(_pairs(parts, made, words)), _verdict(parts, system)]
    if alone:
        blocks += [*_told(parts[0].told), *parts[0].picture, *_closest(results, system)]
        if _one_sheet(parts):
            method = short_method(parts, attachments)
            blocks += [Spare(FOUND, parts[0].found, (_later(FOUND),)), Paragraph(method.title, "strong")]
            blocks.append(Spare(method.title, method.blocks, (_later(method.title),)))
    else:
        blocks += [_parts(parts), *_pictures_of(parts)]
    if words.remarks:
        lines = (Paragraph(f"Remarks. {line}" if not number else line) for number, line in enumerate(_lines(words)))
        blocks.append(Spare("Remarks", tuple(lines), (_later("Remarks"),)))
    if 0 < len(words.pictures) <= ON_FRONT:
        blocks.append(Spare(PHOTOGRAPHS, (Pictures(words.pictures),), (_later(PHOTOGRAPHS),)))
    return Section("", (*blocks, CAUTIONS_BOX, Signatures(SIGNS)), one_page=True)


def _later(title: str) -> Paragraph:
    return Paragraph(f"{title}: on a later page.")


def _identity(pairs: tuple[tuple[str, str | None], ...]) -> Spare:
    """What identifies job and part; a full page cuts long values, which then stand whole on a later one."""
    short = tuple((label, value and _shortened(value, LONGEST_VALUE)) for label, value in pairs)
    return Spare("Stated in full" if short != pairs else "", (Identity(pairs),), (Identity(short),), stays=2)


def _told(texts: Sequence[str]) -> list[Block]:
    """A part's answer in words; a full page cuts long ones."""
    whole = tuple(Paragraph(text, "strong") for text in texts)
    short = tuple(replace(one, text=_shortened(one.text, LONGEST_SENTENCE)) for one in whole)
    return [Spare(FOUND if short != whole else "", whole, short, stays=3)] if whole else []


def _verdict(parts: Sequence[Part], system: System) -> Spare:
    """The verdict in words; on a full page in the fewest."""
    results, rules = [part.result for part in parts], _rules(parts)
    whole, short = (verdict_banner(results, rules, system, most) for most in (MOST_SENTENCES, 1))
    others = [text for part in parts if part.spec is not None for text in part.by_others if text]
    if others and whole.decision is None:
        whole = short = Banner(None, "Nothing judged here", "\n".join(others))
    lines = (_shortened(line, LONGEST_SENTENCE) for line in short.sentence.split("\n"))
    return Spare("", (whole,), (replace(short, sentence="\n".join(lines)),), stays=4)


def _shortened(text: str, most: int) -> str:
    return text if len(text) <= most else f"{text[: most - 1].rstrip()}…"


def _one_sheet(parts: Sequence[Part]) -> bool:
    """Whether all there is stands on the first page: nothing was judged and nothing is drawn."""
    return len(parts) == 1 and not parts[0].picture and not parts[0].result.verdicts


def _lines(words: Words) -> list[str]:
    return [line for line in (words.remarks or "").split("\n") if line.strip()]


def _pairs(parts: Sequence[Part], made: str, words: Words) -> tuple[tuple[str, str | None], ...]:
    """What identifies the job and its part, or what all of its parts share."""
    if len(parts) == 1:
        return (*words.pairs, *parts[0].identity, *spec_pairs(parts[0].spec), ("written", made))
    shared: dict[str, str | None] = dict.fromkeys(SHARED)
    for label, value in (pair for part in parts for pair in part.identity):
        if label in shared:
            shared[label] = shared[label] or value
    return (*words.pairs, *shared.items(), ("written", made))


def verdict_banner(
    results: Sequence[Result], rules: Sequence[DecisionRule], system: System, most: int = MOST_SENTENCES
) -> Banner:
    """The overall verdict with its counts; under it what is wrong, by how much, and what may not be done.

    most: sentences on what is wrong, the rest is counted.
    """
    verdicts = [verdict for result in results for verdict in result.verdicts]
    head = banner(verdicts, rules if overall(verdicts) == "accept" else ())
    said = [] if head.decision in {None, "accept"} else sentences(results, system, most)
    notes = (note for result in results for note in result.notes if note.about == NOT_HERE)
    others = [note.text for note in notes if note.level == "info"]
    if others and head.decision == "accept":
        head = replace(head, word=PARTLY)
    return replace(head, sentence="\n".join([head.sentence, *said, *(f"{text}." for text in others)]))


def _closest(results: Sequence[Result], system: System) -> list[Block]:
    """The few accepted values that stand nearest their limits."""
    rows = closest(results, MOST_CLOSEST)
    if not rows:
        return []
    table = accepted_table([(row, 0) for row in rows], results, system, "Closest to a limit among what is accepted")
    return [Spare("", (table,), (replace(table, rows=table.rows[:1]),), stays=1)]


def _parts(parts: Sequence[Part]) -> Block:
    """A line for each part of a job; a full page has the gravest alone."""
    if len(parts) <= FEW_PARTS:
        return _parts_table(parts)
    gravest = sorted(parts, key=lambda part: rank(overall(part.result.verdicts)))[:FEW_PARTS]
    more = Paragraph(f"And {len(parts) - FEW_PARTS} more, none of them graver: on a later page.")
    return Spare("Parts of the job", (_parts_table(parts),), (_parts_table(gravest), more), stays=3)


def _parts_table(parts: Sequence[Part]) -> Table:
    """A line for each part of a job."""
    rows = []
    for part in parts:
        worst = overall(part.result.verdicts)
        counts = [sum(row.decision == kind for row in part.result.verdicts) for kind in RANKED]
        files = ", ".join(dict.fromkeys(Path(source.file).name for source in part.result.source[:1]))
        rows.append((part.name, files, *map(str, reversed(counts)), Mark(worst) if worst else "not judged"))
    header = ("inspected", "readings", "accepted", "undecided", "rejected", "verdict")
    return Table(header, tuple(rows), left=2, flush_left=(5,), widths=(24, 34, 12, 12, 12, 15), wrap=(0, 1))


def _second(
    parts: Sequence[Part], words: Words, system: System, attachments: Sequence[Attachment]
) -> Iterator[Section]:
    """What decides, what was found in short, what asks for attention, how it was measured, from which files."""
    results = [part.result for part in parts]
    deciding = tuple(decided_blocks(results, system))
    own = [section for part in parts if part.pages is not None for section in part.pages(part.result)]
    if _one_sheet(parts):
        found = Section("", ())
    else:
        found = Section(FOUND, parts[0].found if len(parts) == 1 else tuple(_told_of(parts)))
    sections = [Section("What decides", deciding), found] if deciding else [found]
    sections += [Section(PHOTOGRAPHS, (Pictures(words.pictures),))] if len(words.pictures) > ON_FRONT else []
    sections += [*warnings_section(parts), *([] if _one_sheet(parts) else [short_method(parts, attachments)])]
    shown = [section for section in sections if section.blocks]
    yield from (replace(section, new_page=not number) for number, section in enumerate(shown))
    yield from own


def _told_of(parts: Sequence[Part]) -> Iterator[Block]:
    """What parts say in words."""
    for part in parts:
        yield from (Paragraph(f"{part.name}: {text}") for text in part.told)


def _pictures_of(parts: Sequence[Part]) -> Iterator[Block]:
    """The pictures of the gravest parts."""
    gravest = sorted(parts, key=lambda part: rank(overall(part.result.verdicts)))
    columns = [(part, part.picture[0].columns[0]) for part in gravest if part.picture][:PICTURED_PARTS]
    titles = [part.name for part, _ in columns]
    yield from figure_rows([column for _, column in columns], ACROSS, PICTURE_MM, titles)


def decided_blocks(results: Sequence[Result], system: System) -> Iterator[Block]:
    """Rejected and undecided first, row by row; accepted folded to one line a characteristic."""
    open_ = sorted(
        (verdict for result in results for verdict in result.verdicts if verdict.decision != "accept"),
        key=lambda row: (rank(row.decision), row.probability_conforming or 0.0),
    )
    if open_:
        yield from verdict_blocks(open_[:MOST_DECIDING], results, system, "Not accepted")
    if len(open_) > MOST_DECIDING:
        yield Paragraph(f"And {len(open_) - MOST_DECIDING} more; the carried results and the full paper have them all.")
    accepted = folded(results)
    if accepted:
        title = "Accepted: of each characteristic the value nearest its limit"
        yield accepted_table(accepted, results, system, title)


def accepted_table(rows: Sequence[tuple[Verdict, int]], results: Sequence[Result], system: System, title: str) -> Table:
    """Accepted verdicts with the room that is left to the limit; with each how many it stands for, 0 for itself."""
    known = {row: count for result in results for row, count in counts(result, system).items()}
    cells = []
    for verdict, count in rows:
        decimals = known[verdict]
        cells.append(
            (
                judged(verdict, system),
                *([str(count)] if count else []),
                verdict.item,
                show(verdict.measured, verdict.unit, system, decimals),
                show(verdict.standard_uncertainty, verdict.unit, system, decimals),
                limits_told(verdict, decimals, system),
                show(room(verdict), verdict.unit, system, decimals),
                display_unit(verdict.unit, system).label,
                percent(verdict.probability_conforming),
            )
        )
    many = any(count for _, count in rows)
    header = (
        "characteristic",
        *(["accepted"] if many else []),
        "item",
        "measured",
        "u",
        "limits",
        "room",
        "unit",
        "conforms",
    )
    shift = int(many)
    return Table(header, tuple(cells), left=1, flush_left=(1 + shift, 6 + shift), wrap=(0,), title=title)


def warnings_section(parts: Sequence[Part]) -> list[Section]:
    """What asks for attention, a line each."""
    told = (
        f"{about_in_print(note.about, part.subjects)}: {in_print(note.text, part.subjects)}"
        for part in parts
        for note in part.result.notes
        if note.level == "warning" and not note.text.startswith(OPEN)
    )
    lines = list(dict.fromkeys(told))
    shown = [Paragraph(f"{line[:1].upper()}{line[1:]}.") for line in lines[:MOST_WARNINGS]]
    if len(lines) > MOST_WARNINGS:
        shown.append(Paragraph(f"And {len(lines) - MOST_WARNINGS} more in the carried results."))
    return [Section("Attention", tuple(shown))] if shown else []


def short_method(parts: Sequence[Part], attachments: Sequence[Attachment]) -> Section:
    """How it was measured and decided, in a few lines; the files that were read with their SHA-256."""
    lines = [part.method for part in parts if part.method] if len(parts) == 1 else []
    lines += [SHORT_UNCERTAINTY, *map(in_words, _rules(parts)), WHERE_DEFINED]
    lines += [CARRIED] if attachments else []
    return Section(SOURCES, (*map(Paragraph, lines), sources_table(_sources(parts), attachments)))


def _annexes(parts: Sequence[Part], system: System, attachments: Sequence[Attachment]) -> Iterator[Section]:
    """Every row and every plot."""
    for number, part in enumerate(parts):
        blocks: list[Block] = [] if len(parts) == 1 else [Identity((*part.identity, *spec_pairs(part.spec)))]
        blocks += verdict_blocks(part.result.verdicts, [part.result], system, "Every verdict")
        if len(parts) > 1:
            blocks += [*(Paragraph(text, "strong") for text in part.told), *part.picture, *part.found]
        title = "Annexes" if len(parts) == 1 else f"Annex {number + 1}: {part.name.lower()}"
        yield Section(title, tuple(blocks), new_page=not number)
        yield from (replace(section, new_page=False) for section in part.annexes() if section.blocks)
    yield notes_section([(note, part.subjects) for part in parts for note in part.result.notes])
    yield carried_section(attachments)
    yield method_section(tuple(subject for part in parts for subject in part.subjects), _rules(parts), system)


def spec_pairs(spec: Spec | None) -> tuple[tuple[str, str | None], ...]:
    """What a spec is called on paper."""
    if spec is None:
        return (("spec", None),)
    revision = f", revision {spec.revision}" if spec.revision else ""
    return (("spec", (spec.title or "untitled") + revision),)


def _rules(parts: Sequence[Part]) -> tuple[DecisionRule, ...]:
    """The different rules by which parts were judged."""
    return tuple(dict.fromkeys(part.spec.decision for part in parts if part.spec is not None))


def banner(verdicts: Sequence[Verdict], rules: Sequence[DecisionRule] = ()) -> Banner:
    """The overall verdict with its counts, and the rule where there is one for all."""
    decision = overall(verdicts)
    head, told = outcome_told(verdicts)
    one_rule = decision is not None and len(rules) == 1
    return Banner(decision, head, f"{told} {in_words(rules[0])}" if one_rule else told)


def in_words(rule: DecisionRule) -> str:
    """A decision rule in words."""
    sure = 100.0 * rule.confidence
    return RULES[rule.rule].format(sure=sure, unsure=100.0 - sure)


def verdict_blocks(
    verdicts: Sequence[Verdict], among: Sequence[Result], system: System, title: str = ""
) -> list[Block]:
    """The table of verdicts of some results, and under it why some are undecided or what their uncertainty lacks."""
    table, reasons = verdict_table(verdicts, among, system, title)
    return [table, *([Paragraph(" ".join(map(in_print, reasons)), "small")] if reasons else [])]


def notes_section(told: Sequence[tuple[Note, tuple[Subject, ...]]]) -> Section:
    """Everything the reader has to know, attention first; with each note what its part is about."""
    rows = dict.fromkeys(
        (
            "attention" if note.level == "warning" else "",
            about_in_print(note.about, subjects),
            in_print(note.text, subjects),
        )
        for note, subjects in sorted(told, key=lambda one: one[0].level != "warning")
    )
    if not rows:
        return Section("Notes", (Paragraph("None."),))
    return Section("Notes", (Table(("", "about", "note"), tuple(rows), left=3, widths=(12, 22, 66), wrap=(1, 2)),))


def _sources(parts: Sequence[Part]) -> list[Source]:
    """The files that parts were read from."""
    return [source for part in parts for source in part.result.source]


def sources_table(read: Iterable[Source], attachments: Sequence[Attachment]) -> Table:
    """The files that were read with their SHA-256."""
    carried = {sha256(row.content).hexdigest(): row.name for row in attachments}
    sources = {source.sha256: source for source in read}
    rows = tuple((carried.get(digest, Path(one.file).name), grouped(digest)) for digest, one in sources.items())
    return Table(("file", "SHA-256"), rows, left=2, wrap=(0,), type_size=SOURCE_TYPE)


def carried_section(attachments: Sequence[Attachment]) -> Section:
    """Every file that the paper carries."""
    rows = tuple(
        (row.name, row.note, f"{len(row.content):,}".replace(",", "\u202f"), grouped(sha256(row.content).hexdigest()))
        for row in attachments
    )
    header = ("file", "what", "bytes", "SHA-256")
    table = Table(header, rows, left=2, wrap=(0, 1, 3), flush_left=(3,), widths=(28, 22, 10, 40))
    return Section("Files carried", (table,) if rows else ())


def grouped(digest: str) -> str:
    """Hex digits in eights, to be compared by eye."""
    return " ".join(digest[start : start + 8] for start in range(0, len(digest), 8))


def method_section(subjects: Sequence[Subject], rules: Sequence[DecisionRule], system: System) -> Section:
    """Every characteristic of these subjects: meaning, method, source; and how uncertainty and decisions work."""
    rows = tuple(
        (
            row.head,
            display_unit(row.unit, system).label or "–",
            plainly_in(row.meaning, system),
            plainly_in(row.method, system),
            row.source,
        )
        for row in of_subjects(subjects)
    )
    blocks: list[Block] = [Paragraph(text) for text in UNCERTAINTY]
    blocks += [Paragraph(in_words(rule)) for rule in rules]
    header = ("characteristic", "unit", "what it is", "how it is computed", "source")
    blocks.append(Table(header, rows, left=5, widths=(16, 11, 31, 28, 14)))
    return Section("Method and uncertainty", tuple(blocks))
