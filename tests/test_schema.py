"""JSON Schemas of what is written and read, checked by an independent validator."""

from __future__ import annotations

import json
import tomllib

import jsonschema
import pytest

from valvelab.cli.main import main
from valvelab.cli.schema_command import NAMES, schema_of


@pytest.mark.parametrize("name", NAMES)
def test_every_schema_is_one(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["schema", name]) == 0
    schema = json.loads(capsys.readouterr().out)
    jsonschema.Draft202012Validator.check_schema(schema)
    assert schema["type"] == "object"


def test_the_names_are_listed(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["schema"]) == 0
    assert capsys.readouterr().out.split() == [*NAMES]
    assert main(["schema", "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == {"schemas": [*NAMES]}


def test_an_unknown_name_is_wrong_usage(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["schema", "nothing"]) == 2
    said = capsys.readouterr().err
    assert "'nothing'" in said
    assert "lobes" in said
    assert said.count("\n") == 1


def test_a_spec_as_it_is_typed_fits_its_schema() -> None:
    text = '[[limit]]\nof = "max_lift"\nmin = "7 mm"\n[[envelope]]\nnominal = "n.csv"\n'
    text += "[[envelope.band]]\nfrom = -70.0\nto = 70\nbelow = 0.02\nabove = '0.02 mm'\n"
    validator = jsonschema.Draft202012Validator(schema_of("spec"))
    validator.validate(tomllib.loads(text))
    assert not validator.is_valid(tomllib.loads(text.replace("from", "form")))
