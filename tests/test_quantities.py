"""Typed quantities of a record: canonical once read, refused with file, key, what was found and what was expected."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from valvelab import quantities as typed
from valvelab.errors import BadFile
from valvelab.files.spec_file import parse_toml
from valvelab.files.train_file import read_train
from valvelab.records.phasing_sheet import PhasingSheet
from valvelab.records.train import Train
from valvelab.records.typed import Typed


class Piece(Typed):
    """A part of the tests."""

    long_mm: typed.Length
    shift_mm: typed.Place = 0.0
    push_n: typed.Force | None = None
    rate_n_per_mm: typed.Stiffness | None = None
    turn_deg: typed.CrankAngle | None = None
    rough_um: typed.Roughness | None = None
    weight_kg: typed.Mass | None = None
    top_rpm: typed.Speed | None = None
    ring_hz: typed.Frequency | None = None
    press_mpa: typed.Pressure | None = None


class Whole(Typed):
    """Pieces in tables, lists of tables and tables within."""

    piece: Piece | None = None
    pieces: tuple[Piece, ...] = ()
    box: dict[str, Piece] = {}  # noqa: RUF012 - pydantic copies it


def read(text: str) -> Whole:
    return parse_toml(text.encode(), "t.toml", Whole)


@pytest.mark.parametrize(
    ("text", "field", "value"),
    [
        ('long = "9.5 mm"', "long_mm", 9.5),
        ('long = "0.374 in"', "long_mm", 9.4996),
        ("long = 15", "long_mm", 15.0),
        ('long = 1\nshift = "−0,5 mm"', "shift_mm", -0.5),
        ('long = 1\npush = "10 lbf"', "push_n", 44.482216),
        ('long = 1\nrate = "1 lbf/in"', "rate_n_per_mm", 0.1751268),
        ('long = 1\nturn = "58 cam deg"', "turn_deg", 116.0),
        ('long = 1\nrough = "0.2 mm"', "rough_um", 200.0),
        ("long = 1\nrough = 0.2", "rough_um", 0.2),
        ('long = 1\nweight = "120 g"', "weight_kg", 0.12),
        ('long = 1\ntop = "8000 rpm"', "top_rpm", 8000.0),
        ('long = 1\nring = "0.5 kHz"', "ring_hz", 500.0),
        ('long = 1\npress = "77.2 GPa"', "press_mpa", 77_200.0),
    ],
)
def test_a_typed_quantity_is_canonical_when_read(text: str, field: str, value: float) -> None:
    piece = read(f"[piece]\n{text}").piece
    assert getattr(piece, field) == pytest.approx(value, rel=1e-6)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ('[piece]\nlong = "3 N"', "[piece] long: found unit 'N', expected a length unit"),
        ("[piece]\nlong = 0", "[piece] long: found 0.0, expected a length above 0"),
        ("[piece]\nlong = 1e9", "[piece] long: found 1000000000.0, expected a length of 1e-07 to 10000 mm"),
        ("[piece]\nlong = true", "[piece] long: found true, expected a number or a text"),
        ("[piece]\nlong = inf", "[piece] long: found inf, expected a finite number or a text"),
        ("[piece]\nlong = 1\nlong_mm = 3", "[piece]: found unknown key 'long_mm', expected 'long'?"),
        ("[piece]", "[piece]: found no key 'long', expected one"),
        ('[[pieces]]\nlong = 1\n[[pieces]]\nlong = "x"', "[[pieces]] 2 long: found 'x', expected a number"),
        ('[box.left]\nlong = "x"', "[box.left] long: found 'x', expected a number"),
    ],
)
def test_a_refusal_names_file_and_key(text: str, sentence: str) -> None:
    with pytest.raises(BadFile) as refusal:
        read(text)
    assert str(refusal.value).startswith(f"t.toml, {sentence}")


def test_the_schema_has_the_keys_of_the_file() -> None:
    schema = Piece.model_json_schema()
    assert list(schema["properties"]) == [
        "long",
        "shift",
        "push",
        "rate",
        "turn",
        "rough",
        "weight",
        "top",
        "ring",
        "press",
    ]
    assert schema["properties"]["long"] == {"anyOf": [{"type": "number"}, {"type": "string"}], "title": "Long"}
    assert "_mm" not in json.dumps(Train.model_json_schema())


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ('[lash]\nuse = "cold"\nhot = 0.2', "[lash] use: found 'cold', expected a cold lash beside it"),
        (
            "[rocker.geometry]\nvalve_arm = -36\npushrod_arm = 24",
            "rocker valve arm: found -36 mm, expected above 0",
        ),
        ('[rocker.geometry]\nvalve_arm = "9 N"\npushrod_arm = 24', "[rocker.geometry] valve_arm: found unit 'N'"),
        ("[crank]\nthrow = 40\nrod = 13", "[crank] rod: found 13 mm, expected longer than the throw, 40 mm"),
        ('[[rule_reading]]\nvalve = "1I"\nreadings = [1, "2 N"]', "[[rule_reading]] 1 readings 2: found unit 'N'"),
    ],
)
def test_a_train_says_what_does_not_go_together(tmp_path: Path, text: str, sentence: str) -> None:
    (tmp_path / "t.toml").write_text(text, encoding="utf-8")
    with pytest.raises(BadFile) as refusal:
        read_train(tmp_path / "t.toml")
    assert f"t.toml, {sentence}" in str(refusal.value)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("opening = 10", "[[reading]] 1: found no key 'lift', expected one"),
        ("lift = 1\nopenning = 10", "[[reading]] 1: found unknown key 'openning', expected 'opening'?"),
        ("lift = 1\nopening_deg = 10", "[[reading]] 1: found unknown key 'opening_deg', expected 'opening'?"),
        ("lift = 1\nopening = true", "[[reading]] 1 opening: found true, expected a number or a text"),
        ("lift = 1\nopening = 800", "[[reading]] 1 opening: found 800.0, expected a wheel reading of -360 to 720 deg"),
        ('lift = "1 N"', "[[reading]] 1 lift: found unit 'N', expected a length unit"),
    ],
)
def test_a_row_of_a_numerical_room_is_read_and_refused_like_a_record(text: str, sentence: str) -> None:
    with pytest.raises(BadFile) as refusal:
        parse_toml(f'[[reading]]\nlobe = "1I"\n{text}'.encode(), "t.toml", PhasingSheet)
    assert str(refusal.value).startswith(f"t.toml, {sentence}")


def test_a_changed_train_keeps_the_rest() -> None:
    train = Train.model_validate({"spring": {"seat_force": "300 N", "rate": "40 N/mm"}, "rocker": {"ratio": 1.5}})
    tried = train.changed("spring", seat_force_n=350.0)
    assert (tried.spring.seat_force_n, tried.spring.rate_n_per_mm) == (350.0, 40.0)
    assert tried.rocker == train.rocker
    assert train.spring.seat_force_n == 300.0
