"""Page one of a paper holds the verdict and the signatures, whatever else there is to say; nothing said is lost."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from dataclasses import replace

import papers
import pytest
from PIL import Image
from pypdf import PdfReader
from something import each

from valvelab.figures.plan_figures import camshaft_plan, head_plan, short_names
from valvelab.records.particulars import LONGEST_ADDRESS, LONGEST_LINE, LONGEST_REMARKS
from valvelab.records.result import Decision, Result, Source, Verdict
from valvelab.records.spec import Spec
from valvelab.report.assembly import SIGNS, Part, Words, assemble
from valvelab.report.page_model import FigureBlock, Letterhead, Paragraph, Picture, Section, Signatures
from valvelab.report.paper import sheet_size
from valvelab.report.pdf import certificate_bytes
from valvelab.report.tables import column_widths, loosened, needed_widths
from valvelab.tables.description import Table
from valvelab.units import System

LOBES = [
    f"lobe {number} of the long hydroplane engine, bank {'left' if number % 2 else 'right'}" for number in range(60)
]
REMARKS = ("The seat of valve 2 was cut twice, the guide renewed. " * 40)[: LONGEST_REMARKS - 6] + " ended"
CAPTION = ("caption of many words " * 6)[:LONGEST_LINE].strip()


def verdict(item: str, decision: Decision, characteristic: str = "max_lift") -> Verdict:
    chance = {"accept": 0.99, "reject": 0.001, "undecided": 0.5}[decision]
    return Verdict(
        characteristic=characteristic,
        item=item,
        measured=7.612,
        unit="mm",
        standard_uncertainty=0.0008,
        upper=7.5,
        probability_conforming=chance,
        decision=decision,
        clause="a clause with very many words in it, " * 4,
    )


def part(name: str = "Camshaft", lobes: Sequence[str] = LOBES) -> Part:
    """A camshaft of many lobes with long names, of which much is wrong."""
    kinds: tuple[Decision, ...] = ("reject", "undecided", "accept")
    names = ("max_lift", "area", "velocity_max", "centre", "duration", "noise", "opening", "closing")
    rows = [verdict(lobe, kinds[n % 3], names[n % len(names)]) for n, lobe in enumerate(lobes)]
    worst = {row.item: row.decision for row in rows}
    plan = FigureBlock(((camshaft_plan(lobes, worst, dict.fromkeys(lobes, 0.0)),),), 46.0)
    source = Source(file=f"{name}.csv", sha256="0123456789abcdef" * 4)
    labels = ("part", "serial number", "operator", "instrument", "calibration", "measured on", "follower")
    identity = tuple((label, f"the {label} in a great many words, " * 9) for label in labels)
    result = Result(command="lobes", source=(source,), verdicts=tuple(rows))
    return Part(name, result, identity, (plan,), (), ("lobe",), told=("An answer in words. " * 30,))


def picture(number: int) -> Picture:
    target = io.BytesIO()
    Image.new("RGB", (160, 90), (40 * number, 90, 150)).save(target, "PNG")
    return Picture(f"p{number}.png", target.getvalue(), CAPTION)


def everything() -> Words:
    """As much as may be stated of a job."""
    address = "\n".join(f"Mill Lane {number}" for number in range(40))[:LONGEST_ADDRESS]
    head = Letterhead("Works of Quillmere " * 6, tuple(address.split("\n")), picture(3).content)
    long = ("E. Wend and others " * 7)[:LONGEST_LINE]
    return Words(f"Job {'of a long name ' * 30}ended", long, long, REMARKS, False, head, tuple(map(picture, range(3))))


def texts(paper: bytes) -> list[str]:
    return [" ".join(page.split()) for page in papers.page_texts(paper)]


@pytest.mark.parametrize(("system", "parts"), [("metric", 1), ("inch", 1), ("inch", 60)])
def test_signatures_stand_on_page_one(system: System, parts: int) -> None:
    few = LOBES if parts == 1 else LOBES[:3]
    made = [part(f"Camshaft {number}" if number else "Camshaft", few) for number in range(parts)]
    paper = certificate_bytes(assemble(made, "2026-05-03", system, everything(), Spec(title="S" * 300)), system)
    front, *others = texts(paper)
    for role in each(SIGNS):
        assert role in front
        assert role not in " ".join(others)
    assert "Rejected" in front
    assert "Before anything is fitted or run" in front
    whole = " ".join([front, *others])
    said = (REMARKS.split(". ")[0], "renewed", "ended", "of a long name ended", "E. Wend and others")
    assert [words for words in said if words not in whole] == []
    assert whole.count("p0.png") + whole.count(CAPTION[:20]) >= 3
    wide, high = sheet_size(system)
    assert all(0.0 < x < wide and 0.0 < y < high for x, y in places(paper, 0))


def places(paper: bytes, page: int) -> list[tuple[float, float]]:
    """Where the texts of a page begin."""
    found: list[tuple[float, float]] = []

    def seen(text: str, cm: list[float], tm: list[float], _font: object, _size: float) -> None:
        if text.strip():
            found.append((tm[4] * cm[0] + cm[4], tm[5] * cm[3] + cm[5]))

    PdfReader(io.BytesIO(paper)).pages[page].extract_text(visitor_text=seen)
    return found


def test_a_page_with_room_leaves_nothing_out() -> None:
    lobes = ["1I", "1E"]
    row = verdict("1I", "accept").model_copy(update={"measured": 7.4, "clause": None})
    plan = FigureBlock(((camshaft_plan(lobes, {"1I": "accept"}, {}),),), 46.0)
    short = replace(part(), result=Result(command="lobes", verdicts=(row,)), picture=(plan,), identity=(), told=())
    words = Words("Hill climb", "E. Wend", "J-118", "Seen at the gate.", pictures=(picture(0),))
    front = texts(certificate_bytes(assemble([short], "2026-05-03", words=words)))[0]
    for said in each(("Seen at the gate.", CAPTION[:20], "Closest to a limit", "E. Wend")):
        assert said in front
    assert "later page" not in front


def test_a_paper_without_a_drawing_keeps_its_signatures_too() -> None:
    many = replace(
        part(lobes=LOBES[:6]), picture=(), found=tuple(Table(("a", "b"), (("1", "2"),) * 30) for _ in range(4))
    )
    unjudged = replace(many, result=many.result.model_copy(update={"verdicts": ()}))
    for made in each([many, unjudged]):
        front, *others = texts(certificate_bytes(assemble([made], "2026-05-03", words=everything())))
        assert SIGNS[0] in front
        assert SIGNS[0] not in " ".join(others)
        assert "What was found" in " ".join(others)


def test_names_that_have_no_room_become_numbers() -> None:
    assert short_names(["1I", "1E"], 4) == ({"1I": "1I", "1E": "1E"}, "")
    names, told = short_names(LOBES, 4)
    assert [names[lobe] for lobe in LOBES] == [str(number) for number in range(1, 61)]
    assert "order of the readings" in told
    figure = camshaft_plan(LOBES, {}, {})
    assert max(len(text) for marks in figure.marks for text in marks.texts) == 2
    assert "order of the readings" in figure.title
    kinds = {f"{number}{kind}": kind for number in range(1, 9) for kind in ("I", "E")}
    assert head_plan(list(kinds), {}, kinds).title == "The valves from above"


def test_long_words_of_a_table_are_broken_where_they_can_be_read() -> None:
    row = ("max lift", LOBES[0] * 2, "7.61", "club rules, " * 30)
    table = Table(("characteristic", "item", "measured", "clause"), (row,), left=2, flush_left=(3,), wrap=(0, 3))
    loose = replace(loosened(table, 480.0), type_size=7.0)
    widths = column_widths(loose, 480.0)
    assert sum(widths) == pytest.approx(480.0)
    assert widths[0] >= needed_widths(loose)[0] - 1e-6  # two words stay whole
    assert min(widths[1], widths[3]) >= 95.0
    usual = Table(("characteristic", "item"), (("max lift", "1I"),), left=2)
    assert loosened(usual, 480.0) == usual


def test_the_foot_names_the_section_that_lists_the_files() -> None:
    sources = tuple(Source(file=f"{number}.csv", sha256=f"{number:064x}") for number in range(6))
    made = replace(part(), result=Result(command="lobes", source=sources, verdicts=(verdict("1I", "reject"),)))
    pages = papers.page_texts(certificate_bytes(assemble([made], "2026-05-03")))
    assert "6 source files under “Method and sources”" in " ".join(pages[0].split())
    assert sum(page.count("Method and sources") for page in pages) == len(pages) + 1


def test_pages_that_are_whole_by_themselves_take_the_job_s_words_where_they_list() -> None:
    def pages(count: int) -> Callable[[Result], tuple[Section, ...]]:
        listed = Section("All of the event", (Paragraph("a list"), Signatures(SIGNS)), new_page=True)
        cars = tuple(Section(f"car {number}", (), new_page=True) for number in range(count))
        return lambda _result: (listed, *cars) if count > 1 else cars

    words = Words(customer="E. Wend", remarks="Dry day.", letterhead=Letterhead("Works", ()))
    event = texts(certificate_bytes(assemble([replace(part(), pages=pages(3))], "2026-05-03", words=words)))
    assert len(event) == 4
    for said in each(("Works", "All of the event", "E. Wend", "Dry day.", SIGNS[0])):
        assert said in event[0]
    alone = texts(certificate_bytes(assemble([replace(part(), pages=pages(1))], "2026-05-03", words=words)))
    assert "E. Wend" not in alone[0]
    assert "E. Wend" in alone[1]
    headed = Words("a title", letterhead=words.letterhead)
    assert len(texts(certificate_bytes(assemble([replace(part(), pages=pages(1))], "2026-05-03", words=headed)))) == 1
