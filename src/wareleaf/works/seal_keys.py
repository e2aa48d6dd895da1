"""The private key of the seal: made, opened, changed, copied.

It lies encrypted in the works folder, readable by its owner only. Its public half and the signed
checkpoints stand in the book's settings.

The file is one line that says how the passphrase is stretched (scrypt, RFC 7914), then PKCS #8
under the stretched passphrase in hexadecimal: PKCS #8 as the library writes it stretches only 2,048
times, so that a stolen file could be tried out too fast.
"""

from __future__ import annotations

import hashlib
import os
import unicodedata
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import (
    BestAvailableEncryption,
    Encoding,
    PrivateFormat,
    load_pem_private_key,
)

from wareleaf.book import seal
from wareleaf.book.seal import Verifier
from wareleaf.measure.errors import BadInput, require
from wareleaf.store import BookUnavailable
from wareleaf.works.house import Works

KEY_FILE = "seal.key"
NEW_KEY_FILE = KEY_FILE + ".new"
SETTING = "seal"
_COST, _BLOCK = 2**15, 8  # 32 MB and about a tenth of a second a try (our own choice)
_MARK = b"Passphrase-Stretched: scrypt "
SHORTEST = 10
"""Characters of a passphrase at least (our own choice)."""


@dataclass(frozen=True)
class SealState:
    """What is kept of seals: name, public keys (newest last) and signed checkpoints by size."""

    origin: str
    vkeys: tuple[str, ...]
    checkpoints: tuple[tuple[int, str], ...]

    @property
    def verifiers(self) -> tuple[Verifier, ...]:
        """All keys that ever signed here."""
        return tuple(seal.verifier_of(v) for v in self.vkeys)


def state_of(works: Works) -> SealState:
    """What is kept of seals; empty before the first."""
    kept = works.book.settings_get(SETTING) or {}
    return SealState(
        kept.get("origin", ""),
        tuple(kept.get("vkeys", ())),
        tuple((int(size), note) for size, note in kept.get("checkpoints", ())),
    )


def keep(works: Works, state: SealState) -> None:
    """Keep the state in the book."""
    works.book.settings_put(
        SETTING,
        {
            "origin": state.origin,
            "vkeys": list(state.vkeys),
            "checkpoints": [list(c) for c in state.checkpoints],
        },
    )


def first_key(works: Works, passphrase: str, origin: str) -> SealState:
    """Make the first key; nothing is overwritten."""
    seal.check_name(origin)
    require(
        not (works.folder / KEY_FILE).exists(),
        "key",
        KEY_FILE,
        f"There is a {KEY_FILE} in the works folder, but the book knows of no key; put the right "
        "key there, or move it away to begin anew.",
    )
    key = Ed25519PrivateKey.generate()
    write_key(works.folder / KEY_FILE, key, passphrase)
    state = SealState(origin, (verifier(origin, key).vkey,), ())
    keep(works, state)
    return state


def verifier(origin: str, key: Ed25519PrivateKey) -> Verifier:
    """The public half of a key under the book's name."""
    return Verifier(origin, key.public_key().public_bytes_raw())


def write_key(path: Path, key: Ed25519PrivateKey, passphrase: str) -> None:
    """Write a key under its passphrase into a new file."""
    require(
        len(passphrase) >= SHORTEST,
        "passphrase",
        None,
        f"The passphrase is too short; take at least {SHORTEST} characters, such as four words.",
    )
    salt = os.urandom(16)
    locked = BestAvailableEncryption(_stretched(passphrase, salt, _COST, _BLOCK))
    pem = key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, locked)
    _write_private(path, _MARK + f"{_COST} {_BLOCK} {salt.hex()}\n".encode() + pem)


def _stretched(passphrase: str, salt: bytes, cost: int, block: int) -> bytes:
    text = unicodedata.normalize("NFC", passphrase).encode()  # the same on every keyboard
    made = hashlib.scrypt(text, salt=salt, n=cost, r=block, p=1, maxmem=2**28, dklen=32)
    return made.hex().encode()


def _write_private(path: Path, data: bytes) -> None:
    """Write a new file for its owner only, on disk when this returns; a half one is taken away."""
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        path.unlink(missing_ok=True)
        raise BookUnavailable(
            f"{path} could not be written; no key was kept there: {error.strerror or error}."
        ) from error


def load(works: Works, passphrase: str, state: SealState) -> Ed25519PrivateKey:
    """The newest key, opened. A rotation that was cut short between book and file is finished."""
    path = works.folder / KEY_FILE
    fresh = works.folder / NEW_KEY_FILE
    require(
        path.exists() or fresh.exists(),
        "key",
        str(path),
        f"The key {path} is not there; put back a copy of it. If it is lost, rotate with --lost: "
        "old seals stay good, and everyone who checks needs the new key from you in person.",
    )
    if fresh.exists():
        with suppress(BadInput):
            key = _open_key(fresh, passphrase)
            if verifier(state.origin, key).vkey == state.vkeys[-1]:
                swap(works, len(state.vkeys) - 1)
                return key
    key = _open_key(path, passphrase)
    begun = f" {NEW_KEY_FILE} may be it: give its passphrase." if fresh.exists() else ""
    require(
        verifier(state.origin, key).vkey == state.vkeys[-1],
        "key",
        KEY_FILE,
        f"{KEY_FILE} is not the newest key of this book; put the newest one there.{begun}",
    )
    return key


def _open_key(path: Path, passphrase: str) -> Ed25519PrivateKey:
    require(path.exists(), "key", str(path), f"The key {path} is not there.")
    try:
        data, secret = path.read_bytes(), passphrase.encode()
        if data.startswith(_MARK):  # without it, a key made before keys were stretched
            line, _, data = data.removeprefix(_MARK).partition(b"\n")
            cost, block, salt = line.decode("ascii").split()
            secret = _stretched(passphrase, bytes.fromhex(salt), int(cost), int(block))
        key = load_pem_private_key(data, secret)
    except (ValueError, TypeError, UnsupportedAlgorithm) as error:
        raise BadInput(
            "passphrase",
            None,
            f"The passphrase does not open {path}, or the file is damaged; try the passphrase "
            "again, then a copy of the key.",
        ) from error
    require(isinstance(key, Ed25519PrivateKey), "key", str(path), f"{path} is no Ed25519 key.")
    assert isinstance(key, Ed25519PrivateKey)
    return key


def swap(works: Works, number: int) -> None:
    """Put the new key in its place; the old one stays beside it under its number."""
    path = works.folder / KEY_FILE
    if path.exists():
        path.replace(works.folder / f"{KEY_FILE}.{number}")
    (works.folder / NEW_KEY_FILE).replace(path)


def back_up_key(works: Works, to: Path) -> None:
    """Copy the encrypted key; never over a file that is there, and never half."""
    path = works.folder / KEY_FILE
    require(path.exists(), "key", str(path), f"There is no key at {path}.")
    require(not to.exists(), "to", str(to), f"{to} exists already; name another file.")
    _write_private(to, path.read_bytes())
