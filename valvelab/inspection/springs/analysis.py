"""One spring in one stage: its curves, and the numbers that follow from them."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import fields, replace
from math import hypot, inf, sqrt
from typing import TypeVar

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.errors import BadFile, BadSpec, CannotEvaluate
from valvelab.frozen import frozen
from valvelab.inspection.springs.repeated import StandingOff, at_one_height, standing_off_among
from valvelab.measured import Measured, Once, missing, or_reason
from valvelab.phrase import Phrase
from valvelab.records.result import Note, info, warning
from valvelab.records.spec import NO_SPEC, Spec
from valvelab.records.spring_readings import (
    CoilData,
    ElementReadings,
    SpringReadings,
    SpringTable,
    Squareness,
    iso_date,
)
from valvelab.springs.coil_bind import Knee, find_knee
from valvelab.springs.division import force_division
from valvelab.springs.nest import Element, nest_force, nest_force_uncertainty, nest_rate, nest_solid_height
from valvelab.springs.rate import RateFit
from valvelab.springs.spring import ForceCurve, ReadingUncertainty, force_curve, with_end
from valvelab.springs.stress import StressFactor, WireMaterial, material_key

T = TypeVar("T")
_NOT_STATED = CoilData()


@frozen
class Fit:
    """How the springs are fitted: heights in mm and coil data, the spec winning over the preamble."""

    installed_height_mm: float | None
    valve_lift_mm: float | None
    coil: CoilData
    element_coils: Mapping[str, CoilData]
    stated: ReadingUncertainty
    materials: Mapping[str, WireMaterial]
    squareness_u: Squareness | None = None
    """Standard uncertainty stated for squareness, as a length or as an angle."""
    height_of_spec: bool = False
    """Whether the installed height is the spec's, for every spring."""
    stress_factor: StressFactor = "EN 13906-1"

    @property
    def open_height_mm(self) -> float | None:
        """Installed height − valve lift."""
        if self.installed_height_mm is None or self.valve_lift_mm is None:
            return None
        return self.installed_height_mm - self.valve_lift_mm

    def coil_of(self, element: str, *, nested: bool) -> CoilData:
        """Coil data of one element: what names it, else the plain statement (of a nest: the outer spring's)."""
        named = self.element_coils.get(element, _NOT_STATED)
        if not nested:
            return self.coil if named == _NOT_STATED else named
        if named != _NOT_STATED:
            return named
        return replace(self.coil, solid_height_mm=None, free_length_mm=None) if element == "outer" else _NOT_STATED

    def of_spring(self, readings: SpringReadings) -> Fit:
        """The fit of one spring: its own installed height counts where the spec states none for all."""
        own = readings.installed_height_mm
        return self if own is None or self.height_of_spec else replace(self, installed_height_mm=own)

    def material(self, coil: CoilData) -> WireMaterial | None:
        """The wire that the coil's material names, or None."""
        return None if coil.material is None else self.materials.get(material_key(coil.material))


def fit_of(
    table: SpringTable, spec: Spec | None, materials: Mapping[str, WireMaterial], spec_file: str = "spec"
) -> tuple[Fit, list[Note]]:
    """The fit from preamble and spec, with notes where the spec overrules the file or nothing is stated."""
    fitting = (spec or NO_SPEC).fitting
    stated = {field.name: value for field in fields(table.coil) if (value := getattr(fitting, field.name))}
    installed, lift = fitting.installed_height_mm, fitting.valve_lift_mm
    fit = Fit(
        installed_height_mm=table.installed_height_mm if installed is None else installed,
        valve_lift_mm=table.valve_lift_mm if lift is None else lift,
        coil=replace(table.coil, **stated),
        element_coils=table.element_coils,
        stated=_tester(table),
        materials=materials,
        squareness_u=table.squareness_uncertainty,
        height_of_spec=installed is not None,
    )
    if fit.open_height_mm is not None and fit.open_height_mm <= 0.0:
        file, place = (spec_file, "[fitting] valve_lift") if lift is not None else (table.file, "valve lift")
        raise BadSpec(file, place, f"{fit.valve_lift_mm:g} mm", "less than the installed height")
    return fit, [*_fit_notes(table, fit, installed, lift)]


def _tester(table: SpringTable) -> ReadingUncertainty:
    """What is known of the tester; a division of force that nobody states is looked for in the readings."""
    division = table.force_resolution_n
    if division is None:
        strokes = [
            stroke
            for spring in table.springs
            for element in spring.elements
            for stroke in (element.compress, element.release)
            if stroke is not None
        ]
        division = force_division(np.concatenate([stroke.force_n for stroke in strokes]))
    return ReadingUncertainty(
        table.force_uncertainty_n,
        table.height_uncertainty_mm,
        division,
        table.height_resolution_mm,
        table.uncertainty_over_force,
    )


def _fit_notes(table: SpringTable, fit: Fit, installed: float | None, lift: float | None) -> Iterator[Note]:
    for name, ours, theirs in (
        ("installed height", installed, table.installed_height_mm),
        ("valve lift", lift, table.valve_lift_mm),
    ):
        if ours is not None and theirs is not None and abs(ours - theirs) > 1e-9:
            yield info(
                name,
                Phrase(
                    "the spec's {ours} mm is used, not {theirs} mm of {file}",
                    ours=f"{ours:g}",
                    theirs=f"{theirs:g}",
                    file=table.file,
                ),
            )
    if fit.installed_height_mm is None:
        if any(one.installed_height_mm is None for one in table.springs):
            text = Phrase(
                "stated neither above the table nor as fitting in the spec: no seat force, open force or margin"
            )
            yield warning("installed height", text)
    elif fit.valve_lift_mm is None:
        yield warning(
            "valve lift", Phrase("stated neither above the table nor as fitting in the spec: no open force or margin")
        )
    if fit.stated.force_division_n and table.force_resolution_n is None:
        text = Phrase(
            "every force is a multiple of {force_division} N: taken as the tester's division",
            force_division=f"{fit.stated.force_division_n:.4g}",
        )
        yield info("force resolution", text)
    if fit.stated.force_n is None and fit.stated.height_mm is None:
        yield info(
            "uncertainty", Phrase("the file states none for the tester: uncertainties come from the scatter seen alone")
        )
    coils = [fit.coil, *fit.element_coils.values()]
    for name in dict.fromkeys(coil.material for coil in coils if coil.material):
        if material_key(name) not in fit.materials:
            known = ", ".join(dict.fromkeys(material.name for material in fit.materials.values()))
            yield warning(
                "material",
                Phrase("{name} is not in the wire table ({known}): no strength margins", name=f"{name!r}", known=known),
            )


@frozen
class ElementCurves:
    """One element's curves: everything read on the way down, the part before coil bind, and the way back."""

    element: str
    offset_mm: float
    read: ForceCurve
    free: ForceCurve
    usable: ForceCurve
    knee: Knee | None
    release: ForceCurve | None
    solid_height_mm: float | None
    solid_uncertainty_mm: float | None
    coil: CoilData
    standing_off: tuple[StandingOff, ...] = ()
    """Readings on the way down that count and should be taken again."""

    def part(self, *, to_the_knee: bool) -> Element:
        """As an element of a nest: for forces the curve runs to the knee, for the rate over readings alone."""
        curve = self.usable if to_the_knee else self.free
        return Element(self.element, curve, self.offset_mm, self.solid_height_mm, self.solid_uncertainty_mm)


def element_curves(readings: ElementReadings, fit: Fit, *, nested: bool) -> ElementCurves:
    """Sort, average repeats, find the knee. Raises CannotEvaluate for readings that are no spring's."""
    down, division = readings.compress, fit.stated.force_division_n
    read = at_one_height(down, force_curve(down.height_mm, down.force_n, fit.stated), division)
    release = None
    if readings.release is not None and np.unique(readings.release.height_mm).size >= 2:
        release = force_curve(readings.release.height_mm, readings.release.force_n, fit.stated)
    coil = fit.coil_of(readings.element, nested=nested)
    if readings.solid_height_mm or readings.free_length_mm:
        coil = replace(
            coil,
            solid_height_mm=readings.solid_height_mm or coil.solid_height_mm,
            free_length_mm=readings.free_length_mm or coil.free_length_mm,
        )
    knee = find_knee(read, fit.stated.of_length())
    free = usable = _slack_out(read)
    solid, uncertainty = coil.solid_height_mm, None
    if knee is not None:
        free = _slack_out(read.part(slice(knee.first_past + 1, None)))
        usable = with_end(free, knee.solid_height_mm, knee.force_n)
        if solid is None:
            solid, uncertainty = knee.solid_height_mm, hypot(knee.standard_uncertainty_mm, fit.stated.height_mm or 0.0)
    return ElementCurves(
        readings.element,
        readings.offset_mm,
        read,
        free,
        usable,
        knee,
        release,
        solid,
        uncertainty,
        coil,
        standing_off_among(down, read, division),
    )


def _slack_out(curve: ForceCurve) -> ForceCurve:
    """Without the readings above the free length: of several of no force the lowest is kept."""
    _, forces = curve.numbers
    loose = [place for place, force in enumerate(forces) if force <= 0.0]
    if len(loose) < 2 or loose[0] == 0:
        return curve
    return curve.part(slice(0, loose[0] + 1))


@frozen(eq=False)
class SpringAnalysis(Once):
    """One spring in one stage, ready to be asked for forces."""

    readings: SpringReadings
    fit: Fit
    elements: tuple[ElementCurves, ...]
    rate_fit: RateFit | None
    rate: Measured
    solid_height: Measured
    solid_from_readings: bool
    new: SpringAnalysis | None = None
    """The same spring in its first stage; of that stage itself None."""

    @property
    def name(self) -> str:
        """The spring's name."""
        return self.readings.spring

    @or_reason
    def force(self, height_mm: float) -> Measured:
        """Force at a height of the valve."""
        solid = self.solid_height.value
        if solid is not None and height_mm < solid - 1e-9:
            return missing(
                Phrase(
                    "{height} mm is below the solid height of {solid} mm", height=f"{height_mm:g}", solid=f"{solid:.3f}"
                )
            )
        parts = [element.part(to_the_knee=True) for element in self.elements]
        force, u = nest_force(parts, height_mm), nest_force_uncertainty(parts, height_mm, self.fit.stated)
        return Measured(force, u, doubt=doubt_between(self.elements, height_mm, height_mm))

    def plain_force(self, height_mm: float) -> float | None:
        """Force at a height of the valve without its uncertainty; None where it was not read."""
        try:
            return nest_force([element.part(to_the_knee=True) for element in self.elements], height_mm)
        except CannotEvaluate:
            return None

    @property
    def alone(self) -> ElementCurves | None:
        """The spring's one element; None of a nest."""
        return self.elements[0] if len(self.elements) == 1 else None

    def span(self) -> tuple[float, float]:
        """Heights of the valve over which all elements were read free of coil bind."""
        return _span(self.elements)

    def free_readings(self) -> tuple[FloatArray, FloatArray]:
        """Heights at the valve and forces of the whole spring, at the heights of its first element."""
        first = self.elements[0].free
        heights = first.height_mm - self.elements[0].offset_mm
        if self.alone:
            return heights, first.force_n
        low, high = self.span()
        heights = heights[(heights >= low - 1e-9) & (heights <= high + 1e-9)]
        parts = [element.part(to_the_knee=False) for element in self.elements]
        return heights, np.array([nest_force(parts, float(h)) for h in heights])


@frozen
class Read:
    """One spring in one stage: with what is stated of the tester, and by its readings alone."""

    stated: SpringAnalysis
    seen: SpringAnalysis

    @classmethod
    def of(cls, spring: SpringAnalysis) -> Read:
        """A spring, and the same as if nothing were stated of its tester."""
        silent, line = replace(spring.fit.stated, force_n=None, height_mm=None), spring.rate_fit
        rate = spring.rate if line is None else rate_between(spring.elements, line.low_mm, line.high_mm, silent)[1]
        return cls(spring, replace(spring, fit=replace(spring.fit, stated=silent), rate=rate))

    def told(self, ask: Callable[[SpringAnalysis], Measured]) -> tuple[Measured, float, float]:
        """A characteristic, the variance that its readings show, and the deviation that is the tester's."""
        whole, alone = self.stated.once(ask), self.seen.once(ask)
        noise = (alone.u or 0.0) ** 2
        return whole, noise, sqrt(max((whole.u or 0.0) ** 2 - noise, 0.0))


def stage_rank(stage: str | None) -> int:
    """Where a stage stands among those without a date: `new` 0, `run-in` 1, any other 2."""
    return _RANKS.get(re.sub(r"[\s_-]", "", (stage or "").casefold()), 2)


_RANKS = {"new": 0, "runin": 1}


def joined(tables: Sequence[SpringTable]) -> SpringTable:
    """Readings of the same springs in several files as one table, in which every file is a stage of its own.

    A stage that a file does not name is its date, else the file's own name. Heights, coils and the tester are the first
    file's. Refuses two files with one stage of a spring.
    """
    first, notes = tables[0], [note for table in tables for note in table.notes]
    found: dict[tuple[str, str], int] = {}
    springs = []
    for number, table in enumerate(tables):
        stated = iso_date(table.remarks.get("date", ""))
        name = stated or table.file.replace("\\", "/").rpartition("/")[2].rpartition(".")[0]
        for one in table.springs:
            stage, day = one.stage or one.date or name, one.date or stated
            before = found.setdefault((one.spring, stage), number)
            if before != number:
                text = Phrase(
                    "stage {stage} of spring {spring}, which {file} has as well",
                    stage=f"{stage!r}",
                    spring=f"{one.spring!r}",
                    file=tables[before].file,
                )
                raise BadFile(table.file, one.place, text, "each stage in one file")
            place = one.place if table is first else Phrase("{place} of {file}", place=one.place, file=table.file)
            springs.append(replace(one, stage=stage, date=day, place=place))
        for field, what in _COMMON.items():
            if table is not first and getattr(table, field) not in {None, getattr(first, field)}:
                notes.append(
                    warning(
                        what,
                        Phrase(
                            "that of {file} counts for all, not that of {other_file}",
                            file=first.file,
                            other_file=table.file,
                        ),
                    )
                )
        if table.remarks.get("instrument") != first.remarks.get("instrument"):
            text = Phrase(
                "{file} names another than {other_file}: what one reads more than the other counts as lost",
                file=table.file,
                other_file=first.file,
            )
            notes.append(warning("instrument", text))
    return replace(first, springs=tuple(springs), notes=tuple(notes))


_COMMON = {
    "installed_height_mm": "installed height", "valve_lift_mm": "valve lift",
    "force_uncertainty_n": "force uncertainty", "height_uncertainty_mm": "height uncertainty",
}  # fmt: skip


def in_time(springs: Iterable[SpringReadings]) -> list[SpringReadings]:
    """Springs in the order of the file, the stages of each as they followed one another.

    By date where all of a spring's stages have one, else new, run-in, then the others as they stand in the file.
    """
    stages: dict[str, list[SpringReadings]] = {}
    for one in springs:
        stages.setdefault(one.spring, []).append(one)
    answer = []
    for each in stages.values():
        dated = all(one.date for one in each)
        answer += sorted(each, key=lambda one: (one.date or "" if dated else "", stage_rank(one.stage)))
    return answer


def analyse(readings: SpringReadings, fit: Fit, file: str) -> SpringAnalysis:
    """Analyse one spring. Raises CannotEvaluate, naming the file, the place and the spring."""
    fit = fit.of_spring(readings)
    nested = len(readings.elements) > 1
    try:
        elements = tuple(element_curves(element, fit, nested=nested) for element in readings.elements)
    except CannotEvaluate as error:
        raise CannotEvaluate(
            error.reason,
            Phrase(
                "{file}, {place}: spring {spring}: {error}",
                file=file,
                place=readings.place,
                spring=f"{readings.spring!r}",
                error=error,
            ),
        ) from None
    solid, from_readings = _solid(elements, fit)
    low, high = _span(elements)
    line, rate = rate_between(
        elements,
        low if fit.open_height_mm is None else fit.open_height_mm,
        high if fit.installed_height_mm is None else fit.installed_height_mm,
        fit.stated,
    )
    return SpringAnalysis(readings, fit, elements, line, rate, solid, from_readings)


def _solid(elements: tuple[ElementCurves, ...], fit: Fit) -> tuple[Measured, bool]:
    """Solid height, and whether the readings gave it; a stated one counts before the knee of the readings."""
    if len(elements) > 1 and fit.coil.solid_height_mm is not None:
        return Measured(fit.coil.solid_height_mm), False
    whole = nest_solid_height([element.part(to_the_knee=False) for element in elements])
    if whole is not None:
        known = [element for element in elements if element.solid_height_mm is not None]
        governs = max(known, key=lambda element: (element.solid_height_mm or 0.0) - element.offset_mm)
        from_readings = governs.knee is not None and governs.coil.solid_height_mm is None
        doubt = doubt_between([governs], -inf, whole[0]) if from_readings else ""
        return Measured(*whole, doubt=doubt), from_readings
    return missing(Phrase("the readings did not go to coil bind, and no solid height is stated")), False


def rate_between(
    elements: Sequence[ElementCurves], low_mm: float, high_mm: float, stated: ReadingUncertainty
) -> tuple[RateFit | None, Measured]:
    """Rate of elements together between two heights of the valve, of readings free of coil bind; its line first."""
    try:
        line = nest_rate([element.part(to_the_knee=False) for element in elements], low_mm, high_mm, stated)
    except CannotEvaluate as error:
        return None, missing(str(error))
    doubt = doubt_between(elements, line.low_mm, line.high_mm)
    return line, Measured(line.rate_n_per_mm, line.rate_uncertainty_n_per_mm, doubt=doubt)


def doubt_between(elements: Sequence[ElementCurves], low_mm: float, high_mm: float) -> str:
    """What stands off among the readings between two heights of the valve and the two either side; "" for nothing."""
    for element in elements:
        if not element.standing_off:
            continue
        heights = element.read.height_mm - element.offset_mm
        first = max(int(np.searchsorted(heights, low_mm)) - 2, 0)
        last = min(int(np.searchsorted(heights, high_mm, side="right")) + 1, heights.size - 1)
        for off in element.standing_off:
            if heights[first] <= off.height_mm - element.offset_mm <= heights[last]:
                return off.told
    return ""


def _span(elements: Sequence[ElementCurves]) -> tuple[float, float]:
    """Heights of the valve over which all elements were read free of coil bind."""
    low = max(element.free.low_mm - element.offset_mm for element in elements)
    return low, min(element.free.high_mm - element.offset_mm for element in elements)
