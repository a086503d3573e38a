"""The limit table of a bay: the spec in front there, its rows and what they gave, and what is wrong with it."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import count
from os.path import relpath
from pathlib import Path
from types import MappingProxyType
from typing import Any

from valvelab.errors import BadSpec, ValvelabError
from valvelab.files.spec_file import nominal_path
from valvelab.files.spec_text import spec_keys, spec_toml, with_key
from valvelab.inspection.characteristics import Characteristic, named
from valvelab.inspection.judging import ENVELOPE
from valvelab.inspection.limits import readings_of
from valvelab.language import say, say_number
from valvelab.phrase import Phrase
from valvelab.records.result import Decision, Result, Verdict
from valvelab.tables.verdicts import RANKED
from valvelab.units import System, show
from valvelab.workbench import bays
from valvelab.workbench.contents import read_content
from valvelab.workbench.document import BenchFile, Document
from valvelab.workbench.edits import content_arrived, forget_file
from valvelab.workbench.spec_choice import SPEC, text_of
from valvelab.workbench.spec_edit import (
    SELECTED_BY,
    Cells,
    Keys,
    answers,
    bare,
    checked,
    limit_cells,
    meant,
    offered,
    spec_of,
)

_KINDS = {"lobe": ("intake", "exhaust"), "event": ("intake", "exhaust"), "valve": ("intake", "exhaust"),
          "spring": ("intake", "exhaust"), "station": ()}  # fmt: skip
_NAMED_IN = {"lobe": ("lobes", "lobe"), "event": ("lobes", "lobe"), "valve": ("valves", "lobe"),
             "spring": ("springs", "spring"), "station": ("stations", "station")}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Sheet:
    """The spec that is edited at a bay: its file, its text, and why it can't be read; "" where it can."""

    file: BenchFile
    text: str
    broken: str = ""

    @property
    def keys(self) -> dict[str, Any]:
        """What the text says; nothing where it is no TOML."""
        try:
            return spec_keys(self.text)
        except BadSpec:
            return {}


@dataclass(frozen=True, slots=True)
class Row:
    """A row of the table: its place in the spec counted from 0, its cells, what it gave, why it can't be judged.

    `piece` counts the pieces of an envelope's band. use: of an envelope, the worst share of the band in use.
    """

    number: int
    cells: Cells
    verdicts: tuple[Verdict, ...] = ()
    wrong: str = ""
    characteristic: Characteristic | None = None
    piece: int = 0
    use: float | None = field(default=None)


# -- which spec -------------------------------------------------------------------------------------------------------


def broken_specs(document: Document) -> tuple[BenchFile, ...]:
    """Specs on the bench that can't be read."""
    found = ((file, document.content(file)) for file in document.files)
    return tuple(file for file, content in found if content is not None and content.kind == SPEC and content.problem)


def trouble(document: Document) -> str:
    """Why a spec that concerns the bay in front can't be held against what lies there; "" while nothing is wrong.

    A spec that can't be read concerns every bay that it may have limits for.
    """
    for file in broken_specs(document):
        content = document.content(file)
        if content is not None and content.problem is not None and _concerns(file, judges(document)):
            return f"{file.name}: {say(content.problem.text)}"
    bay = bays.by_name(document.bay)
    found = None if bay is None or not document.contents else bays.work_of(bay.name).spec(document)
    if found is None:
        return ""
    file, spec = found
    try:
        for number, limit in enumerate(spec.limit, start=1):
            readings_of(number, limit, file.name)
        if ENVELOPE in {row.name for row in offered(judges(document), envelope=True)}:
            for number, envelope in enumerate(spec.envelope, start=1):
                nominal_path(file.path, envelope, number)
    except BadSpec as refusal:
        return say(str(BadSpec(file.name, refusal.place, refusal.found, refusal.expected)))
    answer = document.answers.get(document.bay)
    refused = answer.failure if answer is not None and answer.failure else ""
    return say(refused.fields.get("refusal", "")) if isinstance(refused, Phrase) else ""


def _concerns(file: BenchFile, subjects: Collection[str]) -> bool:
    try:
        rows = spec_keys(text_of(file)).get("limit", [])
        known = [named(str(row.get("of"))) for row in rows]
    except (ValvelabError, AttributeError, TypeError):
        return True
    return not known or any(not found or any(answers(row, subjects) for row in found) for found in known)


def judges(document: Document) -> tuple[str, ...]:
    """The subjects that limits at the bay in front are on."""
    bay = bays.by_name(document.bay)
    return () if bay is None else bays.work_of(bay.name).judges


def sheet_in_front(document: Document, wanted: str = "") -> Sheet | None:
    """The spec that is edited at the bay in front; None where none is the bay's, and a new one is to be begun.

    A broken one that may concern the bay first, then the one chosen while it has no limits, then the one in use, then
    the one that is `wanted` here by its path, whatever it has limits on.
    """
    bay = bays.by_name(document.bay)
    specs = (*broken_specs(document), *document.of_kind(SPEC))
    if bay is None or not specs:
        return None
    chosen = next((file for file in specs if file.path == document.current.get(SPEC)), None)
    used = bays.work_of(bay.name).spec(document)
    spec = None if chosen is None else document.value_of(chosen, SPEC)
    blank = spec is not None and not spec.limit and not spec.envelope
    concerned = [file for file in broken_specs(document) if _concerns(file, judges(document))]
    asked = next((file for file in specs if file.path == wanted), None)
    candidates = (concerned[0] if concerned else None, chosen if blank else None, used and used[0], asked)
    file = next((one for one in candidates if one is not None), None)
    if file is None:
        return None
    content = document.content(file)
    try:
        text = text_of(file)
    except ValvelabError as refusal:
        return Sheet(file, "", say(str(refusal)))
    return Sheet(file, text, say(content.problem.text) if content is not None and content.problem is not None else "")


def new_spec(document: Document) -> str:
    """The text of a new spec: guarded decisions at 95 %, and no limits yet."""
    bay = bays.by_name(document.bay)
    title = bay.title.lower() if bay is not None else "part"
    return spec_toml({"title": f"Limits, {title}", "decision": {"rule": "guarded", "confidence": 0.95}})


# -- rows -------------------------------------------------------------------------------------------------------------


def items_present(result: Result | None, subject: str) -> tuple[str, ...]:
    """What the items of a subject can be: all, a kind, and the names that were measured."""
    field_name, name = _NAMED_IN.get(subject, ("", ""))
    rows = getattr(result, field_name, ()) if field_name else ()
    names = dict.fromkeys(str(getattr(row, name)) for row in rows)
    return ("all", *_KINDS.get(subject, ()), *names) if subject in SELECTED_BY else ()


def limit_rows(keys: Keys, subjects: Collection[str], units: System, result: Result | None) -> tuple[Row, ...]:
    """Limits on these subjects in the order of the spec, and those on what nobody knows."""
    rows = []
    verdicts = _by_limit(keys, result)
    for number, limit in enumerate(keys.get("limit", [])):
        of = str(limit.get("of", "")) if isinstance(limit, Mapping) else ""
        characteristic = meant(of, subjects)
        if not isinstance(limit, Mapping) or (characteristic is None and named(of)):
            continue
        rows.append(
            Row(
                number,
                limit_cells(limit, characteristic, units),
                verdicts.get(number, ()),
                _wrong(limit, subjects),
                characteristic,
            )
        )
    return tuple(rows)


def _wrong(limit: Keys, subjects: Collection[str]) -> str:
    try:
        checked(limit, subjects)
    except ValvelabError as refusal:
        return say(str(refusal))
    return ""


def _by_limit(keys: Keys, result: Result | None) -> dict[int, tuple[Verdict, ...]]:
    """The verdicts of each limit: they come in the order of the limits, those of one limit together."""
    given = [] if result is None else [row for row in result.verdicts if row.characteristic != ENVELOPE]
    found: dict[int, tuple[Verdict, ...]] = {}
    start = 0
    try:
        limits = spec_of({"limit": keys.get("limit", [])}).limit
    except ValvelabError:
        return {}
    for number, stated in enumerate(limits):
        try:
            readings = readings_of(number + 1, stated, "spec")
        except ValvelabError:
            continue
        heads = {(stated.of, one.at_mm, *one.ends, stated.clause): one for one in readings}
        stop, seen = start, set[str]()
        while stop < len(given):
            row = given[stop]
            limit = heads.get((row.characteristic, row.at_mm, row.lower, row.upper, row.clause))
            if limit is None or row.item in seen or not _selects(limit.selection, row.item, result):
                break
            seen.add(row.item)
            stop += 1
        if stop > start:
            found[number] = tuple(given[start:stop])
        start = stop
    return found


def _selects(selection: str | tuple[str, ...], item: str, result: Result | None) -> bool:
    if selection == "all":
        return True
    if not isinstance(selection, str):
        return item in selection or item == ", ".join(selection)
    kinds = {row.lobe: row.kind for name in ("lobes", "valves") for row in getattr(result, name, ())}
    return item == selection or kinds.get(item, selection) == selection


def band_rows(keys: Keys, result: Result | None) -> tuple[Row, ...]:
    """Pieces of the bands of envelopes, in the order of the spec, with the worst use of the band they are in."""
    rows = []
    known = {row.lobe: row for row in getattr(result, "lobes", ())}
    given = [] if result is None else [row for row in result.verdicts if row.characteristic == ENVELOPE]
    taken: set[str] = set()
    for number, envelope in enumerate(keys.get("envelope", [])):
        lobes = envelope.get("lobes", "all")
        selection = lobes if isinstance(lobes, str) else tuple(lobes)
        mine = tuple(row for row in given if row.item not in taken and _selects(selection, row.item, result))
        taken |= {row.item for row in mine}
        used = [known[row.item].envelope for row in mine if row.item in known]
        use = max((one.worst_use_of_band for one in used if one is not None), default=None)
        rows += [
            Row(number, cells, mine, piece=piece, use=use) for piece, cells in enumerate(_band_cells(envelope, lobes))
        ]
    return tuple(rows)


def _band_cells(envelope: Keys, lobes: Any) -> list[dict[str, str]]:
    head = {
        "items": lobes if isinstance(lobes, str) else ", ".join(lobes),
        "nominal": str(envelope.get("nominal", "")),
        "fit": ", ".join(envelope.get("fit", ("angle",))),
        "clause": str(envelope.get("clause", "")),
    }

    def shown(piece: Keys, key: str) -> str:
        value = piece.get(key, "")
        return (
            value if isinstance(value, str) else bare(float(value), "deg" if key in {"from", "to"} else "mm", "metric")
        )

    return [
        {**head, **{key: shown(piece, key) for key in ("from", "to", "below", "above")}}
        for piece in envelope.get("band", [])
    ]


# -- what a row gave --------------------------------------------------------------------------------------------------


def measured_text(row: Row, units: System) -> str:
    """What was measured of the items of a row: one value, or the least and the greatest."""
    if row.use is not None:
        return say("{value} % of the band").format(value=say_number(f"{100.0 * row.use:.0f}"))
    values = [one.measured for one in row.verdicts if one.measured is not None]
    if not values:
        return ""
    unit = row.verdicts[0].unit
    least, greatest = (show(end, unit, units) for end in (min(values), max(values)))
    return least if len(values) == 1 or least == greatest else f"{least} … {greatest}"


def outcome(verdicts: Sequence[Verdict]) -> dict[Decision, int]:
    """How many of the verdicts say what, the worst first."""
    counts = {name: sum(row.decision == name for row in verdicts) for name in RANKED}
    return {name: count for name, count in counts.items() if count}


def saved_as(document: Document, old: str, path: str) -> Document:
    """The document after a spec was written to `path`: that file lies on the bench in place of what was typed."""
    others = tuple(file for file in document.files if file.path != path or path == old)
    files = tuple(BenchFile(path) if file.path == old else file for file in others)
    current = {**document.current, SPEC: path}
    return replace(forget_file(document, path), files=files, current=MappingProxyType(current))


def text_for(text: str, old: str, path: str) -> str:
    """The text of a spec that moves from `old` to `path`: its nominal tables are named from there."""
    for number, envelope in enumerate(spec_keys(text).get("envelope", [])):
        name = named_from(path, str(Path(old).absolute().parent / str(envelope.get("nominal", ""))))
        if name != envelope.get("nominal"):
            text = with_key(text, ("envelope", number), "nominal", name)
    return text


def named_from(path: str, nominal: str) -> str:
    """How a spec at `path` names a file: from its own folder, which may be moved together with it."""
    try:
        return Path(relpath(nominal, Path(path).absolute().parent)).as_posix()
    except ValueError:  # on another drive
        return str(Path(nominal).absolute())


def with_home(document: Document, old: str, folder: Path, text: str) -> Document:
    """The document whose typed spec lies in a folder, where its nominal tables are, though in no file yet."""
    taken = {file.path for file in document.files}
    names = (f"spec{'' if number == 1 else f' {number}'}.toml" for number in count(1))
    path = next(str(there) for name in names if not (there := folder / name).exists() and str(there) not in taken)
    home = BenchFile(path, kind=SPEC, text=text)
    files = tuple(home if file.path == old else file for file in document.files)
    files = files if home in files else (*files, home)
    current = MappingProxyType({**document.current, SPEC: path})
    return content_arrived(replace(document, files=files, current=current), home, read_content(home))
