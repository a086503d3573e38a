"""Texts that know what they were put together from, so that another language can put them together its own way."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Self


class Phrase(str):
    """A template with what stands at its places; as a str it is the English text, wherever it goes.

    A place holds a name, a number with its unit, or a phrase of its own; what is no text yet becomes one.
    `valvelab.language.say` says the template in the window's language; paper, terminal and files see a str. A text
    that is cut or added to is a plain str again.
    """

    __slots__ = ("fields", "template")
    template: str
    fields: dict[str, str]

    def __new__(cls, template: str, /, **fields: object) -> Self:
        """The English text of a template with named places."""
        texts = {place: part if isinstance(part, str) else str(part) for place, part in fields.items()}
        made = super().__new__(cls, template.format(**texts))
        made.template, made.fields = template, texts
        return made

    def __str__(self) -> Self:
        """Itself: a refusal that is told by its sentence tells the phrase."""
        return self

    def __getnewargs_ex__(self) -> tuple[tuple[str], dict[str, str]]:
        """What makes it again from a copy in bytes."""
        return (self.template,), self.fields


def listed(parts: Iterable[str], between: str = ", ") -> Phrase:
    """Names, numbers and phrases in a row."""
    fields = {f"part{number}": part for number, part in enumerate(parts)}
    return Phrase(between.join(f"{{{place}}}" for place in fields), **fields)


def whole(text: str) -> Phrase:
    """A text that is said as a whole, whatever signs it holds."""
    return text if isinstance(text, Phrase) else Phrase(text.replace("{", "{{").replace("}", "}}"))
