"""Public halves of signing keys, as they are handed on and as `valvelab key` lists them; who signs a paper."""

from __future__ import annotations

from hashlib import sha256
from typing import Annotated, Literal

from pydantic import AfterValidator, Field

from valvelab.errors import BadQuantity, one_line
from valvelab.records.result import Record, Result

SIGNED_WITH = "signed with key"
LONGEST_NAME = 60
LONGEST_REASON = 80
NUMBER = r"[0-9A-F]{4}(?:-[0-9A-F]{4}){2}"
FINGERPRINT = r"[0-9A-F]{4}(?:-[0-9A-F]{4}){7}"


def _one_line_of(most: int, what: str) -> AfterValidator:
    def check(text: str) -> str:
        if text != text.strip() or not 0 < len(text) <= most or one_line(text) != text:
            raise BadQuantity(what, repr(text[:most]), f"one line of 1 to {most} signs")
        return text

    return AfterValidator(check)


KeyName = Annotated[str, _one_line_of(LONGEST_NAME, "name")]
"""What a key's owner, or who trusts it, calls it."""


class PublicKey(Record):
    """The public half of a key and its name; as TOML it is the file that another can trust."""

    name: KeyName
    algorithm: Literal["Ed25519"] = "Ed25519"
    public_key: str = Field(pattern=r"^[0-9a-f]{64}$", description="32 bytes as hex digits")

    @property
    def fingerprint(self) -> str:
        """The first half of the public key's SHA-256, in fours, to be compared by eye."""
        digits = sha256(bytes.fromhex(self.public_key)).hexdigest()[:32].upper()
        return "-".join(digits[start : start + 4] for start in range(0, 32, 4))

    @property
    def sentence(self) -> str:
        """As it stands on the paper that it signs."""
        return f"{SIGNED_WITH} {self.fingerprint}, {self.name}"


class Replaced(Record):
    """The certificate that another one takes the place of, and why."""

    number: str = Field(pattern=f"^{NUMBER}$")
    reason: Annotated[str, _one_line_of(LONGEST_REASON, "reason")] | None = None

    @property
    def sentence(self) -> str:
        """As it stands on the paper."""
        return f"replaces certificate {self.number}" + (f": {self.reason}" if self.reason else "")


class KnownKey(PublicKey):
    """A key that is known here: one's own, or another's that is trusted."""

    own: bool


class ListedKey(Record):
    """A known key as it is listed."""

    fingerprint: str
    name: str
    own: bool
    public_key: str


class KeyResult(Result):
    """The document of `valvelab key`: the keys that were asked for, made, trusted, or trusted no more."""

    command: Literal["key"] = "key"
    done: Literal["made", "listed", "trusted", "untrusted"]
    keys: tuple[ListedKey, ...]
