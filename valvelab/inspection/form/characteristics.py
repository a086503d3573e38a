"""The rows of form, each with its function: journals, the axis, a surface trace, a gauge study."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from valvelab.camshaft.roundness import FEWEST_FOR_ROUNDNESS, Circle
from valvelab.frozen import frozen
from valvelab.inspection.characteristics import Row
from valvelab.measured import Measured, missing
from valvelab.phrase import Phrase
from valvelab.units import Dimension

if TYPE_CHECKING:  # who lists the rows evaluates nothing
    from valvelab.camshaft.journal import JournalForm, JournalUncertainty
    from valvelab.camshaft.texture import TextureParameters
    from valvelab.inspection.form.measured import MeasuredForm, MeasuredJournal
    from valvelab.records.gauge_result import GaugeResult

NO_DIRECTION = Phrase("no eccentricity, so its angle has no meaning")
NO_VARIATION = Phrase("the measurement shows no variation; is its resolution too coarse?")
_NO_DIRECTION_MM = 1e-7
"""A centre this near the axis of turning lies in no direction."""


@frozen
class MeasuredTexture:
    """The parameters of a trace and their standard uncertainties by field."""

    found: TextureParameters
    uncertainty: dict[str, float | None]


def has_direction(form: JournalForm) -> bool:
    """Whether a journal's centre lies far enough off the axis to lie anywhere."""
    return form.least_squares.eccentricity_mm > _NO_DIRECTION_MM


def no_roundness(form: JournalForm) -> str:
    """Why too few angles give no roundness."""
    return Phrase(
        "no roundness from {distinct} angles; it takes {fewest} or more",
        distinct=form.coverage.distinct,
        fewest=FEWEST_FOR_ROUNDNESS,
    )


def sliding(form: JournalForm, kind: Circle) -> str:
    """What to know of a circle that two opposite readings alone hold."""
    low, high = (1000.0 * end for end in form.circles[kind].sliding_mm or (0.0, 0.0))
    return Phrase(
        "{circle}: two opposite readings alone hold it, and as it slides along them its roundness is {low} to {high} "
        "µm",
        circle=Phrase(f"{kind} circle"),
        low=f"{low:.2f}",
        high=f"{high:.2f}",
    )


def not_held(form: JournalForm, kind: Circle) -> str:
    """Why such a circle states no roundness."""
    return Phrase("{sliding}: not stated; it takes the journal's diameter, or more angles", sliding=sliding(form, kind))


def _journal(of: Callable[[JournalForm, JournalUncertainty], Measured]) -> Callable[[MeasuredJournal], Measured]:
    """A characteristic of a journal that was evaluated."""

    def asked(journal: MeasuredJournal) -> Measured:
        if journal.form is None or journal.u is None:
            return missing(journal.refusal)
        return of(journal.form, journal.u)

    return asked


def _angle(form: JournalForm, u: JournalUncertainty) -> Measured:
    return Measured(form.least_squares.angle_deg if has_direction(form) else None, u.angle_deg, NO_DIRECTION)


def _noise(form: JournalForm, _u: JournalUncertainty) -> Measured:
    return Measured.of(form.harmonics.noise_mm, None, "no repeated turns, and too few readings").times(1000.0)


def _roundness(kind: Circle) -> Callable[[MeasuredJournal], Measured]:
    def of(form: JournalForm, u: JournalUncertainty) -> Measured:
        if not form.has_roundness:
            return missing(no_roundness(form))
        if form.radius_mm is None and kind in form.sliding:
            return missing(not_held(form, kind))
        return Measured(form.circles[kind].roundness_mm, u.roundness_mm[kind]).times(1000.0)

    return _journal(of)


def _taper(form: MeasuredForm) -> Measured:
    if not form.tapers:
        return missing(Phrase("no lobe or journal was read in two tracks"))
    worst = max(form.tapers, key=lambda row: abs(row.taper_um))
    return Measured(abs(worst.taper_um), worst.uncertainty.get("taper_um"))


def _study(key: str, why: str) -> Callable[[GaugeResult], Measured]:
    """A figure of the analysis of variance."""
    return lambda result: Measured.of(getattr(result.anova, key), result.uncertainty.get(key), why)


def _parameter(name: str, unit: str, dimension: Dimension, meaning: str, method: str) -> Row:
    """A parameter of a trace, printed by its symbol."""
    key = name + {"um": "_um", "%": "_pct", "": ""}[unit]
    why = Phrase("fewer than two whole elements pass the mean line") if name == "rsm" else Phrase("the profile is flat")

    def of(texture: MeasuredTexture) -> Measured:
        return Measured(getattr(texture.found, key), texture.uncertainty[key], why)

    source = "ISO 21920-2:2021"
    return Row(name, unit, dimension, "trace", meaning, method, source, of=of, named=key, label=name.capitalize())


_ROUND = "readings grow outward; form about the reference circle"
_ISO_ROUND = "ISO 12181-1"
_EXACT = "linear programming, exact"
_LENGTH, _SECTIONS, _CURVE = "evaluation length", "mean over the sections", "material ratio curve"

STATION = (
    Row("eccentricity", "mm", "length", "station", "distance of a journal's centre from the axis of turning",
        "least-squares circle through the trace", _ISO_ROUND,
        of=_journal(lambda form, u: Measured(form.least_squares.eccentricity_mm, u.centre_mm))),
    Row("eccentricity_angle", "deg", "angle", "station", "where a journal's centre lies",
        "least-squares circle through the trace", _ISO_ROUND, period=360.0, listed=False, of=_journal(_angle)),
    Row("tir", "mm", "length", "station", "total indicator reading: range of the trace as read",
        "highest minus lowest reading", "ISO 1101 (circular runout)", label="TIR",
        of=_journal(lambda form, u: Measured(form.tir_mm, u.tir_mm))),
    Row("roundness_lsc", "um", "length", "station", "roundness about the least-squares circle", _ROUND, _ISO_ROUND,
        label="roundness LSC", of=_roundness("least squares")),
    Row("roundness_mzc", "um", "length", "station", "roundness about the minimum-zone circles", _EXACT, _ISO_ROUND,
        label="roundness MZC", of=_roundness("minimum zone"), u_column=True),
    Row("roundness_mic", "um", "length", "station", "roundness about the largest inscribed circle", _EXACT, _ISO_ROUND,
        label="roundness MIC", of=_roundness("inscribed")),
    Row("roundness_mcc", "um", "length", "station", "roundness about the smallest circumscribed circle", _EXACT,
        _ISO_ROUND, label="roundness MCC", of=_roundness("circumscribed")),
    Row("noise", "um", "length", "station", "standard deviation of a reading, as repeated turns or high orders show it",
        "what the harmonics leave", _ISO_ROUND, listed=False, states_u=False, of=_journal(_noise)),
)  # fmt: skip

SHAFT = (
    Row("straightness", "um", "length", "shaft", "diameter of the smallest cylinder that holds the journal centres",
        "minimum zone, bounded from both sides", "ISO 1101, ISO 12780-1", named="minimum_zone_um",
        of=lambda form: form.axis.zone(form.axis.minimum_zone)),
    Row("straightness_least_squares", "um", "length", "shaft",
        "twice the largest distance of a journal centre from their least-squares line", "least squares",
        "ISO 12780-1", named="least_squares_um", of=lambda form: form.axis.zone(form.axis.least_squares)),
    Row("taper", "um", "length", "shaft", "largest height difference between two tracks of one lobe or journal",
        "mean over the turn, second track minus first, without its sign", "plain geometry", of=_taper),
)  # fmt: skip

TRACE = (
    _parameter("ra", "um", "length", "arithmetic mean height", _LENGTH),
    _parameter("rq", "um", "length", "root mean square height", _LENGTH),
    _parameter("rz", "um", "length", "maximum height per section", _SECTIONS),
    _parameter("rt", "um", "length", "total height", _LENGTH),
    _parameter("rp", "um", "length", "largest peak per section", _SECTIONS),
    _parameter("rv", "um", "length", "deepest valley per section", _SECTIONS),
    _parameter("rsk", "", "number", "skewness of the heights; below 0 for a plateau", _LENGTH),
    _parameter("rku", "", "number", "kurtosis of the heights", _LENGTH),
    _parameter("rsm", "um", "length", "mean width of the profile elements",
               "crossings of the mean line, hills and dales over 10 % of Rz"),
    _parameter("rk", "um", "length", "core height", "flattest 40 % of the material ratio curve"),
    _parameter("rpk", "um", "length", "reduced peak height", "triangle of equal area above the core"),
    _parameter("rvk", "um", "length", "reduced valley height: room for oil", "triangle of equal area below the core"),
    _parameter("rmrk1", "%", "percent", "material ratio where the core begins", _CURVE),
    _parameter("rmrk2", "%", "percent", "material ratio where the core ends", _CURVE),
)  # fmt: skip

GAUGE = (
    Row("grr_percent", "%", "percent", "gauge", "repeatability and reproducibility over the total variation",
        "crossed analysis of variance", "NIST/SEMATECH e-Handbook 2.4", label="GRR of total",
        of=_study("grr_percent", "nothing varies")),
    Row("grr_percent_of_tolerance", "%", "percent", "gauge",
        "six standard deviations of the measurement over the tolerance", "crossed analysis of variance",
        "common practice", label="6 GRR of tolerance", of=_study("grr_percent_of_tolerance", "no tolerance is known")),
    Row("ndc", "", "number", "gauge", "number of distinct categories the measurement can tell",
        "1.41 part/GRR rounded down, at least 1", "common practice", label="distinct categories",
        of=_study("ndc", NO_VARIATION)),
)  # fmt: skip

CHARACTERISTICS: tuple[Row, ...] = (*STATION, *SHAFT, *TRACE, *GAUGE)
