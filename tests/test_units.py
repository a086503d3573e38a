"""Units at the edges, against published conversion factors."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from valvelab.decimals import decimals_of
from valvelab.errors import BadQuantity
from valvelab.records.result import Verdict
from valvelab.records.shaft_result import ShaftResult, StationResult, StraightnessResult
from valvelab.tables.form import shaft_tables
from valvelab.tables.verdicts import verdict_table
from valvelab.units import (
    CANONICAL,
    FACTORS,
    Dimension,
    angle_ratio,
    display_unit,
    factor,
    parse_angle,
    parse_quantity,
    show,
    split_quantity,
)

# NIST Special Publication 811 (2008), appendix B.8, rounded there to seven digits; exact ones in full
PUBLISHED: list[tuple[str, Dimension, float]] = [
    ("1 in", "length", 25.4),
    ("1 thou", "length", 0.0254),
    ("1 lbf", "force", 4.448222),
    ("1 kgf", "force", 9.80665),
    ("1 lbf/in", "rate", 0.1751268),
    ("1 psi", "stress", 6.894757e-3),
    ("1 ksi", "stress", 6.894757),
    ("1 lb", "mass", 0.4535924),
    ("1 oz", "mass", 2.834952e-2),
    ("1 rad", "angle", 180.0 / math.pi),
    ("212 °F", "temperature", 100.0),
    ("32 degF", "temperature", 0.0),
    ("273.15 K", "temperature", 0.0),
]


@pytest.mark.parametrize(("text", "dimension", "canonical"), PUBLISHED)
def test_published_factors(text: str, dimension: Dimension, canonical: float) -> None:
    assert parse_quantity(text, dimension, "field") == pytest.approx(canonical, rel=3e-7, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "dimension", "canonical"),
    [
        ("0.050 in", "length", 1.27), ("1.27 mm", "length", 1.27), ("1,27 mm", "length", 1.27),
        ("1.27", "length", 1.27),
        ("  50 um ", "length", 0.05), ("50 µm", "length", 0.05), ("50 μm", "length", 0.05), ('0.5"', "length", 12.7),
        ("-.5 MM", "length", -0.5), ("−0.5mm", "length", -0.5), ("1e-3 m", "length", 1.0), (3, "length", 3.0),
        ("20000 N/mm", "rate", 20000.0), ("8000", "speed", 8000.0), ("20 %", "percent", 20.0),
        ("2 GPa", "stress", 2000.0),
    ],
)  # fmt: skip
def test_quantities_as_typed(text: str | float, dimension: Dimension, canonical: float) -> None:
    assert parse_quantity(text, dimension, "field") == pytest.approx(canonical, rel=1e-12)


@pytest.mark.parametrize(
    ("value", "dimension", "said"),
    [
        ("1 lbf", "length", "checking lift: found unit 'lbf', expected a length unit"),
        ("mm", "length", "expected a number"), ("", "length", "expected a number"), ("1 2", "length", "unit '2'"),
        ("nan", "length", "expected a number"), ("1e999 mm", "length", "a finite number"), (True, "length", "True"),
        (math.inf, "force", "a finite number"), (math.nan, "force", "a finite number"), ("1_0 mm", "length", "unit"),
        ("5 deg", "force", "a force unit"), ("5 ell", "length", "unit 'ell'"), ("0x10", "length", "unit 'x10'"),
    ],
)  # fmt: skip
def test_refusals_name_the_field(value: str | float, dimension: Dimension, said: str) -> None:
    with pytest.raises(BadQuantity) as caught:
        parse_quantity(value, dimension, "checking lift")
    assert str(caught.value).startswith("checking lift: found ")
    assert said in str(caught.value)


def test_angles() -> None:
    assert parse_angle("232 crank deg", "cam", "duration") == 116.0
    assert parse_angle("116 cam deg", "crank", "duration") == 232.0
    assert parse_angle("232", "crank", "duration") == 232.0
    assert parse_angle(116, "cam", "duration") == 116.0
    assert parse_angle("1 rad cam", "cam", "duration") == pytest.approx(57.29577951308232)
    assert angle_ratio("cam", "crank") * angle_ratio("crank", "cam") == 1.0
    with pytest.raises(BadQuantity, match="duration: found unit 'mm'"):
        parse_angle("5 mm", "cam", "duration")


@given(st.sampled_from(sorted(FACTORS)), st.floats(-1e6, 1e6))
def test_a_bare_number_is_canonical(dimension: Dimension, value: float) -> None:
    assert parse_quantity(value, dimension, "x") == value
    assert parse_quantity(f"{value!r} {CANONICAL[dimension]}", dimension, "x") == value


@given(st.text(max_size=20))
def test_any_text_is_a_number_or_a_refusal(text: str) -> None:
    try:
        value = parse_quantity(text, "length", "field")
    except BadQuantity:
        return
    assert math.isfinite(value)


@given(st.floats(-1e9, 1e9))
def test_a_number_survives_being_written(value: float) -> None:
    assert split_quantity(f"{value!r} mm", "x") == (value, "mm")


def test_units_are_found_in_any_case_but_exact_ones_first() -> None:
    assert factor("MM", "length", "x") == 1.0
    assert factor("MPa", "stress", "x") == 1.0
    assert factor("Mpsi", "stress", "x") != factor("psi", "stress", "x")


def test_display() -> None:
    assert show(25.4, "mm", "inch") == "1.00000"
    assert show(-0.00001, "mm") == "0.0000"
    assert show(-1.5, "N") == "−1.5"
    assert show(None, "mm") == "–"
    assert display_unit("mm/cam deg", "inch").label == "in/cam deg"
    assert display_unit("N", "metric").scale == 1.0


@pytest.mark.parametrize(
    ("value", "unit", "decimals"), [(0.00098, "mm", 5), (0.8, "N", 2), (12.0, "N", 0), (None, "N", 1)]
)
def test_two_digits_of_a_deviation(value: float | None, unit: str, decimals: int) -> None:
    # JCGM 100, 7.2.6: two significant digits suffice
    assert decimals_of((value,), unit) == decimals


def test_a_micro_inch_is_a_millionth_of_an_inch() -> None:
    assert parse_quantity("100 uin", "length", "short cutoff") == pytest.approx(0.00254)
    assert parse_quantity("100 µin", "length", "short cutoff") == pytest.approx(0.00254)


def test_a_verdict_has_the_decimals_that_its_characteristic_has_over_all_items() -> None:
    numbers = dict.fromkeys((*StationResult.model_fields,), None)

    def station(name: str, tir_mm: float, u: float) -> StationResult:
        told = {"station": name, "readings": 72, "harmonics": (), "tir_mm": tir_mm, "uncertainty": {"tir_mm": u}}
        return StationResult.model_validate({**numbers, **told})

    def verdict(u: float) -> Verdict:
        return Verdict(
            characteristic="tir",
            item="J2",
            measured=0.0213,
            unit="mm",
            standard_uncertainty=u,
            upper=0.03,
            probability_conforming=0.9,
            decision="accept",
        )

    result = ShaftResult(
        support="centres",
        undulations_per_turn=None,
        stations=(station("J1", 0.01234, 0.00023), station("J2", 0.0213, 0.0021)),
        straightness=StraightnessResult(
            least_squares_um=None, minimum_zone_um=None, worst_station=None, uncertainty={}
        ),
        tapers=(),
        verdicts=(verdict(0.0021),),
    )
    shown = next(table for table in shaft_tables(result, "metric") if table.title == "Journals")
    measured = shown.rows[1][shown.header.index("TIR")]
    judged, _ = verdict_table(result.verdicts, [result], "metric")
    assert judged.rows[0][2:4] == (measured, "0.00210") == ("0.02130", "0.00210")
    elsewhere = result.model_copy(update={"verdicts": (verdict(0.0019),)})
    alone, _ = verdict_table(elsewhere.verdicts, [elsewhere], "metric")
    assert alone.rows[0][2:4] == ("0.0213", "0.0019")
