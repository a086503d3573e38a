"""The spring bay: a tray of readings, a spec, and heights where shims are wanted."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, get_args

from valvelab.figures.spring_figures import tray_lines
from valvelab.files.corrected import corrected_springs
from valvelab.inspection.springs.analysis import SpringAnalysis
from valvelab.inspection.springs.fix_text import fix_text
from valvelab.inspection.springs.given_sets import describe_sets
from valvelab.inspection.springs.inspect import SpringsInspection, SpringsQuestion, inspect_springs, latest_stages
from valvelab.inspection.springs.sets import SetsInspection, SetsQuestion, inspect_sets
from valvelab.inspection.springs.shim_case import Lock
from valvelab.inspection.springs.shim_work import Setting
from valvelab.inspection.springs.shims import ShimsInspection, ShimsQuestion, inspect_shims, planned
from valvelab.inspection.springs.usable import reasons
from valvelab.language import say
from valvelab.phrase import Phrase
from valvelab.quoting import listed, written
from valvelab.records.job import Shown
from valvelab.records.parts.part import JobPart
from valvelab.records.result import Result
from valvelab.records.spec import Spec
from valvelab.records.spring_readings import HeightsTable, SpringTable
from valvelab.records.springs_result import SpringResult
from valvelab.records.wire_materials import read_wire_materials
from valvelab.sets.tray import Progress
from valvelab.tables.springs import facts_columns
from valvelab.units import System
from valvelab.very_same import OfTheSame
from valvelab.workbench import sets
from valvelab.workbench.background import Partly, Question, answer_to
from valvelab.workbench.bay import Work, front_item
from valvelab.workbench.card_choice import card_for
from valvelab.workbench.document import Answer, BenchFile, Document, Kind
from valvelab.workbench.fitting import UNTOUCHED, Fitting
from valvelab.workbench.papers import part_of
from valvelab.workbench.set_wishes import (
    NONE,
    Wishes,
    by_hand,
    hand_fields,
    part_fields,
    parted,
    positions,
    tied,
)
from valvelab.workbench.sets import NAME, SpringsState
from valvelab.workbench.spec_choice import files_of, inspected_to, sources_of, spec_for, stamps
from valvelab.workbench.state import with_item

READINGS: Kind[SpringTable] = Kind("spring readings")
HEIGHTS: Kind[HeightsTable] = Kind("heights")
JUDGES = ("spring",)
SETS, SHIMS = "springs, sets", "springs, shims"
"""The names that the answers of matching and of the shim plan are kept under."""


def table_in_use(document: Document) -> tuple[BenchFile, SpringTable] | None:
    """The tray that is inspected."""
    return document.value_in_use(READINGS)


def heights_in_use(document: Document) -> tuple[BenchFile, HeightsTable] | None:
    """The heights that shims are planned for."""
    return document.value_in_use(HEIGHTS)


def spec_in_use(document: Document) -> tuple[BenchFile, Spec] | None:
    """The spec that verdicts are reached by: the one chosen, else the first that speaks of springs."""
    return spec_for(document, JUDGES, lambda spec: spec.fitting.installed_height_mm is not None)


def cards_in_use(document: Document) -> tuple[BenchFile, ...]:
    """The cards that forces and heights of the tray are corrected by."""
    tray = table_in_use(document)
    if tray is None:
        return ()
    instrument = tray[1].remarks.get("instrument")
    return files_of(card_for(document, "force", instrument), card_for(document, "length", instrument))


def uses(document: Document) -> tuple[BenchFile, ...]:
    """Readings, spec, heights and cards that the bay works on."""
    cards = cards_in_use(document)
    return files_of(table_in_use(document), spec_in_use(document), heights_in_use(document), *cards)


def springs_question(
    table: SpringTable, found: tuple[BenchFile, Spec] | None, cards: Sequence[BenchFile]
) -> SpringsQuestion:
    """Readings, as the cards correct them, and spec as the inspection asks for them."""
    measured, sources = corrected_springs(table, [card.given for card in cards])
    if found is None:
        return SpringsQuestion(measured, materials=read_wire_materials(), other_sources=sources)
    sources = (*sources_of(found), *sources)
    return SpringsQuestion(measured, found[1], found[0].path, read_wire_materials(), other_sources=sources)


def question(document: Document) -> Question[SpringsInspection] | None:
    """Inspect the tray in use against the spec in use."""
    tray = table_in_use(document)
    if tray is None:
        return None
    found, cards = spec_in_use(document), cards_in_use(document)

    def work() -> SpringsInspection | Partly[SpringsInspection]:
        inspected = inspected_to(
            lambda: inspect_springs(springs_question(tray[1], found, cards)),
            lambda: inspect_springs(springs_question(tray[1], None, cards)),
        )
        inspection = inspected.value if isinstance(inspected, Partly) else inspected
        # decimals and lines of a whole tray are worked out here, the window does not wait for them
        for system in get_args(System):
            facts_columns(inspection.result.springs, system)
        tray_lines(inspection)
        return inspected

    return Question(
        stamps(document, *files_of(tray, found, *cards)), say("Inspecting {name}").format(name=tray[0].name), work
    )


@dataclass(frozen=True, slots=True)
class ShimsKey:
    """What a shim plan depends on: files as they were read and who may be used, the springs of a set, what was kept."""

    read: object
    only: tuple[str, ...] | None
    kept: tuple[Setting, ...]


def _fitting_key(document: Document) -> str:
    heights = heights_in_use(document)
    return readings_of(document) + ("" if heights is None else heights[1].source.sha256)


def fitting_of(document: Document) -> Fitting:
    """What was decided by hand of the plan for the tray and the heights in use; a set that is gone is none."""
    fitting = document.state(SpringsState).fittings.get(_fitting_key(document), UNTOUCHED)
    return fitting if fitting.set is None or fitting.set < len(_sets_now(document)) else UNTOUCHED


def with_fitting(document: Document, fitting: Fitting) -> Mapping[str, Fitting]:
    """What was decided of every plan, with this of the one for the files in use."""
    return with_item(document.state(SpringsState).fittings, _fitting_key(document), fitting)


def _sets_now(document: Document) -> tuple[tuple[str, ...], ...]:
    """The sets of the tray in use, without springs that may not be used as far as it has been inspected."""
    usable = _usable_now(document)
    if usable is None:
        return document.state(SpringsState).groupings.get(readings_of(document), sets.Grouping()).sets
    return grouping_of(document, usable.values).sets


def _springs_fitted(document: Document) -> tuple[tuple[str, ...] | None, str]:
    """The springs of the set that is fitted and what it is called; None for the whole tray."""
    number = fitting_of(document).set
    return (None, "") if number is None else (_sets_now(document)[number], Phrase("set {number}", number=number + 1))


def shims_question(document: Document) -> Question[ShimsInspection] | None:
    """Plan springs and shims for the heights in use; springs that were looked at for the plan before are not again."""
    tray, heights, found = table_in_use(document), heights_in_use(document), spec_in_use(document)
    if tray is None or heights is None:
        return None
    cards, hand = cards_in_use(document), by_hand(_wishes_now(document))
    only, of = _springs_fitted(document)
    read = ("shims", hand, *stamps(document, *files_of(tray, heights, found, *cards)))
    key = ShimsKey(read, only, fitting_of(document).kept)
    before = document.answers.get(SHIMS)

    def work() -> ShimsInspection:
        locks = {one.position: Lock.of(one) for one in key.kept}
        if before is not None and isinstance(before.key, ShimsKey) and before.key.read == read and before.value:
            earlier: ShimsInspection = before.value
            return planned(replace(earlier.question, only=only, of=of, locks=locks), earlier.pool)
        springs = springs_question(tray[1], found, cards)
        return inspect_shims(ShimsQuestion(springs, heights[1], only, of, locks, by_hand=hand))

    return Question(key, say("Planning shims for {name}").format(name=heights[0].name), work)


def shim_plan(document: Document) -> Answer[ShimsInspection] | None:
    """The plan for the heights in use, or why there is none; None while it is being worked out."""
    return answer_to(document, SHIMS, shims_question(document))


@dataclass(frozen=True, slots=True)
class Usable:
    """Springs of the tray in use: what may be used is matched by; why others are not; what is not decided.

    rejected: all that the spec rejects, with what for, whether taken in or not. wishes: those that the tray gives
    cause for.
    """

    values: sets.Values
    out: Mapping[str, str]
    rejected: Mapping[str, str]
    undecided: Mapping[str, str]
    wishes: Wishes

    def knows(self, spring: str) -> bool:
        """Whether the tray has such a spring, used or not."""
        return spring in self.values or spring in self.out

    def where(self, spring: str, grouping: sets.Grouping) -> str:
        """Where a spring is, in words: its set, left over, or why it is not used; then whether it is undecided."""
        number = grouping.set_of(spring)
        place = say("left over") if number is None else say(grouping.title(number))
        text = say(self.out.get(spring, "")) or (place if grouping.sets else say("no set yet"))
        return (
            say("{text} · undecided: {what}").format(text=text, what=say(self.undecided[spring]))
            if spring in self.undecided
            else text
        )


_USABLE: OfTheSame[Usable] = OfTheSame(2)


def usable_of(document: Document, inspection: SpringsInspection) -> Usable:
    """Who may be used: all that neither the spec keeps out, unless taken in, nor a person."""
    stated = stated_wishes(document)
    return _USABLE.of(inspection, stated, lambda: _usable(stated, inspection))


def _usable(stated: Wishes, inspection: SpringsInspection) -> Usable:
    rows, verdicts = rows_of(inspection), inspection.result.verdicts
    rejected, undecided = reasons(verdicts, "reject"), reasons(verdicts, "undecided")
    wishes = stated.holding(rejected, {row.spring for row in rows})
    why = {
        **{
            name: Phrase("rejected: {cause}", cause=cause)
            for name, cause in rejected.items()
            if name not in wishes.take
        },
        **{name: Phrase("left out: {reason}", reason=reason) for name, reason in wishes.leave_out.items()},
    }
    out = {row.spring: why[row.spring] for row in rows if row.spring in why}
    values = sets.values_of([row for row in rows if row.spring not in out])
    not_rejected = {name: cause for name, cause in undecided.items() if name not in rejected and name not in out}
    return Usable(values, out, rejected, not_rejected, wishes)


def stated_wishes(document: Document) -> Wishes:
    """What was decided of the tray in use."""
    return document.state(SpringsState).wishes.get(readings_of(document), NONE)


def _usable_now(document: Document) -> Usable | None:
    """Who may be used, where the tray in use has been inspected."""
    answer = answer_to(document, NAME, question(document))
    return None if answer is None or answer.value is None else usable_of(document, answer.value)


def readings_of(document: Document) -> str:
    """SHA-256 of the tray's readings: sets belong to the readings that they were made of."""
    tray = table_in_use(document)
    return "" if tray is None else tray[1].source.sha256


def grouping_of(document: Document, values: sets.Values) -> sets.Grouping:
    """The sets made of the tray in use; none where they were made of other readings."""
    return sets.grouping_of(document.state(SpringsState), values, readings_of(document))


def _wishes_now(document: Document) -> Wishes:
    """What was decided of the tray in use, without what it gives no cause for once it has been inspected."""
    usable = _usable_now(document)
    return stated_wishes(document) if usable is None else usable.wishes


def wish_of(document: Document, usable: Usable) -> sets.Wish:
    """What is asked of sets."""
    heights = heights_in_use(document)
    positions = None if heights is None else len(heights[1].positions)
    return sets.wish_of(document.state(SpringsState), usable.values, positions, document.units, usable.wishes)


def sets_key(document: Document, wish: sets.Wish) -> object:
    """What an answer of matching depends on."""
    files = files_of(table_in_use(document), spec_in_use(document), *cards_in_use(document))
    read = stamps(document, *files)
    return read, wish.size, tuple(wish.within.items()), wish.thorough, wish.asked


def match_work(
    document: Document, wish: sets.Wish
) -> Callable[[Callable[[Progress], None], Callable[[], bool]], SetsInspection] | None:
    """What matches the tray in use: a function of a report and of a question whether to stop."""
    tray, found = table_in_use(document), spec_in_use(document)
    if tray is None:
        return None

    def work(report: Callable[[Progress], None], cancelled: Callable[[], bool]) -> SetsInspection:
        return inspect_sets(_sets_question(document, tray[1], found, wish), report, cancelled)

    return work


def _sets_question(
    document: Document, table: SpringTable, found: tuple[BenchFile, Spec] | None, wish: sets.Wish
) -> SetsQuestion:
    return SetsQuestion(
        springs_question(table, found, cards_in_use(document)),
        wish.size,
        dict(wish.within),
        together=tied(wish.asked),
        apart=parted(wish.asked),
        positions=positions(wish.asked),
        time_limit_s=wish.time_limit_s,
        thorough=wish.thorough,
        by_hand=by_hand(wish.asked),
    )


def result(inspection: SpringsInspection) -> Result:
    """The result document of an inspection."""
    return inspection.result


def rows_of(inspection: SpringsInspection) -> tuple[SpringResult, ...]:
    """One row a spring, in its last stage."""
    return tuple(inspection.result.springs[number] for number in latest_stages(inspection.analyses))


def judged_analyses(inspection: SpringsInspection) -> tuple[SpringAnalysis, ...]:
    """The working behind `rows_of`."""
    return tuple(inspection.analyses[number] for number in latest_stages(inspection.analyses))


def chosen_spring(document: Document, inspection: SpringsInspection) -> str:
    """The spring in front: the one chosen while the tray has it, else the first rejected, else the first."""
    names = [row.spring for row in inspection.result.springs]
    return front_item(inspection.result, names, document.state(SpringsState).spring)


def parts(document: Document) -> tuple[JobPart, ...]:
    """The tray in use; its sets as they stand; and the shim plan where there are heights."""
    tray, heights, found = table_in_use(document), heights_in_use(document), spec_in_use(document)
    if tray is None:
        return ()
    springs = _part(document, NAME, tray[0], found)
    usable, wishes = _usable_now(document), _wishes_now(document)
    kept = document.state(SpringsState).groupings.get(readings_of(document), sets.Grouping())
    grouping = kept if usable is None else grouping_of(document, usable.values)
    proof, given = grouping.proof, sets.as_given(grouping)
    made = (
        ()
        if proof is None or not given
        else (_sets_part(document, tray[0], found, sets.Wish(proof.size, proof.within, asked=wishes), set=given),)
    )
    plan = () if heights is None else (_shims_part(document, tray[0], found, heights[0]),)
    return (springs, *plan, *made)


def _part(
    document: Document, use: str, tray: BenchFile, found: tuple[BenchFile, Spec] | None, **fields: Any
) -> JobPart:
    """A part that inspects the tray as the cards in use correct it."""
    cards = tuple(Path(card.path) for card in cards_in_use(document))
    return part_of(use, tray, found, instrument=cards, **fields)


def _sets_part(
    document: Document,
    tray: BenchFile,
    found: tuple[BenchFile, Spec] | None,
    wish: sets.Wish,
    **fields: Any,
) -> JobPart:
    limits = tuple(f"{name}={limit!r}" for name, limit in wish.within.items())
    return _part(document, "sets", tray, found, size=wish.size, within=limits, **part_fields(wish.asked), **fields)


def _shims_part(
    document: Document, tray: BenchFile, found: tuple[BenchFile, Spec] | None, heights: BenchFile
) -> JobPart:
    fitting = fitting_of(document)
    only, _ = _springs_fitted(document)
    fields: dict[str, Any] = {"fix": tuple(map(fix_text, fitting.settings or fitting.kept))}
    if fitting.settings:
        fields["edited"] = tuple(map(written, fitting.by_hand))
    if only is not None and fitting.set is not None:
        fields |= {"only": (listed(only),), "set": fitting.set + 1}
    fields |= hand_fields(_wishes_now(document))
    return _part(document, "shims", tray, found, heights=Path(heights.path), **fields)


def fitted(inspection: ShimsInspection, fitting: Fitting) -> ShimsInspection:
    """The plan as it stands, as the part of a job asks for it; CannotEvaluate where it can't be fitted."""
    if not fitting.settings:
        return inspection
    locks = {one.position: Lock.of(one) for one in fitting.settings}
    return planned(replace(inspection.question, locks=locks, edited=fitting.by_hand), inspection.pool)


def certificate(document: Document, inspection: SpringsInspection) -> Shown:
    """What the page in front puts on paper: the springs, else their sets or the shim plan where there is one."""
    tray, found = table_in_use(document), spec_in_use(document)
    assert tray is not None
    page = document.state(SpringsState).page
    special = None
    if page == "sets":
        special = _sets_shown(document, inspection, tray, found)
    elif page == "shims":
        special = _shims_shown(document, tray[0], found)
    return special or Shown(inspection.result, _part(document, NAME, tray[0], found))


def paper(document: Document, inspection: SpringsInspection) -> str:
    """The use that `certificate` is of: springs, sets or shims."""
    page, tray = document.state(SpringsState).page, table_in_use(document)
    if page == "sets":
        usable = usable_of(document, inspection)
        has = bool(grouping_of(document, usable.values).sets) and bool(wish_of(document, usable).within)
        return "sets" if has else NAME
    has_plan = page == "shims" and tray is not None and _shims_shown(document, tray[0], spec_in_use(document))
    return "shims" if has_plan else NAME


def _sets_shown(
    document: Document,
    inspection: SpringsInspection,
    tray: tuple[BenchFile, SpringTable],
    found: tuple[BenchFile, Spec] | None,
) -> Shown | None:
    """The sets as they stand: as matched where they are untouched, with what is proven of them, else as given."""
    usable = usable_of(document, inspection)
    wish = wish_of(document, usable)
    grouping = grouping_of(document, usable.values)
    if not grouping.sets or not wish.within:
        return None
    answer = _matched(document, wish, grouping)
    given: tuple[str, ...] = ()
    if answer is None:
        answer = describe_sets(_sets_question(document, tray[1], found, wish), grouping.sets, grouping.places)
        given = sets.as_given(grouping)
    fields = {"time_limit": wish.time_limit_s, "thorough": wish.thorough and not given, "set": given}
    return Shown(answer.result, _sets_part(document, tray[0], found, wish, **fields))


def _matched(document: Document, wish: sets.Wish, grouping: sets.Grouping) -> SetsInspection | None:
    """The answer of matching where it stands untouched."""
    known = document.answers.get(SETS)
    answer: SetsInspection | None = None if known is None or known.key != sets_key(document, wish) else known.value
    return answer if answer is not None and sets.matched(answer.result).sets == grouping.sets else None


def _shims_shown(document: Document, tray: BenchFile, found: tuple[BenchFile, Spec] | None) -> Shown | None:
    plan, heights = shim_plan(document), heights_in_use(document)
    if plan is None or plan.value is None or heights is None:
        return None
    inspection = fitted(plan.value, fitting_of(document))
    return Shown(inspection.result, _shims_part(document, tray, found, heights[0]))


WORK = Work(SpringsState, question, result, parts, certificate, uses, spec=spec_in_use, judges=JUDGES, paper=paper)
