"""The platform's own keyring, where the optional library finds one."""

from __future__ import annotations

import importlib
from typing import Any

SERVICE = "valvelab signing key"
ENCRYPTED_AT_REST = 1
"""Least priority of a keyring that counts: below it are those that keep nothing, or keep it in a plain file."""


def keep(account: str, secret: str) -> bool:
    """Keep a secret there; False where there is no keyring or it won't."""
    keyring = _keyring()
    if keyring is None:
        return False
    try:
        keyring.set_password(SERVICE, account, secret)
        return bool(keyring.get_password(SERVICE, account) == secret)
    except Exception:  # noqa: BLE001 - every platform's keyring fails in its own way
        return False


def kept(account: str) -> str | None:
    """A secret kept there; None where it is not."""
    keyring = _keyring()
    if keyring is None:
        return None
    try:
        found = keyring.get_password(SERVICE, account)
    except Exception:  # noqa: BLE001 - as above
        return None
    return found if isinstance(found, str) else None


def _keyring() -> Any:
    try:
        keyring = importlib.import_module("keyring")
        return keyring if keyring.get_keyring().priority >= ENCRYPTED_AT_REST else None
    except Exception:  # noqa: BLE001 - not installed, or none that works on this machine
        return None
