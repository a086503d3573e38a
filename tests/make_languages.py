"""Brings the catalogues up to date: every text that the window can say, with the translations that are there.

python tests/make_languages.py   # rewrites resources/languages/*.po, compiles them, and names what is not translated

A text is found where it stands: in a call of `say` and its like (`valvelab/language.py`), or in one that `TEXTS` names,
whose text the window says. What other rooms hold as records (characteristics, actions, bays) is asked of those.
"""

from __future__ import annotations

import ast
import re
import sys
from collections.abc import Iterator, Mapping
from importlib import import_module
from pathlib import Path
from typing import Final, get_args

from babel.messages.catalog import Catalog
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po

from valvelab.cautions import CAUTIONS
from valvelab.figures.meaning_figures import PICTURES, meaning_figure
from valvelab.files.kinds import READERS
from valvelab.inspection.characteristics import Characteristic, Subject, all_characteristics
from valvelab.inspection.engine.motion import CAUTION as MOTION_CAUTION
from valvelab.inspection.engine.phasing import CAUTION as WHEEL_CAUTION
from valvelab.inspection.form.characteristics import GAUGE
from valvelab.inspection.lift_check.inspect import CAUTION as LIFT_CAUTION
from valvelab.language import CELL, HEAD, LANGUAGES
from valvelab.tables.description import Column
from valvelab.tables.form import DEVIATIONS, MEANINGS
from valvelab.tables.sentences import NOUNS, SIDES, USUAL_SIDES
from valvelab.tables.verdicts import WORDS
from valvelab.units import display_unit
from valvelab.window.actions import ACTIONS, KEYS
from valvelab.workbench.bays import BAYS
from valvelab.workbench.sets import KEYS as MATCHED
from valvelab.workbench.sets import short, words

ROOT = Path(__file__).resolve().parent.parent
CATALOGUES = ROOT / "resources/languages"
SPOKEN = {"say", "word", "marked", "say_within", "say_measures", "Phrase"}
Places = tuple[int | str, ...]
REFUSALS: Final[dict[str, Places]] = {
    "BadQuantity": (1, 2),
    "BadFile": (2, 3),
    "BadSpec": (2, 3),
    "ColumnsNeeded": (2, 3),
    "bad": (2,),
    "bad_key": (1, 2),
}
"""What was found and what was expected where something is refused, by place in the call."""
PLURALS = {"say_many", "word_many"}
TEXTS: Final[dict[str, dict[str, Places]]] = {
    "window": {
        "button": (1, 2), "labelled": (1,), "titled": (1,), "caution": (1, 2), "Chip": (0, 1), "method": (0, 2),
        "TableColumn": (0, 2, "tip"), "TableView": ("spoken|0", "empty"), "FigureView": (0,), "FigureStack": (0,),
        "HeatMapView": (0,), "DialView": (0,), "MapView": (0,), "DegreeWheel": (0,), "Column": (0, "tip"),
    },
    "workbench": {
        "Step": (1, 2),
        "entered": (1, "text", "edit"), "Asked": (0,), "FormField": (0, 1), "Adding": (0, 1), "EntryKind": (1, 8, 9),
        "Export": (0,),
    },
    "tables": {
        "Column": (0, "tip"), "Fact": (0, 1, 5), "TableColumn": (0,), "replace": ("tip", "head"), "_deg": (0, "tip"),
        "_of": ("tip", 1, 2), "_figure": (0, 1, 2, 3, "tip"), "_number": (0, 1, 2, "tip"), "_of_envelope": (0, "tip"),
        "_of_items": (0, 2, "tip"), "_measured": (0,), "number": (0, 2), "_event": (0,), "_field": (0,),
    },
}  # fmt: skip
"""Which arguments of which calls hold texts, by room: by place or by name."""
_WORDS = re.compile(r"[^\W\d_]{2}|^u$")
_KEY = re.compile(r"[a-z]+(?:_[a-z]+)+|\.\d[a-z]")
SHORT_HEADS = (
    "lower", "upper", "worst", "worst angle", "max lift change", "shift", "wear", "at least", "at most", "fitted shim",
    "wanted shim", "new shim", "station", "roundness MZC", "roundness LSC", "roundness MIC", "roundness MCC",
    "seat force", "open force", "coil bind margin", "free length", "intake centreline", "exhaust centreline", "rate",
    "eccentricity", "eccentricity angle",
)  # fmt: skip
"""Heads of columns that may be shorter than the same words elsewhere."""
_REMARKS = {"info", "warning"}
EDITS = {"apply", "set", "decide", "_apply", "_change", "_decide", "_do", "_edit", "_keep", "_put", "_try", "_write"}


def texts() -> dict[tuple[str, str] | str, str | tuple[str, str]]:
    """Every text, by itself or with its context, as it goes into a catalogue; plural texts as pairs."""
    found: dict[tuple[str, str] | str, str | tuple[str, str]] = {}
    for path in sorted((ROOT / "valvelab").rglob("*.py")):
        for text in _in_file(path):
            found[text if isinstance(text, str) else text[0]] = text
    for text in (*_held(), *_composed(), *_figure_words(), *_study_words()):
        found.setdefault(text, text)
    for text in (*_cells(), *_abouts()):
        found[CELL, text] = text
    for text in SHORT_HEADS:
        found[HEAD, text] = text
    return found


def _in_file(path: Path) -> Iterator[str | tuple[str, str]]:
    room = path.relative_to(ROOT / "valvelab").parts[0]
    places, source = TEXTS.get(room, {}), path.read_text(encoding="utf-8")
    if (
        room not in TEXTS
        and room != "figures"
        and not any(f"{name}(" in source for name in (*SPOKEN, *PLURALS, *REFUSALS))
    ):
        return
    tree = ast.parse(source)
    if room == "figures":
        yield from _of_figures(tree)
    for node in ast.walk(tree):
        if not isinstance(node, ast.Call):
            continue
        name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        if name in PLURALS:
            one, many = (_text(argument) for argument in node.args[:2])
            if one and many:
                yield one, many
            continue
        wanted = (0,) if name in SPOKEN else places.get(name, REFUSALS.get(name, ()))
        for argument in _arguments(node, wanted):
            if text := _text(argument):
                yield text
        if room in {"window", "workbench"} and name in EDITS:
            yield from (text for argument in node.args if " " in (text := _text(argument) or ""))


def _of_figures(tree: ast.Module) -> Iterator[str]:
    """What plots say: whole texts of a figure's module that begin with a capital or have several words."""
    inside = {id(part) for node in ast.walk(tree) if isinstance(node, ast.JoinedStr) for part in ast.walk(node)}
    said = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        text = _text(node) if isinstance(node, ast.Constant) and id(node) not in inside | said else None
        if text and (text[0].isupper() or " " in text):
            yield text


def _abouts() -> Iterator[str]:
    """What remarks are about, where that is no name."""
    for path in sorted((ROOT / "valvelab").rglob("*.py")):
        source = path.read_text(encoding="utf-8")
        if path.parent.name == "cli" or not any(f"{name}(" in source for name in _REMARKS):
            continue
        for node in ast.walk(ast.parse(source)):
            if (
                isinstance(node, ast.Call)
                and isinstance(node.func, ast.Name)
                and node.func.id in _REMARKS
                and node.args
            ):
                yield from filter(None, map(_text, _branches(node.args[0])))


def _arguments(call: ast.Call, places: Places) -> Iterator[ast.expr]:
    named = {keyword.arg: keyword.value for keyword in call.keywords}
    for place in places:
        if isinstance(place, int) and place < len(call.args):
            yield from _branches(call.args[place])
        elif isinstance(place, str):
            name, _, otherwise = place.partition("|")
            if name in named:
                yield from _branches(named[name])
            elif otherwise and int(otherwise) < len(call.args):
                yield from _branches(call.args[int(otherwise)])


def _branches(node: ast.expr) -> Iterator[ast.expr]:
    if isinstance(node, ast.IfExp):
        yield from (*_branches(node.body), *_branches(node.orelse))
    else:
        yield node


def _text(node: ast.expr) -> str | None:
    known = node.value if isinstance(node, ast.Constant) else None
    if not isinstance(known, str) or _KEY.fullmatch(known):
        return None
    return known if _WORDS.search(known) else None


def _held() -> Iterator[str]:
    """Texts of records: actions, bays, kinds of file, characteristics, decisions."""
    for action in ACTIONS:
        yield from (action.text, action.tip)
    for keys, tip in KEYS:
        yield from (keys, tip)
    for bay in BAYS:
        yield from (text for text in (bay.title, bay.empty, bay.caution) if text)
    for reader in READERS:
        yield from (reader.label, reader.holds)
    yield from _rows()
    for row in all_characteristics():
        yield row.subject.capitalize()
        if row.unit:
            yield display_unit(row.unit, "metric").label
            yield display_unit(row.unit, "inch").label
            yield row.unit


def _rows() -> Iterator[str]:
    """What columns and characteristics say that modules hold, those that no list offers too."""
    for room in ("tables", "inspection"):
        for path in sorted((ROOT / "valvelab" / room).rglob("[!_]*.py")):
            module = import_module(".".join(path.relative_to(ROOT).with_suffix("").parts))
            yield from filter(_WORDS.search, _told_by(tuple(vars(module).values())))


def _told_by(held: object) -> Iterator[str]:
    if isinstance(held, Column):
        yield from (held.head, *(line for line in held.tip.split("\n") if not line.startswith("Source: ")))
    elif isinstance(held, Characteristic):
        yield from (held.head, held.meaning, held.method, held.source)
    elif isinstance(held, tuple | list):
        for one in held:
            yield from _told_by(one)
    elif isinstance(held, Mapping):
        yield from _told_by(tuple(held.values()))


def _composed() -> Iterator[str]:
    """Texts that a room puts together of a few words."""
    yield from CAUTIONS
    for caution in (WHEEL_CAUTION, LIFT_CAUTION, MOTION_CAUTION):
        yield from (caution, f"{caution.split('. ')[0]}.")
    yield from (f"Degree wheel: readings {way} as the engine turns" for way in ("grow", "fall"))
    yield from ("BTDC", "ATDC", "BBDC", "ABDC")
    yield from ("before", "after", "forward", "backward", "all read", "stays", "shelf", "to buy")
    for text in WORDS.values():
        yield from (text, text.capitalize())
    yield from ("Shims", "Packer", "Keepers", "Retainer")
    yield from (f"{kind} follower" for kind in ("flat", "roller", "point"))
    yield from (f"{which} reading" for which in ("opening", "closing"))
    yield from (f"{kind} centreline" for kind in ("intake", "exhaust"))
    yield from (f"{kind} circle" for kind in ("least squares", "minimum zone", "inscribed", "circumscribed"))
    yield from (f"{end} limit" for end in ("lower", "upper"))
    for noun in dict.fromkeys(NOUNS.values()):
        yield from (noun, f"{noun}s")
    for kind in ("intake", "exhaust"):
        yield from (kind, f"{kind} lobe", f"{kind} valve")
    for sides in (USUAL_SIDES, *SIDES.values()):
        yield from sides


def _study_words() -> Iterator[str]:
    for _, name, meaning in DEVIATIONS:
        yield from (name, meaning)
    yield from MEANINGS.values()


def _figure_words() -> Iterator[str]:
    """Names of lines and states in plots, and of what springs are matched by."""
    yield from (
        "envelope",
        "trace",
        "ranges",
        "As read",
        "end on, one ring",
        "one ring",
        "mean",
        "derived",
        "limit",
        "without lash",
    )
    yield from ("seat", "open", "solid", "free", "band", "worn", "nominal", "before", "after", "rate", "measured")
    for what in ("parts", "appraisers", "trials"):
        yield f"{what.capitalize()} in the plan"
    yield from ("since", "until", "serial", "part", "customer", "at", "spring")
    yield "Number that the order of reading is drawn from"
    for key in PICTURES:
        drawn = meaning_figure(*key)
        assert drawn is not None
        axes = [drawn.x_axis.label, drawn.y_axis.label, *(name for _, name in drawn.x_axis.names)]
        labels = [one.label for one in (*drawn.curves, *drawn.bands, *drawn.guides)]
        shown = (*axes, *labels, *(text for marks in drawn.marks for text in marks.texts))
        yield from (text for text in shown if any(map(str.isalpha, text)))
    for name in MATCHED:
        yield from (short(name), words(name))


def _cells() -> Iterator[str]:
    yield from WORDS.values()
    yield from ("intake", "exhaust", "all", "not judged")
    yield from get_args(Subject)
    yield from (name for _, name, _ in DEVIATIONS)
    yield from (row.head for row in GAUGE)
    yield from ("error", "warning", "info")
    yield from ("BTDC", "ATDC", "ABDC", "BBDC", "by hand")
    yield from ("stop", "rising", "falling", "opens", "closes", "centre", "TDC")


def brought_up(old: Catalog, found: dict[tuple[str, str] | str, str | tuple[str, str]], code: str) -> Catalog:
    """A catalogue of these texts and no others, with the translations that the old one has."""
    new = Catalog(locale=code, project="valvelab", charset="utf-8", fuzzy=False)
    new.header_comment = f"# What valvelab's window says in {LANGUAGES[code]}; made by tests/make_languages.py."
    for key, text in sorted(found.items(), key=str):
        context = key[0] if isinstance(key, tuple) else None
        known = old.get(text, context)
        new.add(text, known.string if known is not None else None, context=context)
    return new


def fresh(code: str) -> Catalog:
    """The catalogue of a language as it would be written now."""
    return brought_up(read(code), texts(), code)


def read(code: str) -> Catalog:
    """The catalogue of a language as it lies there."""
    path = CATALOGUES / f"{code}.po"
    if not path.exists():
        return Catalog(locale=code)
    with path.open("rb") as file:
        return read_po(file, locale=code)


def missing(catalogue: Catalog) -> list[str]:
    """Texts without a translation."""
    return [str(message.id) for message in catalogue if message.id and not _translated(message.string)]


def _translated(string: str | tuple[str, ...] | list[str]) -> bool:
    return bool(string) if isinstance(string, str) else bool(string) and all(string)


def main() -> None:
    """Rewrite every catalogue, and compile it."""
    for code in LANGUAGES.keys() - {"en"}:
        catalogue = fresh(code)
        with (CATALOGUES / f"{code}.po").open("wb") as file:
            write_po(file, catalogue, width=118, omit_header=False)
        with (CATALOGUES / f"{code}.mo").open("wb") as file:
            write_mo(file, catalogue)
        for text in missing(catalogue):
            sys.stdout.write(f"{code}: {text!r}\n")


if __name__ == "__main__":
    main()
