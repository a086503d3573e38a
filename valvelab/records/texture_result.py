"""The answer of `valvelab texture`."""

from __future__ import annotations

from typing import Literal

from valvelab.records.result import Record, Result


class TextureParameterValues(Record):
    """R-parameters of ISO 21920-2."""

    ra_um: float | None
    rq_um: float | None
    rz_um: float | None
    rt_um: float | None
    rp_um: float | None
    rv_um: float | None
    rsk: float | None
    rku: float | None
    rsm_um: float | None
    rk_um: float | None
    rpk_um: float | None
    rvk_um: float | None
    rmrk1_pct: float | None
    rmrk2_pct: float | None


class TextureResult(Result):
    """The document of `valvelab texture`."""

    command: Literal["texture"] = "texture"
    form: Literal["CSV", "SMD", "X3P"]
    label: str | None
    cutoff_mm: float
    short_cutoff_mm: float | None
    sections: int
    evaluation_length_mm: float
    spacing_um: float
    setting_class: str | None
    parameters: TextureParameterValues
    uncertainty: dict[str, float | None]
