"""Signed notes with Ed25519: a text, and who vouches for it.

Source: C2SP signed-note (read). A note is a text that ends in a line feed, a blank line and one
line a signature: em dash, name, base64 of the key id and the signature. The key id is the start of
SHA-256 of name, line feed, 01 and the public key.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import re
from collections.abc import Iterable
from dataclasses import dataclass

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import (
    Ed25519PrivateKey,
    Ed25519PublicKey,
)

from wareleaf.measure.errors import BadInput, require

ED25519 = 1
MOST_SIGNATURES = 100

_LINE = re.compile(r"^— ([^\s+]+) ([A-Za-z0-9+/]+={0,2})$")


def check_name(name: str) -> None:
    """Refuse a key name that a note cannot carry.

    Raises
    ------
    BadInput
        For an empty name, blanks or a plus sign.
    """
    good = bool(name) and "+" not in name and not any(c.isspace() for c in name)
    require(
        good,
        "origin",
        name,
        f"The name {name!r} must have no blanks and no plus sign, such as example.com/book.",
    )


def key_id(name: str, public: bytes) -> bytes:
    """Four bytes that name a key."""
    return hashlib.sha256(name.encode() + b"\n" + bytes([ED25519]) + public).digest()[:4]


@dataclass(frozen=True)
class Verifier:
    """A public key with its name."""

    name: str
    public: bytes

    @property
    def id(self) -> bytes:
        """Its key id."""
        return key_id(self.name, self.public)

    @property
    def vkey(self) -> str:
        """The text to hand out: ``name+id+key``."""
        packed = base64.b64encode(bytes([ED25519]) + self.public).decode()
        return f"{self.name}+{self.id.hex()}+{packed}"

    def verifies(self, text: str, signature: bytes) -> bool:
        """Whether a signature of a text holds."""
        try:
            Ed25519PublicKey.from_public_bytes(self.public).verify(signature, text.encode())
        except InvalidSignature:
            return False
        return True


def verifier_of(vkey: str) -> Verifier:
    """Read a verifier key.

    Raises
    ------
    BadInput
        When it is none, or not of Ed25519.
    """
    wrong = f"{vkey!r} is no verifier key; it looks like name+0123abcd+base64 and is one line."
    parts = vkey.strip().split("+", 2)
    require(len(parts) == 3, "key", vkey, wrong)
    name, hexid, packed = parts
    try:
        raw = base64.b64decode(packed, validate=True)
    except binascii.Error as error:
        raise BadInput("key", vkey, wrong) from error
    require(len(raw) == 33 and raw[0] == ED25519, "key", vkey, f"{vkey!r} is no Ed25519 key.")
    check_name(name)
    found = Verifier(name, raw[1:])
    require(found.id.hex() == hexid, "key", vkey, f"The key id in {vkey!r} does not fit its key.")
    return found


def sign(text: str, keys: Iterable[tuple[str, Ed25519PrivateKey]]) -> str:
    """Sign a text with one or more named keys."""
    _check_text(text)
    lines = []
    for name, key in keys:
        check_name(name)
        raw = key_id(name, key.public_key().public_bytes_raw()) + key.sign(text.encode())
        lines.append(f"— {name} {base64.b64encode(raw).decode()}\n")
    require(bool(lines), "keys", None, "A note needs at least one signature.")
    return text + "\n" + "".join(lines)


def open_note(note: str, verifiers: Iterable[Verifier]) -> tuple[str, tuple[Verifier, ...]]:
    """The text of a note and whose signatures hold.

    Signatures of unknown keys are ignored; one of a known key that does not hold spoils the note.

    Raises
    ------
    BadInput
        For a malformed note, a signature that does not hold, or none of a known key.
    """
    text, blank, tail = note.rpartition("\n\n")
    require(bool(blank) and tail.endswith("\n"), "note", None, "This is no signed note.")
    text += "\n"
    _check_text(text)
    lines = tail[:-1].split("\n")
    require(len(lines) <= MOST_SIGNATURES, "note", len(lines), "The note has too many signatures.")
    known = {(v.name, v.id): v for v in verifiers}
    held: list[Verifier] = []
    for line in lines:
        match = _LINE.match(line)
        require(match is not None, "note", line, f"{line!r} is no signature line.")
        assert match is not None
        try:
            raw = base64.b64decode(match[2], validate=True)
        except binascii.Error as error:
            raise BadInput("note", line, f"{line!r} is no signature line.") from error
        require(len(raw) >= 5, "note", line, f"{line!r} is no signature line.")
        verifier = known.get((match[1], raw[:4]))
        if verifier is None or verifier in held:
            continue
        require(
            verifier.verifies(text, raw[4:]),
            "note",
            verifier.name,
            f"The signature of {verifier.name} does not hold: the note was changed or is forged.",
        )
        held.append(verifier)
    require(bool(held), "note", None, "The note carries no signature of a key that is trusted.")
    return text, tuple(held)


def _check_text(text: str) -> None:
    good = text.endswith("\n") and not any(ord(c) < 0x20 and c != "\n" for c in text)
    require(good, "note", None, "A note's text ends in a line feed and has no control characters.")
