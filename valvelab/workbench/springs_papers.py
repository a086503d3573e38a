"""What the spring bay puts on paper besides the certificate: the tray labels."""

from __future__ import annotations

from valvelab.report.tray_labels import Label, LabelSheet
from valvelab.units import System, display_unit, show
from valvelab.workbench import sets, springs_bay
from valvelab.workbench.document import Document
from valvelab.workbench.sets import Grouping, Standing, Values, Wish


def label_sheet(document: Document, grouping: Grouping, values: Values, wish: Wish, made: str) -> LabelSheet:
    """A label for each set and one for the springs left over. `made` is the date, ISO 8601."""
    tray = springs_bay.table_in_use(document)
    remarks = tray[1].remarks if tray is not None else {}
    part = remarks.get("part") or (tray[0].name if tray is not None else "springs")
    serial = remarks.get("serial")
    foot = " · ".join(word for word in (part, serial and f"no. {serial}", made) if word)
    labels = [
        _label(f"{number}", f"Set {number}", one, values, wish, document.units, number - 1)
        for number, one in enumerate(sets.standings(grouping, values, wish), start=1)
    ]
    left = sets.left_over(grouping, values)
    if left:
        one = sets.standing(left, values, Wish(len(left), {}))
        labels.append(_label("left", "Left over", one, values, wish, document.units, None))
    return LabelSheet(f"Tray labels, {part}", foot, tuple(labels))


def _label(sign: str, name: str, one: Standing, values: Values, wish: Wish, units: System, series: int | None) -> Label:
    heading = f"{name}: {sets.counted(len(one.springs), 'spring')}"
    if not one.complete:
        heading += f" of {one.wanted}"
    lines = []
    for key, extent in one.range.items():
        unit, places = sets.UNITS[key], sets.finer(key, units)
        label = display_unit(unit, units).label
        mean, spread, limit = (show(value, unit, units, places) for value in (one.mean[key], extent, wish.within[key]))
        over = " (over)" if key in one.over else ""
        lines.append(f"{sets.words(key)} {mean} {label}, within {spread} of {limit} {label}{over}")
    first = next(iter(wish.within), "seat_force")
    places = sets.decimals(first, units, values)
    lines.append(f"figures: {sets.words(first)}, {display_unit(sets.UNITS[first], units).label}")
    springs = tuple((name, show(values[name][first], sets.UNITS[first], units, places)) for name in one.springs)
    return Label(sign, heading, tuple(lines), springs, series)
