"""The answer of `valvelab lobes`."""

from __future__ import annotations

from typing import Literal

from valvelab.records.result import Record, Result

Kind = Literal["intake", "exhaust"]


class Centres(Record):
    """The lobe centre, four ways; they differ on an unsymmetrical lobe."""

    nose_cam_deg: float | None
    chord_cam_deg: float | None
    peak_cam_deg: float | None
    area_cam_deg: float | None


class DurationUncertainty(Record):
    """Standard uncertainties of one row of durations."""

    opening_cam_deg: float | None
    closing_cam_deg: float | None
    duration_cam_deg: float | None
    duration_crank_deg: float | None
    centre_cam_deg: float | None


class LobeDuration(Record):
    """Opening, closing and duration at one checking lift."""

    at_mm: float
    opening_cam_deg: float | None
    closing_cam_deg: float | None
    duration_cam_deg: float | None
    duration_crank_deg: float | None
    centre_cam_deg: float | None
    uncertainty: DurationUncertainty


class BaseCircle(Record):
    """Runout and eccentricity of the base circle."""

    runout_tir_mm: float | None
    eccentricity_mm: float | None
    eccentricity_angle_cam_deg: float | None


class RampEnd(Record):
    """Where a ramp meets its flank."""

    angle_cam_deg: float
    lift_mm: float
    velocity_mm_per_cam_deg: float


class Ramps(Record):
    """Opening and closing ramp; None where no ramp stands apart from the flank."""

    opening: RampEnd | None
    closing: RampEnd | None


class Curvature(Record):
    """Contour and face figures; a concave radius is given as a positive size, None without a hollow."""

    min_convex_radius_mm: float | None
    min_concave_radius_mm: float | None
    min_face_radius_mm: float | None
    max_pressure_angle_deg: float | None


class EnvelopeUse(Record):
    """How the profile lies in its envelope; deviation is measured − nominal, use above 1 is outside."""

    worst_deviation_mm: float
    worst_angle_cam_deg: float
    worst_use_of_band: float
    fitted_angle_cam_deg: float | None
    rms_um: float


class OutlierReading(Record):
    """A reading left out of the fit; it stays in the record."""

    angle_cam_deg: float
    lift_mm: float
    fitted_lift_mm: float


class LobeResult(Record):
    """Everything about one lobe."""

    lobe: str
    kind: Kind | None
    max_lift_mm: float | None
    max_lift_angle_cam_deg: float | None
    centre_cam_deg: float | None
    centres: Centres
    durations: tuple[LobeDuration, ...]
    area_mm_cam_deg: float | None
    velocity_max_mm_per_cam_deg: float | None
    velocity_min_mm_per_cam_deg: float | None
    acceleration_max_mm_per_cam_deg2: float | None
    acceleration_min_mm_per_cam_deg2: float | None
    jerk_max_abs_mm_per_cam_deg3: float | None
    jerk_rms_mm_per_cam_deg3: float | None
    ramps: Ramps
    base_circle: BaseCircle
    noise_um: float | None
    outliers: int
    outlier_readings: tuple[OutlierReading, ...]
    curvature: Curvature
    envelope: EnvelopeUse | None
    uncertainty: dict[str, float | None]


class CylinderSeparation(Record):
    """Lobe separation of one cylinder."""

    cylinder: int
    lobe_separation_cam_deg: float


class IndexErrorRow(Record):
    """A lobe's centre against its nominal place, after one phase for the whole shaft."""

    lobe: str
    error_cam_deg: float


class Spread(Record):
    """Range over the lobes of one kind."""

    kind: Kind
    max_lift_mm: float | None
    duration_crank_deg: float | None
    area_mm_cam_deg: float | None


class CamshaftResult(Record):
    """The shaft as a whole."""

    cylinders: tuple[CylinderSeparation, ...]
    lobe_separation_mean_cam_deg: float | None
    index_errors: tuple[IndexErrorRow, ...] | None
    spreads: tuple[Spread, ...]
    uncertainty: dict[str, float | None]


class LobesResult(Result):
    """The document of `valvelab lobes`."""

    command: Literal["lobes"] = "lobes"
    lobes: tuple[LobeResult, ...]
    camshaft: CamshaftResult
