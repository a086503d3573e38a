"""Judged characteristics as a results document of QIF 3.0 (ISO 23952): what was asked, measured and decided.

A verdict is a characteristic with its limits, its item and its measurement; what was measured is a feature, the part it
belongs to a component. `accept` is PASS, `reject` is FAIL, `undecided` is INDETERMINATE (of a whole inspection UNKNOWN,
which has no such word). A limit is an absolute one; a target stands where the spec states a nominal. The uncertainty is
the combined standard uncertainty (JCGM 100); its `meanError` is 0, because every error that is known was corrected.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from itertools import count
from typing import Any
from uuid import NAMESPACE_OID, uuid5
from xml.etree.ElementTree import Element, SubElement, indent, tostring

from valvelab.errors import BadQuantity, one_line, utf8
from valvelab.frozen import frozen
from valvelab.inspection.characteristics import Characteristic, of_unit
from valvelab.inspection.limits import ends, limit_value
from valvelab.pieces import in_pieces
from valvelab.records.result import Decision, Note, Source, Verdict
from valvelab.records.spec import LimitSpec
from valvelab.tables.verdicts import overall

NAMESPACE = "http://qifstandards.org/xsd/qif3"
STATUS: dict[Decision, str] = {"accept": "PASS", "reject": "FAIL", "undecided": "INDETERMINATE"}
WHOLE: dict[Decision, str] = {"accept": "PASS", "reject": "FAIL", "undecided": "UNKNOWN"}


@frozen
class Judged:
    """What a results document is made of.

    said: what was said of the readings, by the fields of a record (part, serial, operator, date, …). limits: those that
    the verdicts rest on, for their nominal values. apart: the name of what an item belongs to, where the items of one
    inspection are parts of their own (springs, cars); None where all belong to one part.
    """

    command: str
    version: str
    verdicts: tuple[Verdict, ...]
    notes: tuple[Note, ...]
    sources: tuple[Source, ...]
    said: Mapping[str, Any]
    limits: tuple[LimitSpec, ...] = ()
    apart: Mapping[str, str] | None = None


@frozen
class _Unit:
    """A unit as the standard knows it: which kind of quantity, its name, how many SI units it is."""

    kind: str
    name: str
    factor: str
    si: str


_DEGREE = f"{math.pi / 180.0:.17f}"
_UNITS = {
    "mm": _Unit("Linear", "mm", "0.001", "meter"),
    "um": _Unit("Linear", "um", "0.000001", "meter"),
    "deg": _Unit("Angular", "deg", _DEGREE, "radian"),
    "cam deg": _Unit("Angular", "cam deg", _DEGREE, "radian"),
    "crank deg": _Unit("Angular", "crank deg", _DEGREE, "radian"),
    "N": _Unit("Force", "N", "1", "newton"),
    "MPa": _Unit("Pressure", "MPa", "1000000", "pascal"),
}
"""Units of the quantities that the standard has kinds of; all others are units of our own there."""
_NUMBER = "1"
_FORM = {"roundness_mzc": "Circularity", "straightness": "Straightness", "tir": "CircularRunout"}
"""Characteristics that the standard knows by their name, with an upper limit alone."""
_SHAPES = {"lobe": "cam lobe", "station": "journal, nominal size not stated", "trace": "traced surface"}
_OTHERS = {
    "camshaft": "camshaft", "shaft": "axis of the shaft", "spring": "valve spring", "valve": "valve",
    "event": "valve, by its events", "phasing": "engine", "gauge": "gauge", "comparison": "item measured twice",
}  # fmt: skip


def qif_document(judged: Judged) -> bytes:
    """The document as UTF-8; equal verdicts give equal bytes. What is judged has one verdict at least."""
    return _Document(judged).whole()


@dataclass(slots=True)
class _Document:
    """A document in the making: every object has a number, and others point at it by that."""

    judged: Judged
    numbers: count[int] = field(default_factory=lambda: count(1))
    last: int = 0

    def whole(self) -> bytes:
        judged = self.judged
        told = repr((judged.command, judged.version, judged.verdicts, judged.sources, sorted(judged.said.items())))
        root = Element("QIFDocument", {"xmlns": NAMESPACE, "versionQIF": "3.0.0"})
        _add(root, "QPId", str(uuid5(NAMESPACE_OID, told)))
        _add(_add(_add(root, "Header"), "Application"), "Name", f"valvelab {judged.version}")
        rule = self._rule(root)
        _units(root, judged.verdicts)
        devices = self._device(root)
        path = self._product(root)
        components = {name: self._number() for name in dict.fromkeys(map(self._component_of, judged.verdicts))}
        features = self._features(root)
        items = self._characteristics(root, rule, features, devices)
        results = _add(root, "Results")
        measured = self._numbered(_list(results, "MeasurementResultsSet", 1), "MeasurementResults")
        self._told(measured)
        self._traced(measured)
        self._measured_features(measured, features, components, devices)
        self._measurements(measured, items, components, devices)
        _status(measured, "InspectionStatus", judged.verdicts)
        _ids(measured, "ActualComponentIds", components.values())
        self._components(results, components, path)
        root.set("idMax", str(self.last))
        indent(root, " ")
        whole: bytes = tostring(root, encoding="utf-8", xml_declaration=True)
        return whole + b"\n"

    def _number(self) -> int:
        self.last = next(self.numbers)
        return self.last

    def _numbered(self, parent: Element, name: str, number: int | None = None) -> Element:
        return _add(parent, name, id=str(self._number() if number is None else number))

    def _rule(self, root: Element) -> int:
        """The document that conformity is decided by, guarded or simple."""
        standard = self._numbered(_list(root, "StandardsDefinitions", 1), "Standard")
        _add(_add(standard, "Organization"), "OtherStandardsOrganization", "JCGM")
        _add(standard, "Designator", "106")
        _add(standard, "Year", "2012")
        _add(standard, "Title", "The role of measurement uncertainty in conformity assessment")
        return self.last

    # -- who, what, when, with what ------------------------------------------------------------------------------------

    def _device(self, root: Element) -> list[int]:
        """The instrument, where one is named."""
        said = self.judged.said
        if not said.get("instrument"):
            return []
        device = self._numbered(_list(_add(root, "MeasurementResources"), "MeasurementDevices", 1), "MeasurementDevice")
        _add(device, "Name", said["instrument"])
        if said.get("instrument_due"):
            calibration = _add(_list(device, "Calibrations", 1), "Calibration")
            _add(calibration, "ExpirationDate", f"{said['instrument_due']}T23:59:59")
        return [self.last]

    def _product(self, root: Element) -> int | None:
        """The kind of part, where it is named: the path that an actual component is told by."""
        part = self.judged.said.get("part")
        if not part:
            return None
        product = _add(root, "Product")
        kind = self._numbered(_list(product, "PartSet", 1), "Part")
        _add(_add(kind, "Header"), "Name", part)
        component = self._numbered(_list(product, "ComponentSet", 1), "Component")
        _add(_add(component, "Part"), "Id", kind.get("id"))
        path = self._numbered(_list(product, "AsmPaths", 1), "AsmPath")
        _ids(path, "ComponentIds", [component.get("id")])
        return self.last

    def _component_of(self, verdict: Verdict) -> str:
        """The serial number of the part that a verdict is on, or the name of what lies apart; empty for none."""
        apart = self.judged.apart
        return str(self.judged.said.get("serial") or "") if apart is None else apart.get(verdict.item, verdict.item)

    def _components(self, results: Element, components: Mapping[str, int], path: int | None) -> None:
        sets = _list(results, "ActualComponentSets", 1)
        held = _list(sets, "ActualComponentSet", len(components))
        for serial, number in components.items():
            component = self._numbered(held, "ActualComponent", number)
            if self.judged.apart is not None:
                _attributes(component, [("item", serial)])
            elif serial:
                _add(component, "SerialNumber", serial)
            _status(component, "Status", [row for row in self.judged.verdicts if self._component_of(row) == serial])
            if path is not None:
                _add(component, "AsmPathId", str(path))

    def _told(self, measured: Element) -> None:
        """What the standard has no place for, so that nothing is lost: sources, notes, what was said besides."""
        judged = self.judged
        rows: list[tuple[str, object]] = [("command", judged.command)]
        rows += [("source", f"{source.file} SHA-256 {source.sha256}") for source in judged.sources]
        rows += [(name, value) for name, value in judged.said.items() if value is not None]
        rows += [(f"{note.level}: {note.about}", note.text) for note in judged.notes]
        _attributes(measured, rows)

    def _traced(self, measured: Element) -> None:
        said = self.judged.said
        if not (said.get("date") or said.get("operator")):
            return
        trace = _add(measured, "InspectionTraceability")
        if said.get("date"):  # known to the day: it began and ended within it
            _add(trace, "InspectionStart", f"{said['date']}T00:00:00")
            _add(trace, "InspectionEnd", f"{said['date']}T23:59:59")
        if said.get("operator"):
            _add(_add(trace, "InspectionOperator"), "Name", said["operator"])

    # -- features ------------------------------------------------------------------------------------------------------

    def _features(self, root: Element) -> dict[tuple[str, str], tuple[str, int]]:
        """What was measured, by item and kind of thing: the element's beginning, and the number of its item."""
        wanted = {_feature_of(verdict): None for verdict in self.judged.verdicts}
        features = _add(root, "Features")
        subjects = dict.fromkeys(subject for _, subject in wanted)
        definitions = _list(features, "FeatureDefinitions", len(subjects))
        nominals, items = (_list(features, f"Feature{what}", len(wanted)) for what in ("Nominals", "Items"))
        of: dict[str, int] = {}
        for subject in subjects:
            definition = self._numbered(definitions, f"{_shape(subject)}FeatureDefinition")
            _add(definition, "Description", _SHAPES.get(subject) or _OTHERS[subject])
            of[subject] = self.last
        found: dict[tuple[str, str], tuple[str, int]] = {}
        for name, subject in wanted:
            shape = _shape(subject)
            nominal = self._numbered(nominals, f"{shape}FeatureNominal")
            _add(nominal, "FeatureDefinitionId", str(of[subject]))
            item = self._numbered(items, f"{shape}FeatureItem")
            _add(item, "FeatureNominalId", nominal.get("id"))
            _add(item, "FeatureName", name)
            if subject in _SHAPES:
                _add(_add(item, "DeterminationMode"), "Checked")
            found[name, subject] = shape, self.last
        return found

    def _measured_features(
        self,
        measured: Element,
        features: Mapping[tuple[str, str], tuple[str, int]],
        components: Mapping[str, int],
        devices: list[int],
    ) -> None:
        part_of = {_feature_of(row): components[self._component_of(row)] for row in self.judged.verdicts}
        held = _list(measured, "MeasuredFeatures", len(features))
        for key, (shape, item) in features.items():
            feature = self._numbered(held, f"{shape}FeatureMeasurement")
            _add(feature, "FeatureItemId", str(item))
            _add(feature, "ActualComponentId", str(part_of[key]))
            _ids(feature, "MeasurementDeviceIds", devices)

    # -- characteristics -----------------------------------------------------------------------------------------------

    def _characteristics(
        self, root: Element, rule: int, features: Mapping[tuple[str, str], tuple[str, int]], devices: list[int]
    ) -> list[int]:
        """Limits, and what they are on; the number of each verdict's item."""
        rows = self.judged.verdicts
        asked = dict.fromkeys(map(_asked, rows))
        held = _add(root, "Characteristics")
        _add(held, "FormalStandardId", str(rule))
        definitions, nominals = (
            _list(held, f"Characteristic{what}", len(asked)) for what in ("Definitions", "Nominals")
        )
        items = _list(held, "CharacteristicItems", len(rows))
        first = {key: next(row for row in rows if _asked(row) == key) for key in asked}
        of = {key: self._limit(definitions, nominals, row) for key, row in first.items()}
        found = []
        for row in in_pieces(rows):
            item = self._numbered(items, f"{_kind(row)}CharacteristicItem")
            _add(item, "Name", f"{_named(row)} of {row.item}")
            _ids(item, "FeatureItemIds", [features[_feature_of(row)][1]])
            _ids(item, "MeasurementDeviceIds", devices)
            _add(item, "CharacteristicNominalId", str(of[_asked(row)]))
            found.append(self.last)
        return found

    def _limit(self, definitions: Element, nominals: Element, row: Verdict) -> int:
        """What is asked of one characteristic; the number of its nominal."""
        kind, known = _kind(row), of_unit(row.characteristic, row.unit)
        definition = self._numbered(definitions, f"{kind}CharacteristicDefinition")
        _attributes(definition, [("clause", row.clause), ("at_mm", row.at_mm)])
        if known is not None:
            _add(definition, "Description", f"{known.meaning}. {known.method}. {known.source}")
        _add(definition, "Name", _named(row))
        if kind in _FORM.values():
            _value(definition, "ToleranceValue", row.upper, row)
            if kind == "Straightness":
                _add(_add(definition, "ZoneShape"), "DiametricalZone")
        elif kind == "SurfaceTexture":
            _value(definition, "RoughnessAverage", row.upper, row)
        elif kind != "UserDefinedUnit":
            if row.lower is None and row.upper is None:
                _add(definition, "NonTolerance", "MEASURED")
            else:
                _limits(_add(definition, "Tolerance"), row)
            _add(definition, "WhatToMeasure", known.meaning if known else row.characteristic)
        target = _nominal(row, known, self.judged.limits)
        nominal = self._numbered(nominals, f"{kind}CharacteristicNominal")
        if kind == "UserDefinedUnit" and target is None:
            target = _middle(row)
            _add(nominal, "Description", "no nominal was stated; the target is the middle of the limits, or the limit")
        _add(nominal, "CharacteristicDefinitionId", definition.get("id"))
        if kind.startswith("UserDefined"):
            _value(nominal, "TargetValue", target, row)
        if kind == "UserDefinedUnit":
            _limits(nominal, row)
        return self.last

    def _measurements(
        self, measured: Element, items: list[int], components: Mapping[str, int], devices: list[int]
    ) -> None:
        rows = self.judged.verdicts
        held = _list(_add(measured, "MeasuredCharacteristics"), "CharacteristicMeasurements", len(rows))
        for row, item in in_pieces(zip(rows, items, strict=True)):
            kind = _kind(row)
            found = self._numbered(held, f"{kind}CharacteristicMeasurement")
            _attributes(found, [("probability_conforming", row.probability_conforming)])
            if row.remark:
                _add(found, "Description", row.remark)
            _add(_add(found, "Status"), "CharacteristicStatusEnum", STATUS[row.decision])
            _add(found, "CharacteristicItemId", str(item))
            _add(found, "ActualComponentId", str(components[self._component_of(row)]))
            _ids(found, "MeasurementDeviceIds", devices)
            name = "RoughnessAverageValue" if kind == "SurfaceTexture" else "Value"
            _value(found, name, row.measured, row, row.standard_uncertainty)


Asked = tuple[str, str, float | None, float | None, float | None, str | None]


def _asked(row: Verdict) -> Asked:
    """What tells two limits apart."""
    return row.characteristic, row.unit, row.at_mm, row.lower, row.upper, row.clause


def _kind(row: Verdict) -> str:
    """The beginning of the elements that a verdict is told in."""
    below = row.upper is not None and row.lower is None
    if below and row.characteristic in _FORM:
        return _FORM[row.characteristic]
    if below and row.characteristic == "ra":
        return "SurfaceTexture"
    return f"UserDefined{_UNITS[row.unit].kind if row.unit in _UNITS else 'Unit'}"


def _named(row: Verdict) -> str:
    return row.characteristic if row.at_mm is None else f"{row.characteristic} at {row.at_mm:g} mm"


def _feature_of(row: Verdict) -> tuple[str, str]:
    """The item, and what kind of thing it is; a valve's events are told of the valve's own feature."""
    known = of_unit(row.characteristic, row.unit)
    return row.item, "valve" if known is None else known.subject


def _shape(subject: str) -> str:
    return "OtherShape" if subject in _SHAPES else "OtherNonShape"


def _nominal(row: Verdict, known: Characteristic | None, limits: Iterable[LimitSpec]) -> float | None:
    """The nominal value that a spec states with a verdict's limits; None for none, and where two are possible."""
    found = {*_nominals(row, known, limits)} if known is not None else set()
    return found.pop() if len(found) == 1 else None


def _nominals(row: Verdict, known: Characteristic, limits: Iterable[LimitSpec]) -> Iterator[float]:
    for limit in limits:
        if limit.of != row.characteristic or limit.nominal is None:
            continue
        try:
            stated, nominal = ends(limit, known, limit.of), limit_value(limit.nominal, known, limit.of)
        except BadQuantity:
            continue  # it is meant of another characteristic of that name
        if all(_same(one, other) for one, other in zip(stated, (row.lower, row.upper), strict=True)):
            yield nominal


def _same(one: float | None, other: float | None) -> bool:
    return one is other if one is None or other is None else math.isclose(one, other, rel_tol=1e-9, abs_tol=1e-12)


def _middle(row: Verdict) -> float | None:
    known = [end for end in (row.lower, row.upper) if end is not None]
    return sum(known) / len(known) if known else None


# -- elements ----------------------------------------------------------------------------------------------------------


def _add(parent: Element, tag: str, text: str | None = None, **attributes: str) -> Element:
    """A child with its text, in which nothing is left that XML can't hold."""
    child = SubElement(parent, tag, attributes)
    if text is not None:
        child.text = _clean(text)
    return child


def _clean(text: str) -> str:
    line = " ".join(one_line(utf8(text)).split())
    return line.replace("\ufffe", "\\ufffe").replace("\uffff", "\\uffff")


def _list(parent: Element, name: str, number: int) -> Element:
    return _add(parent, name, n=str(number))


def _ids(parent: Element, name: str, numbers: Iterable[object]) -> None:
    """A list of references; none where there is nothing to point at."""
    found = [str(number) for number in numbers]
    if found:
        held = _list(parent, name, len(found))
        for number in found:
            _add(held, "Id", number)


def _attributes(parent: Element, rows: Iterable[tuple[str, object]]) -> None:
    """What is told beside the standard's own elements; what is None is left out."""
    known = [(name, value) for name, value in rows if value is not None]
    if not known:
        return
    held = _list(parent, "Attributes", len(known))
    for name, value in known:
        number = isinstance(value, float)
        told = repr(value) if number else _clean(str(value))
        _add(held, "AttributeD1" if number else "AttributeStr", name=_clean(name), value=told)


def _value(parent: Element, name: str, value: float | None, row: Verdict, u: float | None = None) -> None:
    """A quantity with its unit; nothing where it is missing."""
    if value is None:
        return
    unit = _UNITS.get(row.unit)
    attribute = "unitName" if unit is None else f"{unit.kind.lower()}Unit"
    child = _add(parent, name, _decimal(value), **{attribute: (row.unit or _NUMBER) if unit is None else unit.name})
    if u is not None:
        child.set("combinedUncertainty", _decimal(u))
        child.set("meanError", "0")


def _decimal(value: float) -> str:
    """A number as the standard's decimals are: every digit, no exponent."""
    return format(Decimal(repr(float(value))), "f")


def _limits(parent: Element, row: Verdict) -> None:
    _value(parent, "MaxValue", row.upper, row)
    _value(parent, "MinValue", row.lower, row)
    _add(parent, "DefinedAsLimit", "true")


def _status(parent: Element, name: str, rows: Iterable[Verdict]) -> None:
    decision = overall(tuple(rows))
    _add(_add(parent, name), "InspectionStatusEnum", "NOT_CALCULATED" if decision is None else WHOLE[decision])


def _units(root: Element, rows: Iterable[Verdict]) -> None:
    """The units that the document uses; those of our own with what is measured in them."""
    used: dict[str, list[str]] = {}
    for row in rows:
        names = used.setdefault(row.unit, [])
        if row.characteristic not in names:
            names.append(row.characteristic)
    units = _add(root, "FileUnits")
    _add(units, "PrimaryUnits")
    known = sorted((_UNITS[unit] for unit in used if unit in _UNITS), key=lambda unit: (unit.kind, unit.name))
    if known:
        others = _list(units, "OtherUnits", len(known))
        for unit in known:
            child = _add(others, f"{unit.kind}Unit")
            _add(child, "SIUnitName", unit.si)
            _add(child, "UnitName", unit.name)
            _add(_add(child, "UnitConversion"), "Factor", unit.factor)
    own = {unit: names for unit, names in used.items() if unit not in _UNITS}
    if own:
        held = _list(units, "UserDefinedUnits", len(own))
        for name, names in own.items():
            child = _add(held, "UserDefinedUnit")
            _add(child, "WhatIsMeasured", ", ".join(names))
            _add(child, "UnitName", name or _NUMBER)
