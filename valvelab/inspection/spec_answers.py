"""A job's specs held against all its parts: every limit is judged by one of them, or is an undecided row.

Parts judge what they measure; several may share a spec. Where one found nothing to judge and another did, the other's
row stands; a limit that none answers is a row of the first part that judges by that spec; an event that parts would
judge in different meanings is decided by none.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from valvelab.frozen import frozen
from valvelab.inspection.characteristics import Subject
from valvelab.inspection.judging import NOT_HERE, names_of, undecided_envelope, verdict_of
from valvelab.inspection.limits import EVENTS, Limit, readings_of
from valvelab.measured import missing
from valvelab.phrase import Phrase
from valvelab.records.result import OPEN, Note, Result, Verdict, info, warning
from valvelab.records.spec import Spec

PLANNING = frozenset({"sets", "shims", "lash"})
"""Commands that use a spec without judging by it."""
_SAY = 'say which with "cam deg", "deg BTDC" or lift_at'
_OTHERS: dict[Subject, str] = {
    "lobe": "lobes", "camshaft": "the camshaft", "spring": "springs", "station": "stations", "shaft": "the shaft",
    "trace": "a surface trace", "valve": "valves", "event": "valve events", "phasing": "the phasing",
    "gauge": "a gauge study", "comparison": "a comparison",
}  # fmt: skip
"""What limits on a subject are on."""
_Key = tuple[str, float | None, float | None, float | None, str, str | None]


@frozen
class Answer:
    """What one part of a job says: its command, its result, the spec it was held against and that spec's name."""

    command: str
    result: Result
    spec: Spec | None = None
    spec_file: str = "spec"


def settled(answers: Sequence[Answer]) -> list[Result]:
    """The parts' results with each spec of the job answered in full, in the order given."""
    changed = list(answers)
    for name in dict.fromkeys(answer.spec_file for answer in answers if answer.spec is not None):
        places = [place for place, row in enumerate(changed) if row.spec is not None and row.spec_file == name]
        for place, answer in zip(places, _settle([changed[place] for place in places]), strict=True):
            changed[place] = answer
    return [answer.result for answer in changed]


def settled_alone(answers: Sequence[Answer]) -> list[Result]:
    """The results of parts that are not the whole job: limits on what they don't inspect are told, never judged."""
    return [answer.result if answer.spec is None else _told_elsewhere(answer, answer.spec) for answer in answers]


def _told_elsewhere(answer: Answer, spec: Spec) -> Result:
    """The part with one quiet note on the limits that it does not answer, by what they are on."""
    if answer.command in PLANNING:
        return answer.result
    limits = (readings_of(number, stated, answer.spec_file) for number, stated in enumerate(spec.limit, start=1))
    others = Counter(row[0].characteristic.subject for row in limits if not _answers([answer], row))
    others["lobe"] += len(spec.envelope) if answer.command != "lobes" else 0
    notes = [note for note in answer.result.notes if note.about != NOT_HERE]
    told = (
        f"{'1 limit of this spec is' if count == 1 else f'{count} limits of this spec are'} on {_OTHERS[subject]}: "
        "not judged on this certificate"
        for subject, count in (+others).items()
    )
    return _with(answer, answer.result.verdicts, [*notes, *(info(NOT_HERE, text) for text in told)]).result


def _settle(sharing: list[Answer]) -> list[Answer]:
    """Parts that share one spec."""
    spec, file = sharing[0].spec, sharing[0].spec_file
    assert spec is not None
    judging = [place for place, answer in enumerate(sharing) if answer.command not in PLANNING]
    limits = [readings_of(number, stated, file) for number, stated in enumerate(spec.limit, start=1)]
    if not judging:
        return _listed(sharing, limits, len(spec.envelope))
    sharing = [_undecided_events(answer, sharing, limits) for answer in sharing]
    sharing = [_without_answered_elsewhere(answer, sharing) for answer in sharing]
    rows = [row for meanings in limits if not _answers(sharing, meanings) for row in [_unanswered(spec, meanings[0])]]
    if not any(answer.command == "lobes" for answer in sharing):
        for number, row in enumerate(spec.envelope, start=1):
            reason = f"[[envelope]] {number}: no part of this job judges it (of a lobe)"
            rows.append(undecided_envelope(spec, names_of(row.lobes), row, reason))
    first = sharing[judging[0]]
    notes = [
        warning(f"{row.item} {row.characteristic}", Phrase("undecided: {reason}", reason=row.reason or ""))
        for row in rows
    ]
    sharing[judging[0]] = _with(first, [*first.result.verdicts, *rows], [*first.result.notes, *notes])
    return sharing


def _with(answer: Answer, verdicts: Iterable[Verdict], notes: Iterable[Note]) -> Answer:
    kept = {"verdicts": tuple(verdicts), "notes": tuple(dict.fromkeys(notes))}
    return replace(answer, result=answer.result.model_copy(update=kept))


def _listed(sharing: list[Answer], limits: list[tuple[Limit, ...]], envelopes: int) -> list[Answer]:
    """Nobody judges: the first part says so."""
    told = [f"[[limit]] {meanings[0].number} {meanings[0].stated.of}" for meanings in limits]
    told += [f"[[envelope]] {number}" for number in range(1, envelopes + 1)]
    if not told:
        return sharing
    note = warning(NOT_HERE, Phrase("{names}: no part of this job judges by the spec", names=", ".join(told)))
    return [_with(sharing[0], sharing[0].result.verdicts, [*sharing[0].result.notes, note]), *sharing[1:]]


def _key(row: Verdict) -> _Key:
    return row.characteristic, row.at_mm, row.lower, row.upper, row.unit, row.clause


def _key_of(limit: Limit) -> _Key:
    lower, upper = limit.ends
    return limit.stated.of, limit.at_mm, lower, upper, limit.characteristic.unit, limit.stated.clause


def _answers(sharing: Iterable[Answer], meanings: Iterable[Limit]) -> bool:
    keys = {_key_of(limit) for limit in meanings}
    return any(_key(row) in keys for answer in sharing for row in answer.result.verdicts)


def _meaning(command: str, row: Verdict) -> str:
    """The angle that a part judged an event on."""
    if row.unit == "cam deg":
        return Phrase("cam deg of the lift table")
    return Phrase("crank deg from dead centre at the {value}", value="valve" if command == "motion" else "follower")


def _undecided_events(answer: Answer, sharing: Sequence[Answer], limits: Iterable[tuple[Limit, ...]]) -> Answer:
    """The part's events undecided where another part judged the same limit in another meaning."""
    reasons: dict[_Key, str] = {}
    for meanings in limits:
        if meanings[0].stated.of not in EVENTS:
            continue
        keys = {_key_of(limit) for limit in meanings}
        said = dict.fromkeys(_meaning(one.command, row) for one, row in _rows(sharing) if _key(row) in keys)
        if len(said) > 1:
            text = f"{meanings[0].field} would be judged on {' and on '.join(said)}: {_SAY}"
            reasons |= dict.fromkeys(keys, text)
    rows = [
        row.model_copy(update={"decision": "undecided", "probability_conforming": None, "reason": reasons[_key(row)]})
        if _key(row) in reasons
        else row
        for row in answer.result.verdicts
    ]
    return _with(answer, rows, answer.result.notes)


def _rows(sharing: Iterable[Answer]) -> Iterator[tuple[Answer, Verdict]]:
    return ((answer, row) for answer in sharing for row in answer.result.verdicts)


def _without_answered_elsewhere(answer: Answer, sharing: Sequence[Answer]) -> Answer:
    """The part without its rows on nothing measured that another part has measured, and without the list of others."""
    others = [row for one, row in _rows(sharing) if one is not answer and row.measured is not None]
    known = {(_key(row), row.item) for row in others}
    keys = {_key(row) for row in others}

    def elsewhere(row: Verdict) -> bool:
        if row.measured is not None:
            return False
        return (_key(row), row.item) in known or (row.item in {"all", "intake", "exhaust"} and _key(row) in keys)

    gone = {f"{row.item} {row.characteristic}" for row in answer.result.verdicts if elsewhere(row)}
    notes = [
        note
        for note in answer.result.notes
        if note.about != NOT_HERE and not (note.about in gone and note.text.startswith(OPEN))
    ]
    return _with(answer, [row for row in answer.result.verdicts if not elsewhere(row)], notes)


def _unanswered(spec: Spec, limit: Limit) -> Verdict:
    reason = Phrase(
        "{field}: no part of this job judges it (of a {subject})",
        field=limit.field,
        subject=limit.characteristic.subject,
    )
    return verdict_of(spec.decision, limit, names_of(limit.selection), missing(reason))
