"""The shaft rows of the table of characteristics: journals, the axis, a surface trace, a gauge study."""

from __future__ import annotations

from dataclasses import replace

from valvelab.inspection.characteristics import Characteristic, Subject
from valvelab.units import Dimension

_ROUND = "readings grow outward; form about the reference circle"
_ISO_ROUND = "ISO 12181-1"
_TEXTURE = "ISO 21920-2:2021"


def _row(name: str, unit: str, dimension: Dimension, subject: Subject, *words: str, label: str = "") -> Characteristic:
    meaning, method, source = words
    return Characteristic(name, unit, dimension, subject, meaning, method, source, label=label)


_STATIONS = (
    _row("eccentricity", "mm", "length", "station", "distance of a journal's centre from the axis of turning",
         "least-squares circle through the trace", _ISO_ROUND),
    _row("tir", "mm", "length", "station", "total indicator reading: range of the trace as read",
         "highest minus lowest reading", "ISO 1101 (circular runout)", label="TIR"),
    _row("roundness_lsc", "um", "length", "station", "roundness about the least-squares circle", _ROUND, _ISO_ROUND,
         label="roundness LSC"),
    _row("roundness_mzc", "um", "length", "station", "roundness about the minimum-zone circles",
         "linear programming, exact", _ISO_ROUND, label="roundness MZC"),
    _row("roundness_mic", "um", "length", "station", "roundness about the largest inscribed circle",
         "linear programming, exact", _ISO_ROUND, label="roundness MIC"),
    _row("roundness_mcc", "um", "length", "station", "roundness about the smallest circumscribed circle",
         "linear programming, exact", _ISO_ROUND, label="roundness MCC"),
)  # fmt: skip

_SHAFT = (
    _row("straightness", "um", "length", "shaft", "diameter of the smallest cylinder that holds the journal centres",
         "minimum zone, bounded from both sides", "ISO 1101, ISO 12780-1"),
    _row("straightness_least_squares", "um", "length", "shaft",
         "twice the largest distance of a journal centre from their least-squares line", "least squares",
         "ISO 12780-1"),
    _row("taper", "um", "length", "shaft", "largest height difference between two tracks of one lobe or journal",
         "mean over the turn, second track minus first, without its sign", "plain geometry"),
)  # fmt: skip

_PARAMETERS = (
    _row("ra", "um", "length", "trace", "arithmetic mean height", "evaluation length", _TEXTURE),
    _row("rq", "um", "length", "trace", "root mean square height", "evaluation length", _TEXTURE),
    _row("rz", "um", "length", "trace", "maximum height per section", "mean over the sections", _TEXTURE),
    _row("rt", "um", "length", "trace", "total height", "evaluation length", _TEXTURE),
    _row("rp", "um", "length", "trace", "largest peak per section", "mean over the sections", _TEXTURE),
    _row("rv", "um", "length", "trace", "deepest valley per section", "mean over the sections", _TEXTURE),
    _row("rsk", "", "number", "trace", "skewness of the heights; below 0 for a plateau", "evaluation length", _TEXTURE),
    _row("rku", "", "number", "trace", "kurtosis of the heights", "evaluation length", _TEXTURE),
    _row("rsm", "um", "length", "trace", "mean width of the profile elements",
         "crossings of the mean line, hills and dales over 10 % of Rz", _TEXTURE),
    _row("rk", "um", "length", "trace", "core height", "flattest 40 % of the material ratio curve", _TEXTURE),
    _row("rpk", "um", "length", "trace", "reduced peak height", "triangle of equal area above the core", _TEXTURE),
    _row("rvk", "um", "length", "trace", "reduced valley height: room for oil", "triangle of equal area below the core",
         _TEXTURE),
    _row("rmrk1", "%", "percent", "trace", "material ratio where the core begins", "material ratio curve", _TEXTURE),
    _row("rmrk2", "%", "percent", "trace", "material ratio where the core ends", "material ratio curve", _TEXTURE),
)  # fmt: skip
_TRACE = tuple(replace(row, label=row.name.capitalize()) for row in _PARAMETERS)

_GAUGE = (
    _row("grr_percent", "%", "percent", "gauge", "repeatability and reproducibility over the total variation",
         "crossed analysis of variance", "NIST/SEMATECH e-Handbook 2.4", label="GRR of total"),
    _row("grr_percent_of_tolerance", "%", "percent", "gauge",
         "six standard deviations of the measurement over the tolerance", "crossed analysis of variance",
         "common practice", label="6 GRR of tolerance"),
    _row("ndc", "", "number", "gauge", "number of distinct categories the measurement can tell",
         "1.41 part/GRR rounded down, at least 1", "common practice", label="distinct categories"),
)  # fmt: skip

CHARACTERISTICS: tuple[Characteristic, ...] = (*_STATIONS, *_SHAFT, *_TRACE, *_GAUGE)
