"""Jobs of the first form, whose parts said `options = ["--at=2 mm"]`: the words become fields of the part's record."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_origin

from valvelab.errors import BadFile, WrongUsage
from valvelab.files.spec_file import read_toml
from valvelab.records.job import MOST_PARTS, PARTS, Job
from valvelab.records.parts.part import MOST_LISTED, MOST_OF_ONE, JobPart

OF_THE_COMMAND = frozenset({"--json", "--quiet", "--units", "--adopt", "--plan", "--seed"})
"""Words that a part's command took and its inspection never asked for."""
MANY_OF_ONE = frozenset({"--set", "--together", "--apart"})
_FLAGS = frozenset({"--json", "--quiet"})
_SPEC = "--spec"


def read_job_file(path: Path) -> Job:
    """The job in a job file, of this form or of an earlier one."""
    return read_toml(path, Job, prepare=upgraded)


def upgraded(keys: dict[str, Any]) -> dict[str, Any]:
    """The keys of a job file in their present form; those that are in it already stay as they are.

    Refuses more parts or words than a person would type, and words that the part's use does not know.
    """
    parts = keys.get("part")
    if not isinstance(parts, list):
        return keys
    if len(parts) > MOST_PARTS:
        raise BadFile("job", "[[part]]", f"{len(parts)} parts", f"at most {MOST_PARTS}")
    if keys.get("schema_version") == 1:
        keys = {key: value for key, value in keys.items() if key != "schema_version"}
    return {**keys, "part": [_part(part) for part in parts]}


def _part(part: Any) -> Any:
    if not isinstance(part, dict):
        return part
    name = part.get("inspect")
    kind = PARTS.get(name) if isinstance(name, str) else None
    if kind is None:
        raise BadFile("job", "[[part]] inspect", repr(name), f"one of {', '.join(PARTS)}")
    if "options" not in part:
        return part
    words = part["options"]
    if not isinstance(words, list) or not all(isinstance(word, str) for word in words):
        raise BadFile("job", f"[[part]] {name} options", repr(words)[:60], "a list of texts")
    return {**{key: value for key, value in part.items() if key != "options"}, **_fields(kind, words)}


def _fields(kind: type[JobPart], words: list[str]) -> dict[str, Any]:
    """The fields that words of a command line state; of an option given twice the last counts."""
    name = kind.model_fields["inspect"].default
    options = kind.options()
    _check_count(name, words)
    found: dict[str, Any] = {}
    rest = iter(words)
    for word in rest:
        option, equals, value = word.partition("=")
        if option == "--out":
            raise WrongUsage(f"job part {name}: --out belongs to the certificate, not to a part")
        if option not in {*options, *OF_THE_COMMAND, _SPEC}:
            raise WrongUsage(f"job part {name}: found {word!r}, expected one of {', '.join(options)}")
        field = "spec" if option == _SPEC else options.get(option, "")
        if option in _FLAGS or (field and kind.model_fields[field].annotation is bool):
            if equals:
                raise WrongUsage(f"job part {name}: {option}: found {value!r}, expected no value")
            stated: Any = True
        else:
            stated = value if equals else _next(rest, name, option)
        if field:
            listed = get_origin(kind.model_fields[field].annotation) is tuple
            key = kind.model_fields[field].alias or field
            found[key] = [*found.get(key, []), stated] if listed else stated
    return found


def _next(words: Iterator[str], name: str, option: str) -> str:
    value = next(words, None)
    if value is None or value.startswith("--"):
        raise WrongUsage(f"job part {name}: {option}: expected a value")
    return value


def _check_count(name: str, words: list[str]) -> None:
    """Words within what a person would type."""
    counts = Counter(word.partition("=")[0] for word in words)
    word, most = counts.most_common(1)[0] if counts else ("", 0)
    too_often = most > MOST_OF_ONE and word not in MANY_OF_ONE
    if len(words) > MOST_LISTED or too_often:
        found = f"{most} times {word}" if too_often else f"{len(words)} words"
        raise BadFile("job", f"[[part]] {name} options", found, f"at most {MOST_OF_ONE} of one kind")
