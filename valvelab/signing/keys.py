"""Signing keys of one's own, and those of others that are trusted.

They lie in a folder of the user's data: `own/FINGERPRINT.pub` with its private half beside it as `.key`, or in the
platform's keyring where there is one, and `trusted/FINGERPRINT.pub`. A private half never leaves this module but as a
`Signer`.
"""

from __future__ import annotations

import os
import re
import stat
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from platformdirs import user_data_path
from pydantic import ValidationError

from valvelab.errors import BadFile, BadQuantity, WrongUsage
from valvelab.files.contents import read_contents
from valvelab.files.spec_file import read_toml
from valvelab.files.toml_text import toml_keys
from valvelab.records.signing_key import FINGERPRINT, KnownKey, PublicKey
from valvelab.signing import ed25519, system_keyring
from valvelab.writing import make_folder, remove_file, write_whole

FOLDER = "VALVELAB_KEYS"
"""Environment variable that names another folder for the keys, private halves among them."""
OWN, TRUSTED = "own", "trusted"
MOST_BYTES = 16 * 1024


@dataclass(frozen=True, slots=True)
class Signer:
    """A key of one's own, opened: its public half, and what signs with the other."""

    public: PublicKey
    sign: Callable[[bytes], bytes]


def folder() -> Path:
    """Where the keys lie."""
    stated = os.environ.get(FOLDER)
    return Path(stated) if stated else user_data_path("valvelab", appauthor=False) / "keys"


def known_keys() -> list[KnownKey]:
    """Own keys, then trusted ones, each by name. Raises BadFile for one that is damaged."""
    return [*_keys_in(OWN, own=True), *_keys_in(TRUSTED, own=False)]


def own_keys() -> list[KnownKey]:
    """One's own keys, by name. Raises BadFile for one that is damaged."""
    return _keys_in(OWN, own=True)


def _keys_in(kind: str, *, own: bool) -> list[KnownKey]:
    found = []
    for path in (folder() / kind).glob("*.pub"):
        key = read_public(path)
        if path.stem != key.fingerprint:
            raise BadFile(str(path), "", f"the key {key.fingerprint}", "the one that the file is named after")
        found.append(KnownKey(**dict(key), own=own))
    return sorted(found, key=lambda key: key.name.casefold())


def read_public(path: Path) -> PublicKey:
    """The public key in a file. Raises BadFile."""
    return read_toml(read_contents(path, MOST_BYTES), PublicKey)


def public_text(key: PublicKey) -> str:
    """A public key as the file that another can trust."""
    return "\n".join(toml_keys({name: getattr(key, name) for name in PublicKey.model_fields})) + "\n"


def named(name: str) -> KnownKey:
    """The known key of a name or a fingerprint. Raises WrongUsage where there is none."""
    keys = known_keys()
    for key in keys:
        if name in {key.name, key.fingerprint}:
            return key
    known = ", ".join(key.name for key in keys) or "none yet"
    raise WrongUsage(f"key {name}: found no key of that name, expected one of those known here: {known}")


def new_key(name: str, passphrase: str) -> KnownKey:
    """Make a key of one's own; `passphrase` locks its private half where it is not empty.

    Raises WrongUsage for a name that is taken or none.
    """
    private = ed25519.new_private()
    public = _checked(name, ed25519.public_of(private).hex())
    _refuse_taken(public)
    _keep_private(public, ed25519.packed(private, passphrase))
    return _keep(public, OWN)


def trust(path: Path, name: str | None = None) -> KnownKey:
    """Trust the key in a file, under another name where one is given. Raises BadFile; WrongUsage for a taken name."""
    given = read_public(path)
    key = given if name is None else _checked(name, given.public_key)
    _refuse_taken(key)
    return _keep(key, TRUSTED)


def untrust(name: str) -> KnownKey:
    """Trust the key of a name or fingerprint no more. Raises WrongUsage for one that is not there, or is one's own."""
    key = named(name)
    if key.own:
        raise WrongUsage(f"key {name}: found a key of your own, expected one of another's that is trusted")
    remove_file(folder() / TRUSTED / f"{key.fingerprint}.pub")
    return key


def _checked(name: str, public_key: str) -> PublicKey:
    try:
        return PublicKey(name=name, public_key=public_key)
    except ValidationError as error:
        cause = error.errors()[0].get("ctx", {}).get("error")
        raise WrongUsage(f"key {cause}" if isinstance(cause, BadQuantity) else f"key: {error}") from None


def _refuse_taken(key: PublicKey) -> None:
    """Refuses a key that is known, and a name that is taken or could be taken for another key's fingerprint."""
    if re.fullmatch(FINGERPRINT, key.name.upper()):
        raise WrongUsage(f"key {key.name}: found a name like a fingerprint, expected another name")
    for known in known_keys():
        if known.public_key == key.public_key:
            raise WrongUsage(f"key {key.name}: found it known already, as {known.name}, expected another key")
        if known.name.casefold() == key.name.casefold():
            raise WrongUsage(f"key {key.name}: found the name taken by {known.fingerprint}, expected another name")


def _keep(key: PublicKey, kind: str) -> KnownKey:
    make_folder(folder() / kind, private=True)
    write_whole(folder() / kind / f"{key.fingerprint}.pub", public_text(key), private=True)
    return KnownKey(**dict(key), own=kind == OWN)


def _keep_private(key: PublicKey, pem: bytes) -> None:
    if FOLDER not in os.environ and system_keyring.keep(key.fingerprint, pem.decode()):
        return
    make_folder(folder() / OWN, private=True)
    write_whole(_private_file(key), pem, private=True)


def _private_file(key: PublicKey) -> Path:
    return folder() / OWN / f"{key.fingerprint}.key"


def signer(name: str, passphrase: Callable[[str], str]) -> Signer:
    """One's own key of a name, opened; `passphrase` is asked with the name where the key is locked.

    Raises WrongUsage for a name that is no key of one's own, BadFile for a key that can't be opened.
    """
    key = next((key for key in own_keys() if name in {key.name, key.fingerprint}), None)
    if key is None:
        raise WrongUsage(f"--sign {name}: found no key of your own by that name, expected {_own_names()}")
    where, pem = _private(key)
    said = passphrase(key.name) if ed25519.ENCRYPTED in pem else ""
    private = ed25519.unpacked(pem, said)
    if private is None:
        found = "a passphrase that does not open it" if ed25519.ENCRYPTED in pem else "no private key"
        raise BadFile(where, "", found, f"the private half of the key {key.name}")
    if ed25519.public_of(private).hex() != key.public_key:
        raise BadFile(where, "", "another key's private half", f"that of the key {key.name}")
    return Signer(PublicKey(name=key.name, public_key=key.public_key), lambda text: ed25519.signature_of(text, private))


def _own_names() -> str:
    names = ", ".join(key.name for key in own_keys())
    return f"one of {names}" if names else "one made by valvelab key new NAME"


def _private(key: PublicKey) -> tuple[str, bytes]:
    """The private half as it is kept, and where; a file that others may read is refused."""
    path = _private_file(key)
    if not path.exists() and FOLDER not in os.environ:
        kept = system_keyring.kept(key.fingerprint)
        if kept is not None:
            return "the keyring", kept.encode()
    pem = read_contents(path, MOST_BYTES).data
    if os.name == "posix" and path.stat().st_mode & (stat.S_IRWXG | stat.S_IRWXO):
        raise BadFile(str(path), "", "a private key that others may read or write", "one with permissions 0600")
    return str(path), pem
