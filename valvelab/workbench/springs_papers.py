"""What the spring bay puts on paper besides the certificate: the tray labels."""

from __future__ import annotations

from valvelab.report.tray_labels import Label, LabelSheet
from valvelab.tables.description import counted
from valvelab.units import System, display_unit, show
from valvelab.workbench import sets, springs_bay
from valvelab.workbench.document import Document
from valvelab.workbench.sets import Grouping, Standing, Values, Wish
from valvelab.workbench.springs_bay import Usable


def label_sheet(document: Document, grouping: Grouping, usable: Usable, wish: Wish, made: str) -> LabelSheet:
    """A label for each set, one for the springs left over, one for those not used. `made` is the date, ISO 8601."""
    tray = springs_bay.table_in_use(document)
    remarks = tray[1].remarks if tray is not None else {}
    part = remarks.get("part") or (tray[0].name if tray is not None else "springs")
    serial = remarks.get("serial")
    foot = " · ".join(word for word in (made, part, serial and f"no. {serial}") if word)
    labels = [
        _label(f"{number + 1}", grouping.title(number), one, usable.values, wish, document.units, number)
        for number, one in enumerate(sets.standings(grouping, usable.values, wish))
    ]
    left = sets.left_over(grouping, usable.values)
    if left:
        one = sets.standing(left, usable.values, Wish(len(left), {}))
        labels.append(_label("left", "Left over", one, usable.values, wish, document.units, None))
    if usable.out:
        heading = f"Not used: {counted(len(usable.out), 'spring')}"
        labels.append(Label("not", heading, ("keep out of the engine",), tuple(usable.out.items())))
    return LabelSheet(f"Tray labels, {part}", foot, tuple(labels))


def _label(sign: str, name: str, one: Standing, values: Values, wish: Wish, units: System, series: int | None) -> Label:
    heading = f"{name}: {counted(len(one.springs), 'spring')}"
    if not one.complete:
        heading += f" of {one.wanted}"
    means, ranges = [], []
    for key, extent in one.range.items():
        unit, places = sets.UNITS[key], sets.finer(key, units)
        label = display_unit(unit, units).label
        mean, spread, limit = (show(value, unit, units, places) for value in (one.mean[key], extent, wish.within[key]))
        over = " (over)" if key in one.over else ""
        means.append(f"mean {sets.words(key)} {mean} {label}")
        ranges.append(f"{sets.short(key)} {spread} of {limit}{over}")
    first = next(iter(wish.within), "seat_force")
    places = sets.decimals(first, units, values)
    small = [f"ranges: {', '.join(ranges)}"] if ranges else []
    small.append(f"beside each spring: {sets.words(first)}, {display_unit(sets.UNITS[first], units).label}")
    springs = tuple((name, show(values[name][first], sets.UNITS[first], units, places)) for name in one.springs)
    return Label(sign, heading, tuple(means), springs, series, tuple(small))
