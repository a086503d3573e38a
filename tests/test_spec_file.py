"""Specs and other TOML: what is right is read, what is wrong is told by its key."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydantic import Field

from valvelab.errors import BadFile, BadSpec
from valvelab.files.spec_file import (
    MAX_TOML_BYTES,
    nominal_path,
    parse_toml,
    read_spec,
    read_toml,
    read_toml_with_source,
    toml_quantity,
)
from valvelab.records.result import Record
from valvelab.records.spec import Quantity, Spec

WHOLE = """
title = "Quillmere 1600 camshaft"
revision = "C"
[decision]
rule = "guarded"
confidence = 0.95
[fitting]
installed_height = "42.0 mm"
valve_lift = 11
[[limit]]
of = "max_lift"
lobes = "intake"
nominal = "7.62 mm"
below = "0.05 mm"
above = "0.05 mm"
clause = "engine rules 7.3"
[[limit]]
of = "duration"
lobes = ["1I", "3I"]
at = "1.27 mm"
max = "232 crank deg"
[[envelope]]
lobes = "intake"
nominal = "nominal_intake.csv"
fit = ["angle"]
[[envelope.band]]
from = -70.0
to = 70.0
below = "0.02 mm"
above = 0.02
"""


def write(folder: Path, text: str | bytes) -> Path:
    path = folder / "spec.toml"
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return path


@pytest.mark.parametrize("form", [str, lambda text: text.replace("\n", "\r\n"), lambda text: "\ufeff" + text])
def test_a_whole_spec(tmp_path: Path, form: object) -> None:
    spec = read_spec(write(tmp_path, form(WHOLE)))  # type: ignore[operator]
    assert (spec.title, spec.revision, spec.decision.rule) == ("Quillmere 1600 camshaft", "C", "guarded")
    assert spec.fitting.installed_height_mm == 42.0
    assert spec.fitting.valve_lift_mm == 11
    assert spec.limit[0].clause == "engine rules 7.3"
    assert spec.limit[1].lobes == ("1I", "3I")
    assert spec.envelope[0].band[0].from_cam_deg == -70.0
    assert spec.envelope[0].band[0].above_mm == 0.02


def test_every_part_is_optional(tmp_path: Path) -> None:
    assert read_spec(write(tmp_path, "")) == Spec()


LIMIT = '[[limit]]\nof = "rate"\nmin = 1\n'
ENVELOPE = '[[envelope]]\nnominal = "n.csv"\n[[envelope.band]]\nfrom = 1\nto = 2\nbelow = 1\n'

WRONG = {
    "no TOML": ("title: C", "line 1, column 6: found no TOML"),
    "cut short": ("title =", "found no TOML"),
    "not UTF-8": (b'title = "\xff"', "byte 9: found bytes that are not UTF-8"),
    "UTF-16": ("title = 1".encode("utf-16"), "not UTF-8"),
    "same key twice": ("title = 1\ntitle = 2", "line 2"),
    "unknown key": ("titel = 1", "found unknown key 'titel', expected 'title'?"),
    "unknown table": ("[limits]\na = 1", "found unknown key 'limits', expected 'limit'?"),
    "unknown key far down": (LIMIT + LIMIT + "clauses = 1", "[[limit]] 2: found unknown key 'clauses'"),
    "true where no key is known": ("[tool]\nstrict = true", "found unknown key 'tool'"),
    "nothing like it": ("quite_else = 1", "found unknown key 'quite_else', expected one of title, revision, decision"),
    "alias": (ENVELOPE.replace("from", "form") + "above = 1", "[[envelope]] 1 band 1: found"),
    "missing key": (LIMIT.replace('of = "rate"\n', ""), "[[limit]] 1: found no key 'of', expected one"),
    "missing far down": (ENVELOPE, "[[envelope]] 1 band 1: found no key 'above', expected one"),
    "no band": ('[[envelope]]\nnominal = "n.csv"', "[[envelope]] 1: found no key 'band'"),
    "no limit in it": ('[[limit]]\nof = "rate"', "a limit needs below/above with a nominal, or min/max"),
    "an end that a nominal would hide": (
        LIMIT + "nominal = 1",
        "a limit is either nominal with below/above, or min/max",
    ),
    "two forms": (LIMIT + "nominal = 1\nbelow = 1", "a limit is either nominal with below/above, or min/max"),
    "wrong word": ('[decision]\nrule = "strict"', "[decision] rule: found 'strict', expected 'guarded' or 'simple'"),
    "out of range": ("[decision]\nconfidence = 2", "[decision] confidence: found 2, expected less than 1"),
    "text for a number": ('[fitting]\nactive_coils = "many"', "active_coils: found 'many', expected a number"),
    "true for a number": (LIMIT.replace("1", "true"), "[[limit]] 1 min: found true, expected a number or a text"),
    "list for a number": (LIMIT.replace("1", "[1]"), "[[limit]] 1 min: found [1], expected a number or a text"),
    "infinite": (LIMIT.replace("1", "inf"), "[[limit]] 1 min: found inf, expected a finite number or a text"),
    "number for a text": ("title = 5", "title: found 5, expected a text"),
    "date for a text": ("title = 2026-03-01", "title: found 2026-03-01, expected a text"),
    "table for a list": ('[limit]\nof = "rate"', "[limit]: found {'of': 'rate'}, expected a list"),
    "one of a list": (LIMIT + 'lobes = ["1I", 3]', "lobes: found ['1I', 3], expected 'all', 'intake' or 'exhaust' or"),
    "deep": ("a = " + "[" * 100_000, "nested too deeply"),
    "deep keys": (".".join("a" * 500) + " = 1", "line 1: found a key of very many parts"),
    "long number": ("title = 1" + "0" * 9000, "found no TOML"),
    "large": (b"#" * (MAX_TOML_BYTES + 1), "at most 512 kB"),
}  # fmt: skip


@pytest.mark.parametrize("form", WRONG)
def test_refusals_name_the_key(tmp_path: Path, form: str) -> None:
    text, sentence = WRONG[form]
    path = write(tmp_path, text)
    with pytest.raises(BadFile) as caught:
        read_spec(path)
    said = str(caught.value)
    assert said.startswith(str(path))
    assert sentence in said
    assert ": found " in said
    assert ", expected " in said
    assert "\n" not in said


def test_a_refused_spec_is_a_bad_spec(tmp_path: Path) -> None:
    with pytest.raises(BadSpec):
        read_spec(write(tmp_path, "titel = 1"))


def test_no_file(tmp_path: Path) -> None:
    with pytest.raises(BadFile, match="no such file"):
        read_spec(tmp_path / "nowhere.toml")


def test_nominal_lies_beside_the_spec(tmp_path: Path) -> None:
    path = write(tmp_path, WHOLE)
    envelope = read_spec(path).envelope[0]
    with pytest.raises(BadSpec, match=r"\[\[envelope\]\] 1 nominal: found no file 'nominal_intake.csv'"):
        nominal_path(path, envelope)
    (tmp_path / "nominal_intake.csv").write_text("x")
    assert nominal_path(path, envelope) == tmp_path / "nominal_intake.csv"


class Bench(Record):
    """A model of a reader's own."""

    throw: Quantity = Field(alias="throw_of_dial")
    turns: int = 1
    level: bool = False


def test_any_model(tmp_path: Path) -> None:
    path = write(tmp_path, 'throw_of_dial = "1 in"\nlevel = true')
    bench, source = read_toml_with_source(path, Bench)
    assert bench == read_toml(path, Bench)
    assert source.file == str(path)
    assert bench.level
    assert toml_quantity(bench.throw, "length", str(path), "throw_of_dial") == pytest.approx(25.4)
    with pytest.raises(BadFile, match=r"spec\.toml, throw_of_dial: found unit 'in', expected a force unit"):
        toml_quantity(bench.throw, "force", str(path), "throw_of_dial")
    with pytest.raises(BadSpec, match=r"spec\.toml, turn: found 'x'"):
        toml_quantity("x", "angle", str(path), "turn", BadSpec)
    with pytest.raises(BadFile, match="turns: found true"):
        read_toml(write(tmp_path, "throw_of_dial = 1\nturns = true"), Bench)


VALUES = st.recursive(
    st.one_of(
        st.booleans(), st.integers(-5, 5), st.floats(allow_nan=True), st.sampled_from(['"1 mm"', '"all"', "1979-05-27"])
    ),
    lambda inner: st.lists(inner, max_size=3),
    max_leaves=4,
)


def toml_text(value: object) -> str:
    match value:
        case bool():
            return str(value).lower()
        case list():
            return f"[{', '.join(map(toml_text, value))}]"
        case _:
            return str(value)


@settings(max_examples=500, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.sampled_from(
                ["", "[decision]", "[fitting]", "[camshaft]", "[[limit]]", "[[envelope]]", "[[envelope.band]]"]
            ),
            st.sampled_from(
                [
                    "title",
                    "rule",
                    "confidence",
                    "of",
                    "lobes",
                    "min",
                    "nominal",
                    "below",
                    "from",
                    "to",
                    "fit",
                    "cylinders",
                ]
            ),
            VALUES,
        ),
        max_size=6,
    )
)
def test_any_keys_and_values(parts: list[tuple[str, str, object]]) -> None:
    text = "\n".join(f"{table}\n{key} = {toml_text(value)}" for table, key, value in parts)
    try:
        parse_toml(text.encode(), "spec.toml", Spec, BadSpec)
        sentence = ""
    except BadSpec as error:
        sentence = str(error)
    assert "\n" not in sentence


@settings(max_examples=500, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.tuples(st.integers(0, 700), st.integers(0, 9), st.binary(max_size=3)), min_size=1, max_size=4))
def test_damaged_specs(changes: list[tuple[int, int, bytes]]) -> None:
    data = WHOLE.encode()
    for start, length, new in changes:
        data = data[:start] + new + data[start + length :]
    try:
        parse_toml(data, "spec.toml", Spec, BadSpec)
        sentence = ""
    except BadSpec as error:
        sentence = str(error)
    assert "\n" not in sentence
