"""Ed25519 (RFC 8032) on bytes: keys of 32, signatures of 64.

The library behind it is loaded with the first key that is made, opened or asked.
"""

from __future__ import annotations

PRIVATE_BYTES, PUBLIC_BYTES, SIGNATURE_BYTES = 32, 32, 64
ENCRYPTED = b"ENCRYPTED PRIVATE KEY"
"""What a private key that asks for a passphrase has in its first line (RFC 7468, 11)."""


def new_private() -> bytes:
    """A private key out of the system's random numbers."""
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    return Ed25519PrivateKey.generate().private_bytes_raw()


def public_of(private: bytes) -> bytes:
    """The public half of a private key of 32 bytes."""
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    return Ed25519PrivateKey.from_private_bytes(private).public_key().public_bytes_raw()


def signature_of(message: bytes, private: bytes) -> bytes:
    """The signature of a message; the same message and key give the same one."""
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    return Ed25519PrivateKey.from_private_bytes(private).sign(message)


def holds(signature: bytes, message: bytes, public: bytes) -> bool:
    """Whether a signature is one of the message by the key of this public half; False for bytes that are none."""
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    try:
        Ed25519PublicKey.from_public_bytes(public).verify(signature, message)
    except (InvalidSignature, ValueError):
        return False
    return True


def packed(private: bytes, passphrase: str) -> bytes:
    """A private key as PKCS #8 in PEM, locked by the passphrase where there is one."""
    from cryptography.hazmat.primitives import serialization as forms
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    lock = forms.BestAvailableEncryption(_bytes(passphrase)) if passphrase else forms.NoEncryption()
    key = Ed25519PrivateKey.from_private_bytes(private)
    return key.private_bytes(forms.Encoding.PEM, forms.PrivateFormat.PKCS8, lock)


def unpacked(pem: bytes, passphrase: str) -> bytes | None:
    """The private key in PEM; None where it is none of Ed25519, or the passphrase is another."""
    from cryptography.exceptions import UnsupportedAlgorithm
    from cryptography.hazmat.primitives import serialization as forms
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    try:
        key = forms.load_pem_private_key(pem, _bytes(passphrase) if ENCRYPTED in pem else None)
    except (ValueError, TypeError, UnsupportedAlgorithm):
        return None
    return key.private_bytes_raw() if isinstance(key, Ed25519PrivateKey) else None


def _bytes(passphrase: str) -> bytes:
    return passphrase.encode("utf-8", "surrogateescape")  # an environment variable need not be text
