"""The bays of the bench: what each accepts, and the one door to what is done there.

To add a bay called `springs`:

1. `valvelab/workbench/springs_bay.py` with a module constant `WORK: Work` (see `bay`, `lobes_bay`): `state`, a frozen
   dataclass of what a person decides there (see `state`); `question(document)`, a pure function that returns the work
   to be done for what is on the bench (or None while something is missing). The answer's value is what
   `inspection.inspect_…` returns; `spec(document)` is the spec that it is held against, `judges` what limits there are
   on; `result(value)` gives its `records.result.Result`, whose verdicts and notes are shown, `parts(document)` the
   parts of a job that inspect again what lies there, and `certificate(document, value)` what goes on paper.
2. Its line in `BAYS` below, with the kinds of file it takes and an icon `resources/icons/<icon>.svg`; its case in
   `work_of`.
3. `valvelab/window/bays/springs_view.py` with a `BayView`, and its case in `valvelab/window/bays/door.py`. It builds
   its widgets from `window.panel` (any Figure, HeatMap or Dial), `window.tables` and `window.panes` (chips and fields
   that are bound to the state), and in `show_answer` it redraws what `changed` says is another.
   What can be begun on the empty bench is a small widget in `springs_start.py`, with a case of its own there.

`BAYS` is read before the window's first paint. Bay modules are imported after it, when a file was read for them or a
sheet is begun: they import at their top whatever they need.
"""

from __future__ import annotations

from typing import Any

from valvelab.cautions import ENGINE, SPRINGS
from valvelab.files.kinds import READERS, Reader, reader_of
from valvelab.workbench.background import Question, answer_to
from valvelab.workbench.bay import Bay, Work
from valvelab.workbench.document import Document
from valvelab.workbench.first_import import numeric

BAYS: tuple[Bay, ...] = (
    Bay(
        name="lobes",
        title="Camshaft",
        icon="camshaft",
        takes=("lift table", "instrument card", "spec"),
        empty="Drop a lift table here: one column an angle, one a lobe, or lobe, angle and lift in rows.",
    ),
    Bay(
        name="springs",
        title="Springs",
        icon="springs",
        takes=("spring readings", "heights", "instrument card", "spec"),
        empty="Drop spring readings here: spring, height and force, a row for each reading; heights as well for shims.",
        caution=SPRINGS,
        sample=("springs_quillmere_tray.csv", "springs_quillmere_heights.csv", "springs_quillmere_spec.toml"),
    ),
    Bay(
        name="shaft",
        title="Shaft form",
        icon="shaft",
        takes=("shaft readings", "adopted uncertainty", "spec"),
        empty="Drop shaft readings here: station, position, angle and reading, a dial turned through each journal.",
        sample=("club_four_journals.csv", "club_four_shaft_spec.toml"),
    ),
    Bay(
        name="texture",
        title="Texture",
        icon="texture",
        takes=("surface trace", "spec"),
        empty="Drop a surface trace here: a table of x and z, an SMD text file, or an X3P container.",
        sample=("club_four_lobe_3I_trace.csv", "club_four_shaft_spec.toml"),
    ),
    Bay(
        name="gauge",
        title="Gauge study",
        icon="gauge",
        takes=("gauge study", "spec"),
        empty="Drop a gauge study here: part, appraiser, trial and reading. A plan sheet says in which order to read.",
        sample=("dial_gauge_study.csv", "club_four_shaft_spec.toml"),
    ),
    Bay(
        name="phasing",
        title="Phasing",
        icon="phasing",
        takes=("phasing sheet", "spec"),
        empty="Type degree-wheel readings as the worksheet asks for them, or drop a sheet (TOML) here.",
        caution=ENGINE,
        blank=True,
        sample=("quillmere_four_degree_wheel_misread.toml", "quillmere_four_engine.toml"),
    ),
    Bay(
        name="motion",
        title="Valve motion",
        icon="motion",
        takes=("train", "lift table", "instrument card", "spec"),
        empty="Put a lift table and a train (TOML: rocker, lash, valve, spring, crank) on the bench.",
        caution=SPRINGS,
        sample=("quillmere_four_camshaft.csv", "quillmere_four_train.toml", "quillmere_four_engine.toml"),
    ),
    Bay(
        name="compare",
        title="Compare",
        icon="compare",
        takes=("lift table", "spring readings", "spec"),
        empty="Put two lift tables or two files of spring readings of one part on the bench, earlier and later.",
        sample=("quillmere_four_camshaft.csv", "quillmere_four_after_a_season.csv", "quillmere_four_season.toml"),
    ),
    Bay(
        name="liftcheck",
        title="Lift check",
        icon="liftcheck",
        takes=("lift-check sheet", "instrument card", "adopted uncertainty", "spec"),
        empty="Type the rule once, then car after car, or drop a lift-check sheet (TOML) here.",
        caution=ENGINE,
        blank=True,
        sample=("quillmere_spring_meeting.toml",),
    ),
    Bay(
        name="lash",
        title="Valve lash",
        icon="lash",
        takes=("lash sheet",),
        empty="Type clearance and fitted shim of each valve, or drop a lash sheet here: position, clearance, shim.",
        caution=f"{ENGINE} {SPRINGS}",
        sample=("lake_tender_lash.csv",),
    ),
)
"""In bench order."""


def work_of(name: str) -> Work[Any]:
    """The work of a bay; KeyError for a name that is none."""
    numeric()
    match name:
        case "lobes":
            from valvelab.workbench import lobes_bay

            return lobes_bay.WORK
        case "springs":
            from valvelab.workbench import springs_bay

            return springs_bay.WORK
        case "shaft":
            from valvelab.workbench import shaft_bay

            return shaft_bay.WORK
        case "texture":
            from valvelab.workbench import texture_bay

            return texture_bay.WORK
        case "gauge":
            from valvelab.workbench import gauge_bay

            return gauge_bay.WORK
        case "phasing":
            from valvelab.workbench import phasing_bay

            return phasing_bay.WORK
        case "motion":
            from valvelab.workbench import motion_bay

            return motion_bay.WORK
        case "liftcheck":
            from valvelab.workbench import liftcheck_bay

            return liftcheck_bay.WORK
        case "compare":
            from valvelab.workbench import compare_bay

            return compare_bay.WORK
        case "lash":
            from valvelab.workbench import lash_bay

            return lash_bay.WORK
    raise KeyError(name)


def by_name(name: str) -> Bay | None:
    """The bay of that name."""
    return next((bay for bay in BAYS if bay.name == name), None)


def kinds() -> tuple[Reader, ...]:
    """Every kind of file that some bay takes."""
    taken = {kind for bay in BAYS for kind in bay.takes}
    return tuple(reader for reader in READERS if reader.name in taken)


def table_of(bay: str) -> str:
    """The kind of table that a bay works on first; "" where it takes none whose columns can be assigned."""
    found = by_name(bay)
    readers = (reader_of(kind) for kind in (() if found is None else found.takes))
    return next((reader.name for reader in readers if reader is not None and reader.columns is not None), "")


def takers(kind: str) -> tuple[Bay, ...]:
    """Bays that take a kind of file."""
    return tuple(bay for bay in BAYS if kind in bay.takes)


def question_of(document: Document, name: str) -> Question[Any] | None:
    """The bay's question; it is made once a document, however many ask for it."""
    if name not in document.asked:
        document.asked[name] = work_of(name).question(document)
    question: Question[Any] | None = document.asked[name]
    return question


def outstanding(document: Document) -> Question[Any] | None:
    """The question of the bay in front, where its answer is not there yet."""
    work = None if document.unread() else _wanted(document, by_name(document.bay))
    question = None if work is None else question_of(document, document.bay)
    return question if answer_to(document, document.bay, question) is None else None


def files_in_use(document: Document) -> set[str]:
    """Paths of the files that the bay in front works on."""
    bay = by_name(document.bay)
    work = _wanted(document, bay)
    if bay is None or work is None:
        return set()
    if work.uses is not None:
        return {file.path for file in work.uses(document)}
    found = (document.in_use(kind) for kind in bay.takes)
    return {file.path for file in found if file is not None}


def answer_value(document: Document, bay: Bay) -> Any | None:
    """The bay's answer for the document as it is; None while there is none or it belongs to another state."""
    work = _wanted(document, bay)
    if work is None:
        return None
    known = answer_to(document, bay.name, question_of(document, bay.name))
    value = None if known is None else known.value
    return value if work.at_once is None else work.at_once(document, value)


def in_front(document: Document) -> tuple[Bay | None, Any | None]:
    """The bay in front and its answer."""
    bay = by_name(document.bay)
    return bay, None if bay is None else answer_value(document, bay)


def _wanted(document: Document, bay: Bay | None) -> Work[Any] | None:
    """The work of a bay once there can be some: a window that opens empty is painted without it."""
    return work_of(bay.name) if bay is not None and (bay.blank or document.contents) else None
