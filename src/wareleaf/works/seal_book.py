"""Seal the book: the key, signed checkpoints, receipts of lots, and proofs between checkpoints.

The private key lies encrypted in the works folder. Public keys and checkpoints stand in the book's
settings, and every checkpoint should also go to someone outside: that is what makes it worth
anything.
"""

from __future__ import annotations

import base64
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from wareleaf.book import seal
from wareleaf.book.seal import CONSISTENCY, TILE, Checkpoint, Proved, TileTree
from wareleaf.measure.errors import BadInput, require
from wareleaf.works import seal_keys
from wareleaf.works.house import Works
from wareleaf.works.seal_keys import KEY_FILE, SETTING, SealState, back_up_key, state_of
from wareleaf.works.seal_pin import pinned

__all__ = [
    "KEY_FILE",
    "SETTING",
    "SealState",
    "Sealed",
    "back_up_key",
    "changed_since",
    "check_file",
    "proof_between",
    "receipt_of",
    "rotate",
    "seal_now",
    "state_of",
    "tree_of",
    "usual_origin",
    "write_json",
]

TILES = "seal:tiles"


@dataclass(frozen=True)
class Sealed:
    """A checkpoint that was signed, with the key to check it by."""

    note: str
    size: int
    root_hex: str
    vkey: str
    new_key: bool


def usual_origin(works: Works) -> str:
    """A name for the book's key, from the name of the firm."""
    slug = re.sub(r"[^a-z0-9]+", "-", works.settings.firm.name.lower()).strip("-")
    return f"{slug or 'works'}/book"


def seal_now(
    works: Works, passphrase: str, origin: str = "", *, whole_check: bool = True
) -> Sealed:
    """Check the book, sign a checkpoint of it, and keep it. The first time, make the key.

    ``whole_check=False`` reads only the events since the last checkpoint: the tree of the rest is
    taken from the tiles kept with it, which must give the root that was signed. What was changed in
    the sealed past is then not found now, but the signature does not cover the change either, and
    `changed_since` finds it.

    Raises
    ------
    BadInput
        When the book is not whole, its sealed past was changed, or the passphrase is wrong.
    """
    if whole_check:
        report = works.book.verify()
        require(report.ok, "book", report.first_bad_sequence, f"Not sealed. {report.message}")
    tree = tree_of(works, from_kept_tiles=not whole_check)
    require(tree.size > 0, "book", 0, "The book has no events yet; there is nothing to seal.")
    changed = changed_since(works, tree)
    if changed and not whole_check:  # the book, or only the kept tiles?
        tree = tree_of(works, from_kept_tiles=False)
        changed = changed_since(works, tree)
    require(not changed, "book", None, f"Not sealed. {changed}")
    state = state_of(works)
    new = not state.vkeys
    if new:
        state = seal_keys.first_key(works, passphrase, origin or usual_origin(works))
    elif origin and origin != state.origin:
        raise BadInput("origin", origin, f"This book is sealed as {state.origin}; keep that name.")
    key = seal_keys.load(works, passphrase, state)
    note = seal.signed(Checkpoint(state.origin, tree.size, tree.root), [(state.origin, key)])
    _add(works, state, tree, note)
    return Sealed(note, tree.size, tree.root.hex(), state.vkeys[-1], new)


def tree_of(works: Works, *, from_kept_tiles: bool, size: int | None = None) -> TileTree:
    """The tree of the events, now or of the first ``size``.

    Parameters
    ----------
    works : Works
        The works.
    from_kept_tiles : bool
        Take the tiles kept with the last checkpoint, and read only what came after.
    size : int or None
        Of an earlier tree.
    """
    kept = _kept_tiles(works) if from_kept_tiles else []
    more, now = works.book.tree_tiles(len(kept))
    tiles = kept + more if now >= len(kept) * TILE else works.book.tree_tiles()[0]  # cut short
    return TileTree(tiles, now if size is None else min(size, now), works.book.leaf_hashes)


def _kept_tiles(works: Works) -> list[bytes]:
    try:
        raw = base64.b64decode(works.book.settings_get(TILES, ""))
    except (ValueError, TypeError):
        return []  # damaged; they are worked out again
    return [raw[n : n + 32] for n in range(0, len(raw), 32)]


def _add(works: Works, state: SealState, tree: TileTree, note: str) -> None:
    kept = [c for c in state.checkpoints if c[0] != tree.size]
    tiles = base64.b64encode(b"".join(tree.tiles)).decode()
    with works.book.draft() as book:
        draft = replace(works, book=book)
        seal_keys.keep(draft, SealState(state.origin, state.vkeys, (*kept, (tree.size, note))))
        book.settings_put(TILES, tiles)


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
    tree = tree_of(works, from_kept_tiles=False)
    changed = changed_since(works, tree)
    require(not changed, "book", None, f"Not rotated. {changed}")
    old = None if lost else seal_keys.load(works, old_passphrase, state)
    new = Ed25519PrivateKey.generate()
    fresh = works.folder / seal_keys.NEW_KEY_FILE
    if fresh.exists():  # of a rotation that was cut short; a key is never deleted
        fresh.replace(works.folder / f"{KEY_FILE}.unused")
    seal_keys.write_key(fresh, new, new_passphrase)
    keys = [(state.origin, new)] if old is None else [(state.origin, old), (state.origin, new)]
    note = seal.signed(Checkpoint(state.origin, tree.size, tree.root), keys)
    vkey = seal_keys.verifier(state.origin, new).vkey
    # The book first: killed here, the next use finds the new key in its own file.
    _add(works, SealState(state.origin, (*state.vkeys, vkey), state.checkpoints), tree, note)
    seal_keys.swap(works, len(state.vkeys))
    return Sealed(note, tree.size, tree.root.hex(), vkey, True)


def changed_since(works: Works, tree: TileTree | None = None) -> str:
    """Hold the book against every kept checkpoint; empty when all fit, else what was changed."""
    state = state_of(works)
    if not state.checkpoints:
        return ""
    if tree is None:
        tree = tree_of(works, from_kept_tiles=False)
    signed = sorted(
        (c.size, c.root)
        for c in (seal.opened(note, state.verifiers) for _, note in state.checkpoints)
    )
    if signed[-1][0] > tree.size:
        return (
            f"The book has {tree.size} events, but a book of {signed[-1][0]} was signed: events "
            "are missing at its end."
        )
    roots = tree.roots_at(size for size, _ in signed)
    good = 0
    for size, root in signed:
        if roots[size] != root:
            return pinned(works, tree, _kept_tiles(works), root, good + 1, size)
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
    lots = {lot_id}
    if past:
        lots.update(works.book.lots_above(lot_id))
    found = works.book.events_of_lots(lots)
    rows = [(r.sequence, r.event) for r in found if r.sequence <= size]
    events = seal.events_of_lot(lots, rows)
    require(
        any(m.lot_id == lot_id for _, e in events for m in e.outputs),
        "lot_id",
        lot_id,
        f"Lot {lot_id} was made after the last seal; do first: wareleaf seal",
    )
    tree = _signed_tree(works, state, size, note)
    made = seal.make_receipt(lot_id, events, tree, note)
    try:
        seal.check_receipt(made, state.verifiers)
    except BadInput as error:
        raise BadInput("book", None, f"No receipt. {changed_since(works) or error}") from error
    return made


def _signed_tree(works: Works, state: SealState, size: int, note: str) -> TileTree:
    """The tree of a signed size, from kept tiles when they give the root that was signed."""
    wanted = seal.opened(note, state.verifiers).root
    for kept in (True, False):
        tree = tree_of(works, from_kept_tiles=kept, size=size)
        if tree.size == size and tree.root == wanted:
            return tree
    raise BadInput("book", None, f"No proof. {changed_since(works)}")


def require_signed(known: Mapping[int, str], size: int) -> None:
    """Refuse a size at which no checkpoint was signed.

    Raises
    ------
    BadInput
        When the book was never sealed, or not at that size.
    """
    require(bool(known), "seal", None, "The book was never sealed; do: wareleaf seal")
    require(
        size in known,
        "size",
        size,
        f"No checkpoint of {size} events was signed; there are "
        f"{', '.join(map(str, sorted(known)))}.",
    )


def proof_between(works: Works, older: int, newer: int = 0) -> dict[str, Any]:
    """A proof that one signed checkpoint is the beginning of another (the last, by default)."""
    state = state_of(works)
    known = dict(state.checkpoints)
    newer = newer or max(known, default=0)
    for size in (older, newer):
        require_signed(known, size)
    require(older <= newer, "size", older, f"{older} is larger than {newer}; swap them.")
    tree = _signed_tree(works, state, newer, known[newer])
    made = seal.make_consistency(known[older], known[newer], tree.consistency(older))
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
