"""Reading a train (TOML) into a canonical setting."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from valvelab.errors import BadFile, BadQuantity, CannotEvaluate
from valvelab.files.plausible import LARGEST_ANGLE_DEG
from valvelab.files.spec_file import read_toml_with_source
from valvelab.files.wire_materials import read_wire_materials
from valvelab.follower.film import Lubricant
from valvelab.follower.hertz import contact_modulus
from valvelab.inspection.engine.train import ContactQuestion, RuleReading, TrainSetting
from valvelab.records.result import Source
from valvelab.records.spec import Quantity
from valvelab.records.train import (
    ContactRecord,
    ReadingSetAsideRecord,
    RockerRecord,
    RuleReadingRecord,
    Train,
    TrainSpring,
)
from valvelab.springs.stress import STEEL_DENSITY_KG_PER_M3, material_key, rate_of_coil, surge_from_coil
from valvelab.units import CANONICAL, Dimension, parse_angle, parse_quantity, split_quantity
from valvelab.valve_motion.lash import Lash
from valvelab.valve_motion.rocker import GeometryRocker, PointRocker, RatioRocker, Rocker

USUAL_SHEAR_MODULUS_MPA = 80_000.0
_BOUNDS: dict[Dimension, tuple[float, float]] = {
    "length": (1e-7, 10_000.0), "force": (1e-3, 1e6), "rate": (1e-3, 1e10), "mass": (1e-6, 100.0),
    "stress": (1.0, 1e7), "frequency": (0.1, 1e6), "speed": (1.0, 1e5), "number": (1e-6, 1e6),
}  # fmt: skip
"""Least and greatest canonical value of what stands above 0: far beyond any engine, so that no figure overflows."""
LARGEST_LENGTH_MM = _BOUNDS["length"][1]


def read_train(path: Path) -> tuple[TrainSetting, Source]:
    """The train, canonical, and the file's identity; raises BadFile with the key of what can't be used."""
    record, source = read_toml_with_source(path, Train)
    return to_setting(record, str(path)), source


def to_setting(record: Train, file: str = "train") -> TrainSetting:
    """A typed train with its quantities canonical; raises BadFile for a wrong unit or a value out of range."""
    try:
        return _setting(record)
    except BadQuantity as error:
        raise BadFile(file, error.field, error.found, error.expected) from None
    except CannotEvaluate as error:
        place, _, rest = str(error).partition(": found ")
        found, _, expected = rest.partition(", expected ")
        if not expected:
            raise BadFile(file, "", str(error), "a train that can be built") from None
        raise BadFile(file, place, found, expected) from None


def _positive(value: Quantity | None, dimension: Dimension, field: str) -> float | None:
    if value is None:
        return None
    number = parse_quantity(value, dimension, field)
    if not number > 0.0:
        raise BadQuantity(field, f"{value!r}", f"a {dimension} above 0")
    least, greatest = _BOUNDS[dimension]
    if not least <= number <= greatest:
        unit = CANONICAL[dimension]
        raise BadQuantity(field, f"{value!r}", f"a {dimension} of {least:g} to {greatest:g} {unit}".rstrip())
    return number


def _length(value: Quantity, field: str) -> float:
    """A length of either sign."""
    number = parse_quantity(value, "length", field)
    if not abs(number) <= LARGEST_LENGTH_MM:
        raise BadQuantity(field, f"{value!r}", f"a length within ±{LARGEST_LENGTH_MM:g} mm")
    return number


def _lash(value: Quantity | None, field: str) -> float | None:
    if value is None:
        return None
    number = parse_quantity(value, "length", field)
    if not 0.0 <= number <= 5.0:
        raise BadQuantity(field, f"{value!r}", "a lash of 0 to 5 mm")
    return number


def _angle(value: Quantity | None, field: str) -> float | None:
    if value is None:
        return None
    angle = parse_angle(value, "crank", field)
    if not abs(angle) <= LARGEST_ANGLE_DEG:
        raise BadQuantity(field, f"{value!r}", f"an angle within ±{LARGEST_ANGLE_DEG:g} crank deg")
    return angle


def _setting(record: Train) -> TrainSetting:
    lash = Lash(_lash(record.lash.hot, "[lash] hot"), _lash(record.lash.cold, "[lash] cold"), record.lash.use)
    if (lash.hot_mm is not None or lash.cold_mm is not None) and getattr(lash, f"{lash.use}_mm") is None:
        raise BadQuantity("[lash] use", f"{lash.use!r}", f"a {lash.use} lash beside it")
    timing = record.timing
    throw, rod = (
        _positive(record.crank.throw, "length", "[crank] throw"),
        _positive(record.crank.rod, "length", "[crank] rod"),
    )
    if throw is not None and rod is not None and rod <= throw:
        raise BadQuantity("[crank] rod", f"{rod:g} mm", f"longer than the throw, {throw:g} mm")
    return TrainSetting(
        rocker=_rocker(record.rocker),
        has_rocker=record.rocker.stated,
        ratio_uncertainty=record.rocker.uncertainty,
        lash=lash,
        lash_uncertainty_mm=_positive(record.lash.uncertainty, "length", "[lash] uncertainty"),
        effective_mass_kg=_positive(record.valve.effective_mass, "mass", "[valve] effective_mass"),
        stiffness_n_per_mm=_positive(record.valve.stiffness, "rate", "[valve] stiffness"),
        damping_ratio=record.valve.damping_ratio,
        seat_stiffness_n_per_mm=_positive(record.valve.seat_stiffness, "rate", "[valve] seat_stiffness"),
        valve_angle_deg=_valve_angle(record.valve.angle),
        seat_force_n=_positive(record.spring.seat_force, "force", "[spring] seat_force"),
        rate_n_per_mm=_rate(record.spring),
        surge_hz=_surge(record.spring),
        bind_travel_mm=_bind_travel(record.spring),
        throw_mm=throw,
        rod_mm=rod,
        max_speed_rpm=_positive(record.crank.max_speed, "speed", "[crank] max_speed"),
        has_timing=timing is not None,
        intake_centreline_deg=None
        if timing is None
        else _angle(timing.intake_centreline, "[timing] intake_centreline"),
        exhaust_centreline_deg=None
        if timing is None
        else _angle(timing.exhaust_centreline, "[timing] exhaust_centreline"),
        intake_clearance_mm=_positive(record.clearance.intake, "length", "[clearance] intake"),
        exhaust_clearance_mm=_positive(record.clearance.exhaust, "length", "[clearance] exhaust"),
        contact=None if record.contact is None else _contact(record.contact),
        rule_readings=tuple(_rule_reading(row, n) for n, row in enumerate(record.rule_reading, start=1)),
    )


def _valve_angle(value: Quantity) -> float:
    angle = parse_quantity(value, "angle", "[valve] angle")
    if not abs(angle) < 90.0:
        raise BadQuantity("[valve] angle", f"{value!r}", "an angle within ±90 deg of the bore axis")
    return angle


def _rocker(record: RockerRecord) -> Rocker:
    if record.point:
        fields = [(row.follower_lift, row.valve_lift, f"[[rocker.point]] {n}") for n, row in enumerate(record.point, 1)]
        return PointRocker(
            np.array([_length(s, f"{field} follower_lift") for s, _, field in fields]),
            np.array([_length(v, f"{field} valve_lift") for _, v, field in fields]),
        )
    if record.geometry is not None:
        shape, field = record.geometry, "[rocker.geometry]"
        return GeometryRocker(
            valve_arm_mm=_length(shape.valve_arm, f"{field} valve_arm"),
            pushrod_arm_mm=_length(shape.pushrod_arm, f"{field} pushrod_arm"),
            valve_arm_deg=parse_quantity(shape.valve_arm_angle, "angle", f"{field} valve_arm_angle"),
            pushrod_arm_deg=parse_quantity(shape.pushrod_arm_angle, "angle", f"{field} pushrod_arm_angle"),
            pushrod_length_mm=_positive(shape.pushrod_length, "length", f"{field} pushrod_length"),
            tappet_offset_mm=None
            if shape.tappet_offset is None
            else _length(shape.tappet_offset, f"{field} tappet_offset"),
        )
    ratio = 1.0 if record.ratio is None else record.ratio
    if not 0.2 <= ratio <= 5.0:
        raise BadQuantity("[rocker] ratio", f"{ratio:g}", "a ratio of 0.2 to 5")
    return RatioRocker(ratio)


def _wire(record: TrainSpring) -> tuple[float, float, float, float, float] | None:
    """Wire and mean coil diameter, active coils, shear modulus and density; None where the coil is not stated."""
    wire = _positive(record.wire_diameter, "length", "[spring] wire_diameter")
    coil = _positive(record.mean_coil_diameter, "length", "[spring] mean_coil_diameter")
    modulus = _positive(record.shear_modulus, "stress", "[spring] shear_modulus")
    density = STEEL_DENSITY_KG_PER_M3
    if record.material is not None:
        material = read_wire_materials().get(material_key(record.material))
        if material is None:
            raise BadQuantity(
                "[spring] material", f"{record.material!r}", "a wire of the bundled table, or shear_modulus"
            )
        modulus, density = modulus or material.shear_modulus_mpa, material.density_kg_per_m3
    if wire is None or coil is None or record.active_coils is None:
        return None
    if not wire < coil:
        raise BadQuantity("[spring] wire_diameter", f"{wire:g} mm", "less than the mean coil diameter")
    return wire, coil, record.active_coils, modulus or USUAL_SHEAR_MODULUS_MPA, density


def _surge(record: TrainSpring) -> float | None:
    if record.surge is not None:
        return _positive(record.surge, "frequency", "[spring] surge")
    wire = _wire(record)
    return None if wire is None else surge_from_coil(*wire)


def _rate(record: TrainSpring) -> float | None:
    if record.rate is not None:
        return _positive(record.rate, "rate", "[spring] rate")
    wire = _wire(record)
    return None if wire is None else rate_of_coil(*wire[:4])


def _bind_travel(record: TrainSpring) -> float | None:
    installed = _positive(record.installed_height, "length", "[spring] installed_height")
    solid = _positive(record.solid_height, "length", "[spring] solid_height")
    if installed is None or solid is None:
        return None
    if not solid < installed:
        raise BadQuantity("[spring] solid_height", f"{solid:g} mm", f"less than the installed height, {installed:g} mm")
    return installed - solid


def _contact(record: ContactRecord) -> ContactQuestion:
    modulus = _positive(record.modulus, "stress", "[contact] modulus") or 0.0
    follower, roller = _follower(record.follower)
    oil = None
    if record.viscosity is not None and record.pressure_viscosity is not None:
        oil = Lubricant(record.viscosity, record.pressure_viscosity)
    return ContactQuestion(
        length_mm=_positive(record.length, "length", "[contact] length") or 0.0,
        modulus_mpa=contact_modulus(modulus, record.poisson, modulus, record.poisson),
        base_radius_mm=_positive(record.base_circle_radius, "length", "[contact] base_circle_radius"),
        follower="flat" if follower == "flat" else "roller" if follower == "roller" else None,
        roller_radius_mm=roller,
        oil=oil,
        lobe_rq_um=_roughness(record.lobe_rq, "[contact] lobe_rq"),
        follower_rq_um=_roughness(record.follower_rq, "[contact] follower_rq"),
    )


def _follower(text: str | None) -> tuple[str | None, float | None]:
    if text is None:
        return None, None
    word, _, rest = text.strip().partition(" ")
    if word == "flat" and not rest:
        return "flat", None
    if word == "roller" and rest:
        return "roller", _positive(rest, "length", "[contact] follower")
    raise BadQuantity("[contact] follower", f"{text!r}", "'flat' or 'roller' with its radius, 'roller 9.525 mm'")


def _roughness(value: Quantity | None, field: str) -> float | None:
    if value is None:
        return None
    if isinstance(value, str) and split_quantity(value, field)[1]:
        return (_positive(value, "length", field) or 0.0) * 1000.0
    return _positive(value, "number", field)


def _rule_reading(record: RuleReadingRecord, number: int) -> RuleReading:
    field = f"[[rule_reading]] {number}"
    return RuleReading(
        valve=record.valve,
        readings_mm=tuple(_length(value, f"{field} readings") for value in record.readings),
        uncertainty_mm=_positive(record.uncertainty, "length", f"{field} uncertainty"),
        set_aside=tuple(_set_aside(row, len(record.readings), field) for row in record.set_aside),
    )


def _set_aside(record: ReadingSetAsideRecord, count: int, field: str) -> tuple[int, str]:
    if not 1 <= record.reading <= count:
        raise BadQuantity(f"{field} set_aside", f"reading {record.reading}", f"one of 1 to {count}")
    return record.reading - 1, record.reason
