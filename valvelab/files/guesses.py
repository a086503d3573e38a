"""What a table without names most likely holds: which column is which, and in which units, with the reason.

Every guess is a start for a person, who sees the reason and may choose otherwise; nothing is read by it unasked.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import Literal

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.errors import ValvelabError
from valvelab.files.cells import is_number, to_number
from valvelab.files.column_names import lobe_name, plain_name, rank, split_header
from valvelab.files.heights import heights_table
from valvelab.files.lift_table import lift_table
from valvelab.files.spring_readings import spring_readings
from valvelab.files.swept_angles import LONGEST_LOBE_CAM_DEG, LONGEST_TURN_DEG, lasting, repeats
from valvelab.files.table import Preview, Table
from valvelab.frozen import frozen
from valvelab.lobe.trace import Trace
from valvelab.phrase import Phrase
from valvelab.records.measurement import COMPARISON_LIFT_MM
from valvelab.units import FACTORS, POUND_FORCE_N

What = Literal["angle", "lift", "height", "force"]

# Common practice, no source: what lobes, valve springs and the room for them measure.
LIFTS_MM = (3.0, 20.0)
HEIGHTS_MM = (15.0, 150.0)
RATES_N_PER_MM = (15.0, 150.0)
EITHER_DEG = (150.0, 200.0)
"""A lobe that lasts so many degrees at 1.27 mm is a long one in cam degrees, or a short one in crank degrees."""

_INCHES = frozenset({"in", "inch", "inches", '"', "thou"})
_SPOKEN = {
    "in": Phrase("inches"),
    "mm": Phrase("millimetres"),
    "um": Phrase("micrometres"),
    "thou": Phrase("thousandths of an inch"),
    "m": Phrase("metres"),
}
_COUNTERS = frozenset({"no", "number", "nr", "point", "row", "index", "line", "reading no", "step"})


@frozen
class UnitGuess:
    """The unit that columns of lifts, angles, heights or forces are most likely in, "" where none fits; the reason."""

    what: What
    unit: str
    reason: str


def guess_lift_unit(highest: float) -> UnitGuess:
    """The unit of lifts by the highest of them as written: a lobe lifts 3 to 20 mm (common practice)."""
    sizes = {unit: highest * FACTORS["length"][unit] for unit in ("mm", "in", "thou", "um", "m")}
    unit = next((unit for unit, mm in sizes.items() if LIFTS_MM[0] <= mm <= LIFTS_MM[1]), "")
    if not unit:
        reason = Phrase(
            "The highest lift is {highest}: in no unit a lobe of {usual} mm. Choose the unit.",
            highest=f"{highest:.4g}",
            usual=_range(LIFTS_MM),
        )
        return UnitGuess("lift", "", reason)
    if unit == "mm":
        other = Phrase("as inches a lobe of {size} mm", size=f"{sizes['in']:.0f}")
        return UnitGuess(
            "lift",
            "mm",
            Phrase(
                "The highest lift is {highest}, so taken as millimetres; {other}.",
                highest=f"{highest:.4g}",
                other=other,
            ),
        )
    taken = Phrase("so taken as {unit}: {size} mm", unit=_SPOKEN[unit], size=f"{sizes[unit]:.2f}")
    other = Phrase("As millimetres it would be a lobe of {size} mm.", size=f"{sizes['mm']:.2f}")
    return UnitGuess(
        "lift",
        unit,
        Phrase("The highest lift is {highest}, {taken}. {other}", highest=f"{highest:.4g}", taken=taken, other=other),
    )


def guess_turn(traces: Sequence[Trace], lift_mm: Sequence[float]) -> UnitGuess:
    """Cam or crank degrees, by how far the angles run and how long the longest lobe lasts at 1.27 mm.

    `traces` hold angles as written and lifts as written; `lift_mm` are the mm in one unit of lift of each.
    """
    spans = {trace.name: float(np.ptp(trace.angle_cam_deg)) for trace in traces}
    far = [trace for trace in traces if spans[trace.name] > LONGEST_TURN_DEG]
    per_turn = 1.0
    if far:
        span = Phrase("The angles run over {span} degrees", span=f"{max(spans.values()):g}")
        if all(repeats(trace.angle_cam_deg, trace.lift_mm) for trace in far):
            text = Phrase(
                "{span} and the lifts come again after 360, so taken as cam degrees of several turns.", span=span
            )
            return UnitGuess("angle", "cam deg", text)
        per_turn = 2.0
    longest, name = max(
        (per_turn * _lasting(trace, mm, per_turn), trace.name) for trace, mm in zip(traces, lift_mm, strict=True)
    )
    if far:
        lasts = (
            Phrase("; lobe {name} lasts {longest} cam deg at 1.27 mm", name=name, longest=f"{0.5 * longest:.0f}")
            if longest
            else ""
        )
        return UnitGuess(
            "angle",
            "crank deg",
            Phrase("{span}, two turns of the crank, so taken as crank degrees{lasts}.", span=span, lasts=lasts),
        )
    if not longest:
        return UnitGuess("angle", "", Phrase("No lobe reaches 1.27 mm: nothing tells cam from crank degrees. Choose."))
    unit = "crank deg" if longest > LONGEST_LOBE_CAM_DEG else "cam deg"
    both = Phrase(" Either can be meant: check it.") if EITHER_DEG[0] <= longest <= EITHER_DEG[1] else ""
    lasts = Phrase("Lobe {name} lasts {longest} degrees at 1.27 mm, so taken as", name=name, longest=f"{longest:.0f}")
    if unit == "crank deg":
        return UnitGuess(
            "angle",
            unit,
            Phrase(
                "{lasts} crank degrees: {longest} cam deg. As cam degrees no lobe is so long.{both}",
                lasts=lasts,
                longest=f"{0.5 * longest:.0f}",
                both=both,
            ),
        )
    other = Phrase("as crank degrees it would be a lobe of {longest} cam deg.", longest=f"{0.5 * longest:.0f}")
    return UnitGuess("angle", unit, Phrase("{lasts} cam degrees; {other}{both}", lasts=lasts, other=other, both=both))


def _lasting(trace: Trace, mm: float, per_turn: float) -> float:
    halved = Trace(trace.name, trace.angle_cam_deg / per_turn, trace.lift_mm, trace.sweep)
    return lasting(halved, COMPARISON_LIFT_MM / mm)


def guess_height_unit(heights: FloatArray) -> UnitGuess:
    """The unit of spring heights as written, shape (n,): a valve spring stands 15 to 150 mm high (common practice)."""
    low, high = float(heights.min()), float(heights.max())
    for unit in ("mm", "in"):
        mm = FACTORS["length"][unit]
        if HEIGHTS_MM[0] <= mm * low and mm * high <= HEIGHTS_MM[1]:
            other = "in" if unit == "mm" else "mm"
            ends = [f"{end:.4g}" for end in (low, high)]
            size = FACTORS["length"][other] * high
            text = Phrase(
                "Heights run from {low} to {high}, so taken as {unit}",
                low=ends[0],
                high=ends[1],
                unit=_SPOKEN[unit],
            )
            shown = (
                "" if unit == "mm" else Phrase(": {low} to {high} mm", low=f"{mm * low:.1f}", high=f"{mm * high:.1f}")
            )
            return UnitGuess(
                "height",
                unit,
                Phrase(
                    "{text}{shown}; as {unit} up to {size} mm.",
                    text=text,
                    shown=shown,
                    unit=_SPOKEN[other],
                    size=f"{size:.4g}",
                ),
            )
    text = Phrase(
        "Heights run from {low} to {high}: neither in mm nor in inches a spring's. Choose the unit.",
        low=f"{low:.4g}",
        high=f"{high:.4g}",
    )
    return UnitGuess("height", "", text)


def guess_force_unit(fall_per_mm: float, *, inches: bool) -> UnitGuess:
    """Newtons or pounds, by the rate of force as written over mm: 15 to 150 N/mm (common practice).

    Where either fits it is pounds beside heights in `inches`, else newtons.
    """
    rates = {"N": fall_per_mm, "lbf": fall_per_mm * POUND_FORCE_N}
    fitting = [unit for unit, rate in rates.items() if RATES_N_PER_MM[0] <= rate <= RATES_N_PER_MM[1]]
    told = Phrase(
        "as newtons {newtons} N/mm, as pounds {pounds} N/mm",
        newtons=f"{rates['N']:.4g}",
        pounds=f"{rates['lbf']:.4g}",
    )
    if not fitting:
        return UnitGuess(
            "force",
            "",
            Phrase("By the rate the forces are neither newtons nor pounds ({told}). Choose the unit.", told=told),
        )
    unit = "lbf" if "lbf" in fitting and (inches or len(fitting) == 1) else "N"
    spoken = "pounds" if unit == "lbf" else "newtons"
    both = Phrase(" Either can be meant: check it.") if len(fitting) > 1 else ""
    return UnitGuess(
        "force",
        unit,
        Phrase(
            "Forces are taken as {spoken} by the rate of the springs: {told}.{both}",
            spoken=spoken,
            told=told,
            both=both,
        ),
    )


def guess_units(kind: str, table: Table) -> tuple[UnitGuess, ...]:
    """Guesses for the columns whose headers state no unit, of a table assigned without units; empty where none is made.

    Columns with a unit in their header keep it.
    """
    try:
        if kind == "lift table":
            return _of_lifts(table)
        if kind == "spring readings":
            return _of_springs(table)
        if kind == "heights" and _bare(table, "height"):
            return (guess_height_unit(np.array([one.height_mm for one in heights_table(table).positions])),)
    except ValvelabError:
        pass  # whoever reads it with units says what is wrong
    return ()


def _bare(table: Table, name: str) -> bool:
    column = table.find(name)
    return column is not None and column.unit is None


def _of_lifts(table: Table) -> tuple[UnitGuess, ...]:
    angle, sweep, tidy = table.require("angle"), table.find("sweep"), table.find("lift")
    turn_said = table.turn(angle) is not None
    traces = lift_table(table if turn_said else table.with_unit(angle, "cam deg")).traces
    lobes = [column for column in table.columns if column not in (angle, sweep)]
    columns = lobes if tidy is None else [tidy] * len(traces)
    highest = [
        float(np.ptp(trace.lift_mm)) for trace, column in zip(traces, columns, strict=True) if column.unit is None
    ]
    lift = guess_lift_unit(max(highest)) if highest else None
    guesses = [] if lift is None else [lift]
    if not turn_said and (lift is None or lift.unit):
        per_unit = 1.0 if lift is None else FACTORS["length"][lift.unit]
        lift_mm = [1.0 if column.unit is not None else per_unit for column in columns]
        guesses.insert(0, guess_turn(traces, lift_mm))
    return tuple(guesses)


def _of_springs(table: Table) -> tuple[UnitGuess, ...]:
    if table.find("height") is None or table.find("force") is None:
        return ()
    strokes = [element.compress for spring in spring_readings(table).springs for element in spring.elements]
    guesses = []
    height_unit = (table.require("height").unit or "").lower()
    if not height_unit:
        guesses.append(guess_height_unit(np.concatenate([stroke.height_mm for stroke in strokes])))
        height_unit = guesses[0].unit
    mm = FACTORS["length"][height_unit] if guesses and height_unit else 1.0
    if _bare(table, "force") and height_unit:
        falls = [float(np.ptp(one.force_n) / np.ptp(one.height_mm)) / mm for one in strokes if np.ptp(one.height_mm)]
        if falls:
            guesses.append(guess_force_unit(float(np.median(falls)), inches=height_unit in _INCHES))
    return tuple(guesses)


def _range(ends: tuple[float, float]) -> str:
    return Phrase("{low} to {high}", low=f"{ends[0]:g}", high=f"{ends[1]:g}")


def guess_kind(kinds: Mapping[str, Mapping[str, tuple[str, ...]]], preview: Preview) -> str:
    """The kind of table whose columns the names and units above a preview speak of most; "" where two are as likely.

    kinds: the fields of each kind with the units of each.
    """
    split = [split_header(header) for header in preview.headers]
    stated = [unit or "" for unit in preview.units]
    scores: dict[str, int] = {}
    for kind, fields in kinds.items():
        named = sum(bool(role) for role in _named_roles(kind, fields, [title for title, _ in split]))
        scores[kind] = 2 * named + sum(any(_measures(units, unit) for units in fields.values()) for unit in stated)
    best = max(scores.values(), default=0)
    likely = [kind for kind, score in scores.items() if score == best]
    return likely[0] if best and len(likely) == 1 else ""


def _measures(units: Collection[str], unit: str) -> bool:
    """Whether a field with these units is of what a unit measures, and of nothing else."""
    kinds = [known for known in FACTORS.values() if unit and _is_among(unit, known)]
    return bool(units) and any(all(_is_among(one, known) for one in units) for known in kinds)


def _is_among(unit: str, known: Collection[str]) -> bool:
    """Whether a unit is among known ones, in whatever case."""
    return unit.lower() in map(str.lower, known)


def guess_roles(kind: str, fields: Mapping[str, tuple[str, ...]], preview: Preview) -> tuple[str, ...]:
    """What each column of a preview most likely holds among the `fields` of a kind; "" for one that is not used.

    By the names above the columns as far as they say it, by order among those that hold numbers otherwise.
    """
    cells = list(zip(*preview.rows, strict=True))
    titles = [split_header(header)[0] for header in (*preview.headers, *("",) * (len(cells) - len(preview.headers)))]
    roles = _named_roles(kind, fields, titles[: len(cells)])
    _add_units(roles, fields, titles, preview.units)
    free = [
        index
        for index, column in enumerate(cells)
        if not roles[index] and any(column) and plain_name(titles[index]) not in _COUNTERS
    ]
    numeric = [index for index in free if _holds_numbers(cells[index])]
    if kind == "lift table":
        _order_lifts(roles, numeric, cells)
    elif kind == "spring readings":
        _order_springs(roles, free, numeric, cells)
    else:
        words = [name for name, units in fields.items() if not units and name not in roles]
        for index in free:
            open_fields = [name for name in fields if name not in roles]
            offered = open_fields if index in numeric else [name for name in open_fields if name in words]
            roles[index] = next(iter(offered), "")
    return tuple(roles)


def _named_roles(kind: str, fields: Mapping[str, tuple[str, ...]], titles: Sequence[str]) -> list[str]:
    roles = [""] * len(titles)
    for field in fields:
        ranked = [
            (place, index)
            for index, title in enumerate(titles)
            if title and not roles[index] and (place := rank(field, plain_name(title))) is not None
        ]
        if ranked:
            roles[min(ranked)[1]] = field
    if kind == "lift table" and "lift" not in roles:
        lobes = [lobe_name(title) for title in titles]
        roles = [
            role or (lobe if lobe and lobes.count(lobe) == 1 else "") for role, lobe in zip(roles, lobes, strict=True)
        ]
    return roles


def _add_units(
    roles: list[str], fields: Mapping[str, tuple[str, ...]], titles: Sequence[str], units: Sequence[str | None]
) -> None:
    """A title that is but a unit says what its column holds where one field alone is measured so."""
    for index, (title, unit) in enumerate(zip(titles, units, strict=False)):
        if index < len(roles) and not roles[index] and unit and title.lower() == unit.lower():
            measured = [name for name, known in fields.items() if _measures(known, unit)]
            if len(measured) == 1 and measured[0] not in roles:
                roles[index] = measured[0]


def _holds_numbers(cells: Sequence[str]) -> bool:
    held = [cell for cell in cells if cell]
    return 2 * sum(is_number(cell) or is_number(cell, ",") for cell in held) > len(held)


def _numbers(cells: Sequence[str]) -> FloatArray:
    found = (to_number(cell.replace(",", ".")) for cell in cells)
    return np.array([value for value in found if value is not None])


def _order_lifts(roles: list[str], numeric: list[int], cells: Sequence[Sequence[str]]) -> None:
    if "angle" not in roles and numeric:
        steps = {index: np.diff(_numbers(cells[index])) for index in numeric}
        angle = next(
            (n for n in numeric if steps[n].size and (np.all(steps[n] > 0) or np.all(steps[n] < 0))), numeric[0]
        )
        roles[angle] = "angle"
        numeric.remove(angle)
    if "lift" in roles:
        return
    names = (f"{cylinder}{kind}" for cylinder in range(1, 100) for kind in "IE")
    free = (name for name in names if name not in set(roles))
    for index in numeric:
        roles[index] = next(free)


def _order_springs(roles: list[str], free: list[int], numeric: list[int], cells: Sequence[Sequence[str]]) -> None:
    """The spring's name comes first; of the two columns of numbers after it forces are the larger."""
    needed = [name for name in ("height", "force") if name not in roles]
    if "spring" not in roles and len(free) > len(needed):
        first = next((index for index in free if index not in numeric), free[0])
        roles[first] = "spring"
        numeric = [index for index in numeric if index != first]
    chosen = numeric[: len(needed)]
    chosen.sort(key=lambda index: float(np.max(_numbers(cells[index]), initial=0.0)))
    for name, index in zip(needed, chosen, strict=False):
        roles[index] = name
