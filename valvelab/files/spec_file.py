"""TOML to models: specs, and whatever else a person writes as TOML; every refusal names the key.

spec = read_spec("ordered.toml")
sheet = read_toml("wheel.toml", PhasingSheet)
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import is_dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import Any, TypeVar, get_args, get_type_hints

from pydantic import BaseModel, ValidationError

from valvelab.errors import BadFile, BadQuantity, BadSpec, CannotEvaluate
from valvelab.files.contents import Given, read_contents
from valvelab.phrase import Phrase
from valvelab.records.result import Source
from valvelab.records.spec import EnvelopeSpec, Quantity, Spec
from valvelab.records.typed import key_of
from valvelab.units import Dimension, parse_quantity

MAX_TOML_BYTES = 512 * 1024
MAX_DEPTH = 20

Model = TypeVar("Model", bound=BaseModel)
Refusal = type[BadFile]
Location = tuple[int | str, ...]

_PLACE = re.compile(r"(.*) \(at (line \d+, column \d+|end of document)\)", re.DOTALL)
_NOT_BUILT = re.compile(r"(?:(.*?): found )?(.*?)(?:[,:] expected (.*))?")
_WANTED = {
    "string_type": "a text",
    "float_type": "a number", "float_parsing": "a number", "int_type": "a whole number",
    "int_parsing": "a whole number", "int_from_float": "a whole number", "finite_number": "a finite number",
    "bool_type": "true or false", "bool_parsing": "true or false",
    "path_type": "a file's name", "tuple_type": "a list", "list_type": "a list", "dict_type": "a table of keys",
    "model_type": "a table of keys", "model_attributes_type": "a table of keys", "dataclass_type": "a table of keys",
}  # fmt: skip


def read_spec(path: Given) -> Spec:
    """The spec in a TOML file; BadSpec names the key, what was found and what was expected."""
    return read_toml(path, Spec, BadSpec)


def read_toml(
    path: Given,
    model: type[Model],
    refusal: Refusal = BadFile,
    prepare: Callable[[dict[str, Any]], dict[str, Any]] = dict,
) -> Model:
    """A TOML file as `model`; quantities may be numbers or texts as the model says.

    `prepare` brings keys of an earlier form into the present one.
    """
    contents = read_contents(path, MAX_TOML_BYTES)
    return parse_toml(contents.data, contents.file, model, refusal, prepare)


def read_toml_with_source(path: Given, model: type[Model], refusal: Refusal = BadFile) -> tuple[Model, Source]:
    """A TOML file as `model`, and the file's identity."""
    contents = read_contents(path, MAX_TOML_BYTES)
    return parse_toml(contents.data, contents.file, model, refusal), contents.source


def parse_toml(
    data: bytes,
    file: str,
    model: type[Model],
    refusal: Refusal = BadFile,
    prepare: Callable[[dict[str, Any]], dict[str, Any]] = dict,
) -> Model:
    """TOML bytes as `model`; `file` is the name used in refusals; `prepare` as for `read_toml`."""
    keys = prepare(toml_keys_of(data, file, refusal))
    for location, value in _leaves(keys):
        if len(location) > MAX_DEPTH:
            raise refusal(file, place(keys, location[:2]), "values nested too deeply", "a value")
        if isinstance(value, bool) and bool not in (_annotations(model, location) or {bool}):
            raise refusal(file, place(keys, location), str(value).lower(), "a number or a text")
    try:
        return model.model_validate(keys, by_alias=True, by_name=False)
    except ValidationError as error:
        raise _refused(error, keys, file, model, refusal) from None
    except CannotEvaluate as error:
        raise _not_built(error, file, refusal) from None


def nominal_path(spec_path: str | Path, envelope: EnvelopeSpec, number: int = 1) -> Path:
    """Where an envelope's nominal lift table lies: relative to the spec's own folder. `number` counts from 1."""
    path = Path(spec_path).parent / envelope.nominal
    if "\0" in envelope.nominal or not path.is_file():
        raise BadSpec(
            str(spec_path),
            f"[[envelope]] {number} nominal",
            Phrase("no file {name}", name=f"{envelope.nominal!r}"),
            Phrase("a lift table at {path}", path=path),
        )
    return path


def toml_quantity(value: Quantity, dimension: Dimension, file: str, key: str, refusal: Refusal = BadFile) -> float:
    """A typed quantity of a TOML file in canonical units, refused with file and key."""
    try:
        return parse_quantity(value, dimension, key)
    except BadQuantity as error:
        raise refusal(file, key, error.found, error.expected) from None


def place(keys: Mapping[str, Any], location: Location) -> str:
    """Where a value stands: `[[limit]] 2 nominal`, `[rocker.geometry] valve_arm`, `[[envelope]] 1 band 2 to`."""
    words: list[str] = []
    here: Any = keys
    for part in location:
        if isinstance(part, int) and isinstance(here, Sequence) and not isinstance(here, str) and part < len(here):
            here = here[part]
            if isinstance(here, Mapping) and words[-1].endswith("]"):
                words[-1] = f"[{words[-1]}]"
            words.append(str(part + 1))
        elif isinstance(here, Mapping) and part in here:
            here = here[part]
            if not _holds_keys(here) or (words and not words[-1].endswith("]")):
                words.append(str(part))
            elif words:
                words[-1] = f"{words[-1][:-1]}.{part}]"
            else:
                words.append(f"[{part}]")
        else:
            break
    return " ".join(words)


def _holds_keys(value: object) -> bool:
    """Whether a value is a table, or a list of tables."""
    rows = value if isinstance(value, list) else [value]
    return any(isinstance(row, Mapping) for row in rows)


def toml_keys_of(data: bytes, file: str, refusal: Refusal = BadFile) -> dict[str, Any]:
    """What TOML bytes say, before it is made a record; `file` is the name used in refusals."""
    try:
        text = data.removeprefix(b"\xef\xbb\xbf").decode("utf-8")
    except UnicodeDecodeError as error:
        raise refusal(file, f"byte {error.start}", "bytes that are not UTF-8", "TOML, which is UTF-8") from None
    for number, line in enumerate(text.split("\n"), start=1):
        # the parser's time grows with the square of a dotted key's length
        if line.count(".") > MAX_DEPTH and line.partition("=")[0].count(".") > MAX_DEPTH:
            raise refusal(file, Phrase("line {number}", number=number), "a key of very many parts", "key = value")
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise refusal(file, "", "values nested too deeply", "TOML") from None
    except ValueError as error:
        match = _PLACE.fullmatch(str(error))
        problem, where = match.groups() if match is not None else (str(error), "")
        if where == "end of document":
            where = Phrase("line {number}", number=text.rstrip().count(chr(10)) + 1)
        elif (at := re.fullmatch(r"line (\d+), column (\d+)", where)) is not None:
            where = Phrase("line {number}, column {column}", number=at[1], column=at[2])
        found = Phrase("no TOML ({problem})", problem=_lower(_one_line(problem)))
        raise refusal(file, where, found, "key = value") from None


def _refused(
    error: ValidationError, keys: dict[str, Any], file: str, model: type[BaseModel], refusal: Refusal
) -> BadFile:
    """One refusal for the first thing wrong; branches of one alternative are told together."""
    problems = error.errors(include_url=False)
    first = problems[0]
    location: Location = first["loc"]
    real = _real(keys, location)
    where = place(keys, real)
    kind = first["type"]
    if kind in {"extra_forbidden", "unexpected_keyword_argument"}:
        names = _names(model, real[:-1])
        close = get_close_matches(str(real[-1]), names, n=1, cutoff=0.6)
        wanted = f"{close[0]!r}?" if close else f"one of {', '.join(names)}"
        return refusal(file, place(keys, real[:-1]), f"unknown key {str(real[-1])!r}", wanted)
    if kind == "missing":
        return refusal(file, where, f"no key {str(location[-1])!r}", "one")
    cause = first.get("ctx", {}).get("error")
    if isinstance(cause, BadQuantity):
        return refusal(file, f"{where} {cause.field}".strip(), cause.found, cause.expected)
    value = _value(keys, real)
    if kind == "value_error" and isinstance(value, Mapping):
        message = _one_line(str(cause or first["msg"]))
        return refusal(file, where, f"the keys {', '.join(map(repr, value)) or 'none'}", message)
    wants = [_wanted(problem) for problem in problems if _real(keys, problem["loc"])[: len(real)] == real]
    return refusal(file, where, _shown(value), " or ".join(dict.fromkeys(wants)))


def _not_built(error: CannotEvaluate, file: str, refusal: Refusal) -> BadFile:
    """What a numerical room says of something that can't be built of the keys."""
    match = _NOT_BUILT.fullmatch(str(error))
    where, found, expected = match.groups() if match is not None else (None, str(error), None)
    return refusal(file, where or "", found, expected or "parts that go together")


def _wanted(problem: Mapping[str, Any]) -> str:
    kind = problem["type"]
    if kind in _WANTED:
        return _WANTED[kind]
    if kind == "literal_error":
        return str(problem["ctx"]["expected"])
    message = _one_line(str(problem["msg"])).removeprefix("Value error, ")
    return _lower(message.removeprefix("Input should be "))


def _real(keys: Mapping[str, Any], location: Location) -> Location:
    """The part of a location that exists in the file; a union's branch names do not."""
    here: Any = keys
    found: list[int | str] = []
    for part in location:
        listed = isinstance(here, list) and isinstance(part, int) and part < len(here)
        if not listed and not (isinstance(here, Mapping) and part in here):
            continue
        here = here[part]
        found.append(part)
    return tuple(found)


def _value(keys: Mapping[str, Any], location: Location) -> Any:
    here: Any = keys
    for part in location:
        here = here[part]
    return here


def _leaves(value: Any, location: Location = ()) -> Iterator[tuple[Location, Any]]:
    if len(location) > MAX_DEPTH:
        yield location, value
    elif isinstance(value, dict):
        for key, inner in value.items():
            yield from _leaves(inner, (*location, key))
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            yield from _leaves(inner, (*location, index))
    else:
        yield location, value


def _annotations(model: type[BaseModel], location: Location) -> set[Any]:
    """Every type that may stand at a location."""
    types: set[Any] = {model}
    for part in location:
        if isinstance(part, int):
            continue
        inner: set[Any] = set()
        for kind in types:
            keys = _keys_of(kind)
            if part in keys:
                inner |= _flat(keys[part])
        types = inner
    return types


def _flat(annotation: Any) -> set[Any]:
    arguments = get_args(annotation)
    if not arguments:
        return {annotation}
    return set().union(*(_flat(argument) for argument in arguments))


def _names(model: type[BaseModel], location: Location) -> list[str]:
    """Keys allowed in the table at a location."""
    return [name for kind in _annotations(model, location) for name in _keys_of(kind)]


def _keys_of(kind: Any) -> Mapping[str, Any]:
    """What may stand at each key of a record, or of a plain dataclass in one."""
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        return {info.alias or name: info.annotation for name, info in kind.model_fields.items()}
    if isinstance(kind, type) and is_dataclass(kind):
        return {key_of(name): annotation for name, annotation in get_type_hints(kind).items()}
    return {}


def _shown(value: Any) -> str:
    text = _one_line(repr(value) if isinstance(value, str) else str(value))
    return text if len(text) <= 60 else text[:57] + "..."


def _one_line(text: str) -> str:
    return " ".join(text.split())


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]
