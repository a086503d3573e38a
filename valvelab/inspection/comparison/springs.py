"""Two files of spring readings: every spring's later forces, rate and free length less its earlier ones.

Both are read at the same heights: a spec's, else the earlier file's. The scatter of either file's readings is its own;
what is stated of the tester counts once where both files name one instrument, which errs alike in both.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator
from dataclasses import fields, replace
from math import sqrt

from valvelab.frozen import frozen
from valvelab.inspection.comparison.characteristics import SpringChanges
from valvelab.inspection.comparison.lobes import together
from valvelab.inspection.springs.analysis import Read, SpringAnalysis
from valvelab.inspection.springs.characteristics import free_length, open_force, seat_force
from valvelab.inspection.springs.inspect import SpringsQuestion, analyse_all, latest_stages, up_to_eight
from valvelab.measured import Measured
from valvelab.phrase import Phrase
from valvelab.records.result import Note, info, warning
from valvelab.records.spec import Spec
from valvelab.records.spring_readings import SpringTable

_HEIGHTS = {"installed_height_mm": "installed height", "valve_lift_mm": "valve lift"}


@frozen
class ComparedSpring:
    """One spring in both files, and what changed."""

    spring: str
    before: SpringAnalysis
    after: SpringAnalysis
    changes: SpringChanges


def compare_springs(earlier: SpringsQuestion, after: SpringTable) -> tuple[list[ComparedSpring], list[Note]]:
    """Compare the springs that both files hold, in the earlier one's order; `after` is asked the same.

    Refuses readings that are no spring's.
    """
    before = earlier.table
    after, notes = _at_heights_of(before, after, earlier.spec)
    same = before.remarks.get("instrument") is not None
    same = same and before.remarks.get("instrument") == after.remarks.get("instrument")
    if same:
        told = Phrase(
            "both files name one instrument, {remarks}: its calibration counts once",
            remarks=f"{before.remarks['instrument']!r}",
        )
        notes.append(info("uncertainty", told))
    common = {one.spring for one in before.springs} & {one.spring for one in after.springs}
    first = _read(earlier, common, "before", notes)
    last = _read(replace(earlier, table=after), common, "after", notes)
    found = [
        ComparedSpring(name, one.stated, last[name].stated, _changes(one, last[name], same=same))
        for name, one in first.items()
    ]
    return found, [*notes, *_missing(found)]


def _at_heights_of(before: SpringTable, after: SpringTable, spec: Spec | None) -> tuple[SpringTable, list[Note]]:
    """The later file with the earlier one's heights, where no spec states them for both."""
    notes: list[Note] = []
    for field, name in _HEIGHTS.items():
        ours, theirs = getattr(before, field), getattr(after, field)
        if spec is not None and getattr(spec.fitting, field) is not None:
            continue
        if ours is not None and ours != theirs:
            if theirs is not None:
                told = Phrase(
                    "{ours} mm of {file} counts for both, not {theirs} mm of {other_file}",
                    ours=f"{ours:g}",
                    file=before.file,
                    theirs=f"{theirs:g}",
                    other_file=after.file,
                )
                notes.append(warning(name, told))
            after = replace(after, **{field: ours})
    own = {one.spring: one.installed_height_mm for one in before.springs if one.installed_height_mm is not None}
    moved = [replace(one, installed_height_mm=own.get(one.spring)) for one in after.springs]
    if [one.installed_height_mm for one in moved] != [one.installed_height_mm for one in after.springs]:
        notes.append(
            warning("installed height", Phrase("each spring's own is that of {file} in both", file=before.file))
        )
    return replace(after, springs=tuple(moved)), notes


def _read(question: SpringsQuestion, common: Collection[str], when: str, notes: list[Note]) -> dict[str, Read]:
    """The springs of both files as one of them has them, each in its latest stage."""
    _, found, said = analyse_all(question, common)
    notes += [
        note.model_copy(update={"about": Phrase("{when}: {about}", when=Phrase(when), about=note.about)})
        for note in said
    ]
    latest = latest_stages(found)
    if len(latest) < len(found):
        notes.append(
            info(
                Phrase("{when}: stages", when=Phrase(when)),
                Phrase("springs read in several stages are compared in their last stage"),
            )
        )
    return {found[row].name: Read.of(found[row]) for row in latest}


def _changes(before: Read, after: Read, *, same: bool) -> SpringChanges:
    seat = _change(before, after, seat_force, same=same)
    return SpringChanges(
        seat_force_change=seat,
        open_force_change=_change(before, after, open_force, same=same),
        rate_change=_change(before, after, lambda spring: spring.rate, same=same),
        free_length_change=_change(before, after, free_length, same=same),
        seat_force_change_pct=_share(before, after, seat, same=same),
    )


def _change(before: Read, after: Read, ask: Callable[[SpringAnalysis], Measured], *, same: bool) -> Measured:
    """Later less earlier (JCGM 100:2008, 5.2)."""
    return _combined(
        before, after, ask, lambda earlier, later: later - earlier, lambda _earlier, _later: (1.0, 1.0), same
    )


def _share(before: Read, after: Read, seat: Measured, *, same: bool) -> Measured:
    """Change of seat force in percent of the earlier one."""
    if before.stated.once(seat_force).value == 0.0:
        return Measured(None, None, "the earlier seat force is 0")
    if seat.value is None:
        return seat
    return _combined(
        before,
        after,
        seat_force,
        lambda earlier, later: 100.0 * (later / earlier - 1.0),
        lambda earlier, later: (100.0 * later / earlier**2, 100.0 / earlier),
        same,
    )


def _combined(
    before: Read,
    after: Read,
    ask: Callable[[SpringAnalysis], Measured],
    value: Callable[[float, float], float],
    slopes: Callable[[float, float], tuple[float, float]],
    same: bool,
) -> Measured:
    """A value of both, its uncertainty by the sizes of its slopes; what is the tester's once where it is the same."""
    (first, seen, tester), (last, seen_later, tester_later) = before.told(ask), after.told(ask)
    if first.value is None or last.value is None:
        return first if first.value is None else last
    along = slopes(first.value, last.value)
    stated = together(along[0] * tester, along[1] * tester_later, same=same)
    u = sqrt(along[0] ** 2 * seen + along[1] ** 2 * seen_later + stated**2)
    return Measured(value(first.value, last.value), u if u > 0.0 else None, doubt=first.doubt or last.doubt)


def _missing(found: list[ComparedSpring]) -> Iterator[Note]:
    """Why a change is missing, springs of one reason together."""
    reasons: dict[tuple[str, str], list[str]] = {}
    for one in found:
        for field in fields(SpringChanges):
            measured: Measured = getattr(one.changes, field.name)
            if measured.value is None:
                reasons.setdefault((field.name, measured.reason), []).append(one.spring)
    for (name, reason), springs in reasons.items():
        yield info(name, Phrase("{springs}: {reason}", springs=up_to_eight(springs), reason=reason))
