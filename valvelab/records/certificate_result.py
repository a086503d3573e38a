"""The answers of `valvelab certify` and `valvelab verify`."""

from __future__ import annotations

from typing import Literal

from valvelab.records.result import Record, Result


class CertifyResult(Result):
    """The document of `valvelab certify`: which paper was written, over which verdicts."""

    command: Literal["certify"] = "certify"
    certificate: str
    number: str
    made: str
    sha256: str


class Difference(Record):
    """One place where the certificate and its re-computation disagree."""

    where: str
    stated: str
    recomputed: str


class VerifyResult(Result):
    """The document of `valvelab verify`; `verdicts` are the recomputed ones."""

    command: Literal["verify"] = "verify"
    number: str
    matches: bool
    compared: int
    differences: tuple[Difference, ...]
