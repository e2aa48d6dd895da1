"""Seal the book: the key, signed checkpoints, receipts of lots, and proofs between checkpoints.

The private key lies encrypted in the works folder. Public keys and checkpoints stand in the book's
settings, and every checkpoint should also go to someone outside: that is what makes it worth
anything.
"""

from __future__ import annotations

import json
import os
import re
import shutil
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import (
    BestAvailableEncryption,
    Encoding,
    PrivateFormat,
    load_pem_private_key,
)

from wareleaf.book import seal
from wareleaf.book.seal import CONSISTENCY, Checkpoint, Proved, TreeLevels, Verifier
from wareleaf.measure.errors import BadInput, require
from wareleaf.works.house import Works

KEY_FILE = "seal.key"
SETTING = "seal"
SHORTEST = 10
"""Characters of a passphrase at least (our own choice)."""


@dataclass(frozen=True)
class Sealed:
    """A checkpoint that was signed, with the key to check it by."""

    note: str
    size: int
    root_hex: str
    vkey: str
    new_key: bool


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


def _keep(works: Works, state: SealState) -> None:
    works.book.settings_put(
        SETTING,
        {
            "origin": state.origin,
            "vkeys": list(state.vkeys),
            "checkpoints": [list(c) for c in state.checkpoints],
        },
    )


def usual_origin(works: Works) -> str:
    """A name for the book's key, from the name of the firm."""
    slug = re.sub(r"[^a-z0-9]+", "-", works.settings.firm.name.lower()).strip("-")
    return f"{slug or 'works'}/book"


def seal_now(
    works: Works, passphrase: str, origin: str = "", *, whole_check: bool = True
) -> Sealed:
    """Check the book, sign a checkpoint of it, and keep it. The first time, make the key.

    ``whole_check=False`` leaves out the check of every derived table, which takes long in a book of
    hundreds of thousands of events; earlier checkpoints are always held against the book.

    Raises
    ------
    BadInput
        When the book is not whole, its sealed past was changed, or the passphrase is wrong.
    """
    if whole_check:
        report = works.book.verify()
        require(report.ok, "book", report.first_bad_sequence, f"Not sealed. {report.message}")
    leaves = works.book.tree_leaves()
    require(bool(leaves), "book", 0, "The book has no events yet; there is nothing to seal.")
    changed = changed_since(works, leaves)
    require(not changed, "book", None, f"Not sealed. {changed}")
    state = state_of(works)
    new = not state.vkeys
    if new:
        state = _first_key(works, passphrase, origin or usual_origin(works))
    elif origin and origin != state.origin:
        raise BadInput("origin", origin, f"This book is sealed as {state.origin}; keep that name.")
    key = _load(works, passphrase)
    _require_newest(key, state)
    levels = TreeLevels(leaves)
    note = seal.signed(Checkpoint(state.origin, levels.size, levels.root), [(state.origin, key)])
    _add(works, state, levels.size, note)
    return Sealed(note, levels.size, levels.root.hex(), state.vkeys[-1], new)


def _add(works: Works, state: SealState, size: int, note: str) -> None:
    kept = [c for c in state.checkpoints if c[0] != size]
    _keep(works, SealState(state.origin, state.vkeys, (*kept, (size, note))))


def _first_key(works: Works, passphrase: str, origin: str) -> SealState:
    seal.check_name(origin)
    require(
        not (works.folder / KEY_FILE).exists(),
        "key",
        KEY_FILE,
        f"There is a {KEY_FILE} in the works folder, but the book knows of no key; put the right "
        "key there, or move it away to begin anew.",
    )
    key = Ed25519PrivateKey.generate()
    _write_key(works.folder / KEY_FILE, key, passphrase)
    state = SealState(origin, (_verifier(origin, key).vkey,), ())
    _keep(works, state)
    return state


def _verifier(origin: str, key: Ed25519PrivateKey) -> Verifier:
    return Verifier(origin, key.public_key().public_bytes_raw())


def _write_key(path: Path, key: Ed25519PrivateKey, passphrase: str) -> None:
    require(
        len(passphrase) >= SHORTEST,
        "passphrase",
        None,
        f"The passphrase is too short; take at least {SHORTEST} characters, such as four words.",
    )
    pem = key.private_bytes(
        Encoding.PEM, PrivateFormat.PKCS8, BestAvailableEncryption(passphrase.encode())
    )
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "wb") as file:
        file.write(pem)
        file.flush()
        os.fsync(file.fileno())


def _load(works: Works, passphrase: str) -> Ed25519PrivateKey:
    path = works.folder / KEY_FILE
    require(
        path.exists(),
        "key",
        str(path),
        f"The key {path} is not there; put back a copy of it. If it is lost, rotate with --lost: "
        "old seals stay good, and everyone who checks needs the new key from you in person.",
    )
    try:
        key = load_pem_private_key(path.read_bytes(), passphrase.encode())
    except (ValueError, TypeError) as error:
        raise BadInput("passphrase", None, "The passphrase does not open the key.") from error
    require(isinstance(key, Ed25519PrivateKey), "key", str(path), f"{path} is no Ed25519 key.")
    assert isinstance(key, Ed25519PrivateKey)
    return key


def _require_newest(key: Ed25519PrivateKey, state: SealState) -> None:
    require(
        _verifier(state.origin, key).vkey == state.vkeys[-1],
        "key",
        KEY_FILE,
        f"{KEY_FILE} is not the newest key of this book; put the newest one there.",
    )


def rotate(works: Works, old_passphrase: str, new_passphrase: str, *, lost: bool = False) -> Sealed:
    """Make a new key; the old one signs for the last time, together with the new one.

    Parameters
    ----------
    works : Works
        The works.
    old_passphrase, new_passphrase : str
        Of the old and of the new key.
    lost : bool
        The old key is gone: the new one stands alone, and must be handed over in person.
    """
    state = state_of(works)
    require(bool(state.vkeys), "key", None, "There is no key yet; make one with: wareleaf seal")
    leaves = works.book.tree_leaves()
    changed = changed_since(works, leaves)
    require(not changed, "book", None, f"Not rotated. {changed}")
    old = None if lost else _load(works, old_passphrase)
    if old is not None:
        _require_newest(old, state)
    new = Ed25519PrivateKey.generate()
    fresh = works.folder / (KEY_FILE + ".new")
    fresh.unlink(missing_ok=True)
    _write_key(fresh, new, new_passphrase)
    path = works.folder / KEY_FILE
    if path.exists():
        path.replace(works.folder / f"{KEY_FILE}.{len(state.vkeys)}")
    fresh.replace(path)
    keys = [(state.origin, new)] if old is None else [(state.origin, old), (state.origin, new)]
    levels = TreeLevels(leaves)
    note = seal.signed(Checkpoint(state.origin, levels.size, levels.root), keys)
    vkey = _verifier(state.origin, new).vkey
    _add(works, SealState(state.origin, (*state.vkeys, vkey), state.checkpoints), levels.size, note)
    return Sealed(note, levels.size, levels.root.hex(), vkey, True)


def back_up_key(works: Works, to: Path) -> None:
    """Copy the encrypted key; never over a file that is there."""
    path = works.folder / KEY_FILE
    require(path.exists(), "key", str(path), f"There is no key at {path}.")
    require(not to.exists(), "to", str(to), f"{to} exists already; name another file.")
    shutil.copyfile(path, to)
    to.chmod(0o600)


def changed_since(works: Works, leaves: list[bytes] | None = None) -> str:
    """Hold the book against every kept checkpoint; empty when all fit, else what was changed."""
    state = state_of(works)
    if not state.checkpoints:
        return ""
    now = works.book.tree_leaves() if leaves is None else leaves
    signed = sorted(
        (c.size, c.root)
        for c in (seal.opened(note, state.verifiers) for _, note in state.checkpoints)
    )
    if signed[-1][0] > len(now):
        return (
            f"The book has {len(now)} events, but a book of {signed[-1][0]} was signed: events "
            "are missing at its end."
        )
    roots = seal.roots_at(now, [size for size, _ in signed])
    good = 0
    for size, root in signed:
        if roots[size] != root:
            return f"An event among {good + 1} to {size} is not the one that was signed."
        good = size
    return ""


def receipt_of(works: Works, lot_id: str, *, past: bool = True) -> dict[str, Any]:
    """A receipt of a lot under the last signed checkpoint.

    Parameters
    ----------
    works : Works
        The works.
    lot_id : str
        The lot.
    past : bool
        With the events of all it was made of.

    Raises
    ------
    BadInput
        When the book was never sealed, or the lot came after the last seal.
    """
    state = state_of(works)
    require(bool(state.checkpoints), "seal", None, "The book was never sealed; do: wareleaf seal")
    works.book.lot(lot_id)
    size, note = max(state.checkpoints)
    leaves = works.book.tree_leaves(size)
    changed = changed_since(works)
    require(not changed, "book", None, f"No receipt. {changed}")
    lots = {lot_id}
    if past:
        lots |= {e.parent for e in works.book.edges_back(lot_id)}
    rows = [(r.sequence, r.event) for r in works.book.events() if r.sequence <= size]
    events = seal.events_of_lot(lots, rows)
    require(
        any(m.lot_id == lot_id for _, e in events for m in e.outputs),
        "lot_id",
        lot_id,
        f"Lot {lot_id} was made after the last seal; do first: wareleaf seal",
    )
    made = seal.make_receipt(lot_id, events, TreeLevels(leaves), note)
    seal.check_receipt(made, state.verifiers)
    return made


def proof_between(works: Works, older: int, newer: int = 0) -> dict[str, Any]:
    """A proof that one signed checkpoint is the beginning of another (the last, by default)."""
    state = state_of(works)
    known = dict(state.checkpoints)
    require(bool(known), "seal", None, "The book was never sealed; do: wareleaf seal")
    newer = newer or max(known)
    for size in (older, newer):
        require(
            size in known,
            "size",
            size,
            f"No checkpoint of {size} events was signed; there are "
            f"{', '.join(map(str, sorted(known)))}.",
        )
    require(older <= newer, "size", older, f"{older} is larger than {newer}; swap them.")
    leaves = works.book.tree_leaves(newer)
    made = seal.make_consistency(known[older], known[newer], leaves, older)
    seal.check_consistency(made, state.verifiers)
    return made


def check_file(path: Path, vkeys: list[str]) -> Proved | tuple[Checkpoint, Checkpoint]:
    """Check a receipt or a proof from a file with public keys alone: no works, no network.

    Raises
    ------
    BadInput
        Saying what does not hold.
    """
    require(bool(vkeys), "key", None, "Give the book's public key with --key.")
    verifiers = [seal.verifier_of(v) for v in vkeys]
    try:
        data = json.loads(path.read_text("utf-8"))
    except (OSError, UnicodeDecodeError, json.JSONDecodeError) as error:
        raise BadInput("file", str(path), f"{path} cannot be read as JSON: {error}.") from error
    require(isinstance(data, Mapping), "file", str(path), f"{path} holds no JSON object.")
    if data.get("format") == CONSISTENCY:
        return seal.check_consistency(data, verifiers)
    return seal.check_receipt(data, verifiers)


def write_json(path: Path, data: Mapping[str, Any]) -> None:
    """Write a receipt or a proof; never over a file that is there."""
    require(not path.exists(), "file", str(path), f"{path} exists already; name another file.")
    path.write_text(json.dumps(data, ensure_ascii=False, indent=1) + "\n", "utf-8")
