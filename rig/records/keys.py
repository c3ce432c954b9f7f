"""The key that signs releases: Ed25519 (RFC 8032), one for each store, a workshop's or a practice one.

A signature is over what kind of key it must be and then over the text: one made for practice fits nothing else.
"""

from __future__ import annotations

import json
import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rig.errors import InputError, RecordError, RuleError
from rig.records import ledger
from rig.records.declared import KINDS, read_declared
from rig.records.facts import KeyMade
from rig.records.store import Store

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

FOLDER, PRIVATE, PUBLIC = "keys", "signing-key.pem", "public-key.json"


@dataclass(frozen=True)
class PublicKey:
    """A store's public key, as it is handed to whoever checks certificates."""

    kind: str
    workshop: str
    key: str  # 32 bytes as hex


def message(kind: str, purpose: str, text: bytes) -> bytes:
    """What is signed: the kind of key and the purpose first, so that no signature fits another."""
    return f"refurb-rig {kind} {purpose}\n".encode() + text


def public_bytes(key: Ed25519PrivateKey) -> str:
    """The public part of a key as hex."""
    return key.public_key().public_bytes_raw().hex()


def sign(key: Ed25519PrivateKey, kind: str, purpose: str, text: bytes) -> str:
    """The signature as hex."""
    return key.sign(message(kind, purpose, text)).hex()


def holds(public: str, kind: str, purpose: str, text: bytes, signature: str) -> bool:
    """Whether a signature is that of a key, of its kind, for a purpose, over a text."""
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    try:
        key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(public))
        key.verify(bytes.fromhex(signature), message(kind, purpose, text))
    except (InvalidSignature, ValueError):
        return False
    return True


def signing_key(store: Store) -> Ed25519PrivateKey:
    """The store's key; made at the first need, its public part kept in the ledger.

    Raises RuleError when the file is not the key that the ledger knows, RecordError."""
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    path = store.folder / FOLDER / PRIVATE
    with store.writing() as connection:
        own = read_declared(connection)
        known = [e.fact for e in ledger.read(connection, kinds=(KeyMade,), own=True)]
        if not known:
            if not path.exists():
                _keep(path, Ed25519PrivateKey.generate())
            public = public_bytes(_loaded(path))
            ledger.append(connection, KeyMade(own.kind, public))
            _publish(store, PublicKey(own.kind, own.name, public))
            return _loaded(path)
    if not path.exists():
        raise RuleError("the signing key is not here", "Bring its file back from where it is kept.", str(path))
    found, last = _loaded(path), known[-1]
    if not isinstance(last, KeyMade) or last.public_key != public_bytes(found):
        raise RuleError("this is not the key that the records know", "Bring the store's own key back.", str(path))
    return found


def _loaded(path: Path) -> Ed25519PrivateKey:
    from cryptography.exceptions import UnsupportedAlgorithm
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    from cryptography.hazmat.primitives.serialization import load_pem_private_key

    try:
        found = load_pem_private_key(path.read_bytes(), None)
    except (OSError, ValueError, TypeError, UnsupportedAlgorithm) as fault:
        raise RecordError(f"the signing key cannot be read ({fault})", "Bring its file back.", str(path)) from None
    if not isinstance(found, Ed25519PrivateKey):
        raise RecordError("this is no Ed25519 key", "Bring the store's own key back.", str(path))
    return found


def _keep(path: Path, key: Ed25519PrivateKey) -> None:
    """Write the key so that nobody else may read it, and it is there after a failure of power."""
    from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat

    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(descriptor, "wb") as file:
        file.write(key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()))
        file.flush()
        os.fsync(file.fileno())


def _publish(store: Store, key: PublicKey) -> None:
    path = store.folder / FOLDER / PUBLIC
    path.write_text(as_text(key), encoding="utf-8")


def as_text(key: PublicKey) -> str:
    """The file of a public key."""
    return json.dumps({"refurb-rig-key": key.kind, "workshop": key.workshop, "ed25519": key.key}, indent=1) + "\n"


def public_key(path: Path) -> PublicKey:
    """A public key from its file. Raises InputError."""
    do = "Give the file 'public-key.json' of the workshop, from the workshop itself."
    try:
        plain: Any = json.loads(path.read_text(encoding="utf-8"))
        found = PublicKey(plain["refurb-rig-key"], plain["workshop"], plain["ed25519"])
        if found.kind not in KINDS or len(bytes.fromhex(found.key)) != 32:
            raise ValueError("not a key of ours")
    except (OSError, ValueError, KeyError, TypeError) as fault:
        raise InputError(f"this is no public key ({type(fault).__name__}: {fault})", do, str(path)) from None
    return found


def own_public_key(folder: Path) -> PublicKey | None:
    """The public key of the store in a folder, if one was made."""
    path = folder / FOLDER / PUBLIC
    return public_key(path) if path.exists() else None
