"""The answers of `valvelab certify` and `valvelab verify`."""

from __future__ import annotations

from typing import Literal

from valvelab.records.result import Record, Result, Text
from valvelab.records.signing_key import Replaced


class CertifyResult(Result):
    """The document of `valvelab certify`: which paper was written, over which verdicts."""

    command: Literal["certify"] = "certify"
    certificate: Text
    number: str
    made: str
    sha256: str
    signed_with: str | None = None
    """The fingerprint of the key that signed it."""


class Difference(Record):
    """One place where the certificate and its re-computation disagree."""

    where: str
    stated: str
    recomputed: str


class Signature(Record):
    """Who signed the paper: `fingerprint` of the key, `name` under which it is trusted, else what it calls itself."""

    state: Literal["none", "unknown_key", "trusted", "broken"] = "none"
    name: str | None = None
    fingerprint: str | None = None


class VerifyResult(Result):
    """The document of `valvelab verify`; `verdicts` are the recomputed ones.

    `agrees` False: what it carries, says or shows is not what it was written with. `drawn_page_agrees` is None where
    another version or another drawing library wrote it; `differing` then lists figures that come out otherwise here.
    """

    command: Literal["verify"] = "verify"
    number: str
    agrees: bool
    compared: int
    differing: tuple[Difference, ...]
    signature: Signature = Signature()
    replaces: Replaced | None = None
    drawn_page_agrees: bool | None
    written_by: str
