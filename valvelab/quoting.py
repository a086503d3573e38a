"""Names in texts that a person types: plain, or in double quotes where they hold what separates names.

A quote within is doubled, as in CSV (RFC 4180); blanks round a name don't count. So `Q07=scratched`, `"Q=7"=scratched`
and `"Q,7",Q08` name springs whatever they are called.
"""

from __future__ import annotations

import re
from typing import NamedTuple

from valvelab.errors import WrongUsage

SEPARATORS = "=;,:"
"""What ends a plain name in one text or another."""
_QUOTED = re.compile(r'\s*"((?:[^"]|"")*)"\s*')


class Piece(NamedTuple):
    """A piece of a text, without its quotes, and whether it had any."""

    text: str
    quoted: bool = False


def written(name: str) -> str:
    """A name as it can stand in any text: in quotes only where it would be read as something else."""
    plain = name == name.strip() != "" and name[0] != '"' and not any(mark in name for mark in SEPARATORS)
    return name if plain else in_quotes(name)


def in_quotes(name: str) -> str:
    """A name in quotes."""
    return '"' + name.replace('"', '""') + '"'


def name_in(text: str) -> str:
    """The name that is all of a text; WrongUsage where quotes don't close it."""
    if not text.lstrip().startswith('"'):
        return text.strip()
    found = _QUOTED.fullmatch(text)
    if found is None:
        raise WrongUsage(f"{text!r}: expected quotes round all of a name, and a quote within it twice")
    return _plain(found)


def cut(text: str, separator: str) -> tuple[str, str] | None:
    """The name that a text begins with and what stands after its separator; None where no separator ends a name."""
    found = _QUOTED.match(text)
    if found is not None:
        return (_plain(found), text[found.end() + 1 :].strip()) if text[found.end() :][:1] == separator else None
    name, mark, rest = text.partition(separator)
    return (name.strip(), rest.strip()) if mark and not name.lstrip().startswith('"') else None


def pieces(text: str, separator: str = ",") -> tuple[Piece, ...]:
    """The pieces between separators, empty ones left out; WrongUsage where quotes don't close."""
    found = []
    rest: str | None = text
    while rest is not None:
        quoted = rest.lstrip().startswith('"')
        split = cut(rest, separator)
        piece, rest = (name_in(rest), None) if split is None else split
        if piece or quoted:
            found.append(Piece(piece, quoted))
    return tuple(found)


def names_in(text: str) -> tuple[str, ...]:
    """Names with commas between."""
    return tuple(piece.text for piece in pieces(text))


def listed(names: tuple[str, ...]) -> str:
    """The text that `names_in` reads them from."""
    return ",".join(map(written, names))


def _plain(found: re.Match[str]) -> str:
    return found[1].replace('""', '"')
