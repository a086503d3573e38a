"""What is typed in a part of a job: its spec, quantities and checking lifts."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Literal, TypeVar

from pydantic import ValidationError

from valvelab.errors import BadQuantity, BadSpec, WrongUsage
from valvelab.files.spec_file import read_toml_with_source
from valvelab.quoting import cut
from valvelab.records.parts.part import JobPart
from valvelab.records.result import Source
from valvelab.records.spec import Quantity, Spec
from valvelab.units import Dimension, System, parse_quantity

OfPart = TypeVar("OfPart", bound=JobPart)


def valid_part(
    kind: type[OfPart], stated: Mapping[str, object], called: Callable[[tuple[int | str, ...]], str]
) -> OfPart:
    """A part of a job with these fields; WrongUsage where one can't be, by what whoever asks calls its place."""
    try:
        return kind.model_validate(stated, by_alias=False, by_name=True)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        expected = first["msg"][:1].lower() + first["msg"][1:]
        raise WrongUsage(f"{called(first['loc'])}: found {first['input']!r}, {expected}") from None


class Specs(dict[Path, tuple[Spec, Source]]):
    """The specs of a job, each with its file's identity; a file is read when it is first asked for."""

    def __missing__(self, path: Path) -> tuple[Spec, Source]:
        """Read a spec."""
        self[path] = read_toml_with_source(path, Spec, BadSpec)
        return self[path]

    def of(self, path: Path | None) -> tuple[Spec | None, tuple[Source, ...]]:
        """The spec in a file, and its identity; without a file None and nothing."""
        if path is None:
            return None, ()
        spec, source = self[path]
        return spec, (source,)


def quantity(
    value: Quantity, dimension: Dimension, option: str, least: Literal["above 0", "0 or above", "any"] = "above 0"
) -> float:
    """A typed value of an option in canonical units; WrongUsage names the option, what was found and expected."""
    try:
        found = parse_quantity(value, dimension, option)
    except BadQuantity as error:
        raise WrongUsage(str(error)) from None
    if (found < 0.0 and least != "any") or (found == 0.0 and least == "above 0"):
        raise WrongUsage(f"{option}: found {value}, expected a {dimension} {least}")
    return found


def reasons(texts: Sequence[str], option: str) -> dict[str, str]:
    """Names and reasons of `Q07=scratched`; WrongUsage for one without a reason, and for a name that comes twice."""
    found: dict[str, str] = {}
    for text in texts:
        name, reason = cut(text, "=") or ("", "")
        if not (name and reason):
            raise WrongUsage(f'{option} {text!r}: expected NAME=REASON, such as "Q07=scratched"')
        if name in found:
            raise WrongUsage(f"{option}: found {name!r} twice, expected each once")
        found[name] = reason
    return found


def checking_lifts(values: Sequence[Quantity]) -> tuple[float, ...]:
    """What `--at` adds to the checking lifts, mm."""
    return tuple(quantity(value, "length", "--at") for value in values)


def shown_in(units: Literal["auto", "metric", "inch"], part: JobPart) -> System:
    """The units that an inspection is shown in: as asked for, else those of its first table."""
    if units != "auto":
        return units
    if part.file.suffix.lower() == ".toml":
        return "metric"
    from valvelab.files.reading import in_inches  # what reads tables is loaded by whoever has one

    return "inch" if in_inches(part.file, getattr(part, "columns", None)) else "metric"
