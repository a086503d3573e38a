"""Whether a certificate was signed by the key that it names, and whether that key is trusted here."""

from __future__ import annotations

from valvelab.records.certificate_result import Difference, Signature
from valvelab.records.signing_key import PublicKey
from valvelab.report.pdf_file import Seal
from valvelab.signing import ed25519
from valvelab.signing.keys import known_keys

WHERE = "signature"


def signature_of(seal: Seal, signer: PublicKey | None) -> tuple[Signature, list[Difference]]:
    """The answer for a file's seal and the signer that its job names; with what is broken, where something is.

    Raises BadFile for a key known here that is damaged.
    """
    if signer is None and seal.signature is None:
        return Signature(), []
    if signer is None:
        return Signature(state="broken"), [_broken("a signature", "none, for the paper names no signer")]
    wanted = f"one by the key {signer.fingerprint}"
    if seal.signature is None:
        return _said(signer, "broken"), [_broken("none", wanted)]
    if not ed25519.holds(seal.signature, seal.signed, bytes.fromhex(signer.public_key)):
        return _said(signer, "broken"), [_broken("one of another file or by another key", wanted)]
    for key in known_keys():
        if key.public_key == signer.public_key:
            return _said(key, "trusted"), []
    return _said(signer, "unknown_key"), []


def _said(key: PublicKey, state: str) -> Signature:
    return Signature.model_validate({"state": state, "name": key.name, "fingerprint": key.fingerprint})


def _broken(stated: str, recomputed: str) -> Difference:
    return Difference(where=WHERE, stated=stated, recomputed=recomputed)
